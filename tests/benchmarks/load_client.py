"""A light load: one process, one loop, one kept connection a technician, who sends the next when answered."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Poster:
    """One technician: where it posts, with which token, and what comes next."""

    path: str
    token: str
    body: Callable[[], dict[str, Any]]


@dataclass(slots=True)
class Load:
    """What came of it. ``took_ms``: one for each answer; ``answered``: body and answer of each 200."""

    seconds: float = 0.0
    took_ms: list[float] = field(default_factory=list)
    answered: list[tuple[dict[str, Any], dict[str, Any]]] = field(default_factory=list)
    others: list[tuple[int, str]] = field(default_factory=list)

    @property
    def rate(self) -> float:
        """Answers a second."""
        return len(self.answered) / self.seconds

    def add(self, more: Load) -> None:
        self.seconds += more.seconds
        self.took_ms += more.took_ms
        self.answered += more.answered
        self.others += more.others


def run_load(port: int, posters: Sequence[Poster], seconds: float) -> Load:
    """All of them post at once for so long, each at least once and with every answer waited for."""
    return asyncio.run(_all(port, posters, seconds))


async def _all(port: int, posters: Sequence[Poster], seconds: float) -> Load:
    load = Load()
    start = time.perf_counter()
    await asyncio.gather(*(_one(port, poster, start + seconds, load) for poster in posters))
    load.seconds = time.perf_counter() - start
    return load


async def _one(port: int, poster: Poster, end: float, load: Load) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    try:
        while True:
            body = poster.body()
            began = time.perf_counter()
            status, text = await _post(reader, writer, poster, json.dumps(body).encode())
            load.took_ms.append((time.perf_counter() - began) * 1000)
            if status == 200:
                load.answered.append((body, json.loads(text)))
            else:
                load.others.append((status, text.decode()[:300]))
            if time.perf_counter() >= end:
                break
    finally:
        writer.close()
        await writer.wait_closed()


async def _post(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter, poster: Poster, body: bytes
) -> tuple[int, bytes]:
    head = (
        f"POST {poster.path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {poster.token}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    writer.write(head.encode() + body)
    await writer.drain()
    answer = (await reader.readuntil(b"\r\n\r\n")).lower()
    length = int(answer.split(b"content-length:")[1].split(b"\r\n")[0])
    return int(answer.split(b" ", 2)[1]), await reader.readexactly(length)
