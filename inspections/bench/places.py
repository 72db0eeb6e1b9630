"""Where a unit lies on the bench, and the addresses of its pages: a ticket's unit, or a donor."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.urls import reverse

from inventory.models import Donor
from shop.models import Family, Ticket, Unit, Variant

At = int | str  # a ticket's number, or a donor's with its letter: "D3"


def unit_url(at: At) -> str:
    """The page of the whole unit."""
    if isinstance(at, str):
        return reverse("bench_donor", args=[int(at.removeprefix("D"))])
    return reverse("bench_ticket", args=[at])


def position_url(at: At, code: str) -> str:
    """The page of one position."""
    if isinstance(at, str):
        return reverse("donor_position", args=[int(at.removeprefix("D")), code])
    return reverse("bench_position", args=[at, code])


@dataclass(frozen=True)
class DonorAtBench:
    """A donor where the pages of the bench ask for a ticket: it has no customer, no stage and no promise."""

    donor: Donor
    stage: str = "stripped"
    promised_on: date | None = None

    @property
    def number(self) -> str:
        return f"D{self.donor.number}"

    @property
    def unit(self) -> Unit:
        return self.donor.unit

    @property
    def family(self) -> Family:
        return self.donor.unit.family

    @property
    def variant(self) -> Variant:
        return self.donor.unit.variant


OnBench = Ticket | DonorAtBench
