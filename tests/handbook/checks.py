"""Check values kept beside the tests: each row carries its source and how far that source is trusted."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True, slots=True)
class Check:
    """One check value: what goes in, what must come out, and who says so."""

    id: str
    quantity: str
    inputs: dict[str, Any]
    expected: Any
    unit: str
    tolerance: float
    source: str
    source_status: str

    def __str__(self) -> str:
        return f"{self.id} {self.quantity}"


def table(name: str) -> list[dict[str, str]]:
    """The rows of one data file as text, comment lines left out."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def checks(name: str) -> list[Check]:
    """The check values of one data file."""
    return [
        Check(
            row["id"],
            row["quantity"],
            json.loads(row["inputs"]),
            json.loads(row["expected"]),
            row["unit"],
            float(row["tolerance"]),
            row["source"],
            row["source_status"],
        )
        for row in table(name)
    ]
