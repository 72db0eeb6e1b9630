"""Suppliers' price files: taken in at once, read in the background, in force as a whole or not at all.

Reading a file:
1. the file is marked as being read; one that is done or refused is left alone, so a second run is nothing;
2. its lines are checked and staged in a temporary table, outside of any lock;
3. in one transaction, with the supplier's row locked: differences are written, what was asked before goes to
   the history, refusals and figures are noted, and the file is marked done.
A reading that is killed leaves the prices as they were, and is done again from the start.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Count

from inventory import staging
from inventory.manners import manner_from
from inventory.models import Part, PriceFile, PriceRefusal, Supplier
from inventory.pricerows import FileRefused, Reader
from shop import clock, outbox
from shop.access import PROGRAM, Actor
from shop.audit import write_line
from shop.models import ExchangeRate
from shop.refusals import Refusal

MAX_BYTES = 200 * 1024 * 1024
FOLDER = "price-files"
RULE = "read price file"


class TooLarge(Refusal):
    """The file is larger than the door takes."""

    status = 413

    def __init__(self) -> None:
        super().__init__(file=f"A price file has at most {MAX_BYTES // 1024 // 1024} MB. Send it in parts.")


class AlreadyRead(Exception):
    """Two workers read one file; the second one's work is rolled back."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A file that was written down and that nobody knows of yet."""

    path: Path
    size: int
    sha256: str

    def discard(self) -> None:
        self.path.unlink(missing_ok=True)


def keep_draft(chunks: Iterable[bytes]) -> Draft:
    """Write what comes in under a name of the server's own, to the disk and bounded in size."""
    folder = Path(settings.MEDIA_ROOT) / FOLDER
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / f"{secrets.token_hex(16)}.csv"
    digest, size = hashlib.sha256(), 0
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as out:
            for chunk in chunks:
                size += len(chunk)
                if size > MAX_BYTES:
                    raise TooLarge
                digest.update(chunk)
                out.write(chunk)
            out.flush()
            os.fsync(out.fileno())
        if not size:
            raise Refusal(file="The file is empty.")
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return Draft(path, size, digest.hexdigest())


def record_draft(
    *, supplier: Supplier, draft: Draft, name: str, by: Actor, at: datetime | None = None
) -> PriceFile:
    """Make a draft a price file that waits, with the outbox row that has it read."""
    if by.key != f"supplier:{supplier.code}":
        by.need("keep_stock")
    at = at or clock.now()
    with transaction.atomic():
        file = PriceFile.objects.create(
            supplier=supplier,
            name=PurePosixPath(name.replace("\\", "/")).name[:120],
            path=f"{FOLDER}/{draft.path.name}",
            size=draft.size,
            sha256=draft.sha256,
            received_at=at,
        )
        outbox.put(key=f"price file {file.pk}", rule=RULE, payload={"file": str(file.pk)}, at=at)
        write_line(by=by, deed="taken in", thing=file, at=at, supplier=supplier.code, size=draft.size)
    return file


def take_in_file(
    *, supplier: Supplier, data: bytes, name: str, by: Actor, at: datetime | None = None
) -> PriceFile:
    """Keep a supplier's file and have it read. By the supplier, or on its behalf by who keeps stock."""
    if by.key != f"supplier:{supplier.code}":
        by.need("keep_stock")
    draft = keep_draft([data])
    try:
        return record_draft(supplier=supplier, draft=draft, name=name, by=by, at=at)
    except BaseException:
        draft.discard()
        raise


def read_price_file(key: str, file: str, at: datetime | None = None) -> None:
    """The outbox rule. ``file``: the id of a :class:`PriceFile`."""
    row = PriceFile.objects.select_related("supplier").filter(pk=uuid.UUID(file)).first()
    if row is None or row.status in {"done", "refused"}:
        return
    PriceFile.objects.filter(pk=row.pk, status="waiting").update(status="reading")
    reader = None
    try:
        reader = _reader_for(row.supplier)
        _read(row, reader, at or clock.now())
    except (FileRefused, Refusal) as trouble:
        message = trouble.message if isinstance(trouble, Refusal) else str(trouble)
        _refuse_file(row, message, reader, at or clock.now())
    except AlreadyRead:
        return


def _reader_for(supplier: Supplier) -> Reader:
    keys = Part.objects.values("search_key").annotate(parts=Count("pk")).filter(parts=1).values("search_key")
    parts = dict(Part.objects.filter(search_key__in=keys).values_list("search_key", "number"))
    currencies = set(ExchangeRate.objects.order_by().values_list("currency", flat=True).distinct())
    return Reader(
        manner=manner_from(supplier.manner),
        currency=supplier.currency,
        currencies=currencies | {settings.CURRENCY, supplier.currency},
        parts=parts,
    )


def _read(row: PriceFile, reader: Reader, at: datetime) -> None:
    path = Path(settings.MEDIA_ROOT) / row.path
    with contextlib.ExitStack() as stack:
        try:
            # Bytes that are no text of this encoding become lone surrogates, which refuse their row only.
            text = stack.enter_context(open(path, encoding=reader.manner.encoding, errors="surrogateescape"))
        except OSError:
            raise FileRefused("The file is no longer there. Send it again.") from None
        if connection.vendor == "postgresql":
            stack.enter_context(transaction.atomic())  # COPY runs in the transaction; nothing is locked yet
        stack.callback(_drop_stage_quietly)
        count = staging.fill_stage(reader.read(text))
        if not count:
            raise FileRefused("No row of the file can be used.")
        with transaction.atomic():
            _bring(row, reader, count, at)


def _drop_stage_quietly() -> None:
    """After a failure the transaction may be broken; it takes the table with it."""
    if not connection.needs_rollback:
        with contextlib.suppress(Exception):
            staging.drop_stage()


def _bring(row: PriceFile, reader: Reader, count: int, at: datetime) -> None:
    Supplier.objects.select_for_update(no_key=True).get(pk=row.supplier_id)
    newer = PriceFile.objects.filter(
        supplier=row.supplier, status="done", received_at__gt=row.received_at
    ).exists()
    if newer:
        raise FileRefused("A newer file of this supplier is in force already.")
    brought = staging.bring_into_force(row, count, at)
    won = PriceFile.objects.filter(pk=row.pk, status="reading").update(
        status="done",
        done_at=at,
        trouble="",
        rows=reader.rows,
        new=brought.new,
        changed=brought.changed,
        unchanged=brought.unchanged,
        refused_rows=len(reader.refused),
    )
    if not won:  # another worker read it meanwhile: what this one did is taken back
        raise AlreadyRead
    _keep_refusals(row, reader)
    write_line(by=PROGRAM, deed="in force", thing=row, at=at, new=brought.new, changed=brought.changed)


def _keep_refusals(row: PriceFile, reader: Reader) -> None:
    PriceRefusal.objects.bulk_create(
        (
            PriceRefusal(file=row, line=one.line, column=one.column[:60], message=one.message[:300])
            for one in reader.refused
        ),
        batch_size=5000,
    )


def _refuse_file(row: PriceFile, message: str, reader: Reader | None, at: datetime) -> None:
    with transaction.atomic():
        won = PriceFile.objects.filter(pk=row.pk, status="reading").update(
            status="refused",
            trouble=message[:300],
            done_at=at,
            rows=reader.rows if reader else 0,
            refused_rows=len(reader.refused) if reader else 0,
        )
        if won:
            if reader is not None:
                _keep_refusals(row, reader)
            write_line(by=PROGRAM, deed="refused", thing=row, at=at)
