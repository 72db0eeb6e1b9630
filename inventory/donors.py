"""Donors: units bought to be stripped; their cost is shared over their pieces, which go to bins."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from inventory import ledger
from inventory.models import Bin, Donor, Movement, Piece
from shop import clock
from shop.access import Actor, NotThere
from shop.audit import write_line
from shop.models import Family, Unit, Variant
from shop.numbering import next_number
from shop.refusals import Conflict, Refusal

RIGHT = "keep_stock"
MOST_MINOR = 10**12
MOST_SHARE = 1_000_000


def donor_for(by: Actor, number: int, right: str = "see_stock") -> Donor:
    """The donor, if ``by`` may do that with it."""
    by.need("see_stock")
    found = (
        Donor.objects.select_related("unit__family", "unit__variant").filter(number=number).first()
        if number < 2**31
        else None
    )
    if found is None:
        raise NotThere
    by.need(right)
    return found


def buy_donor(
    *,
    family: Family,
    variant: Variant,
    cost_minor: int,
    bought_of: str,
    by: Actor,
    serial: str = "",
    casting_numbers: str = "",
    at: datetime | None = None,
) -> Donor:
    """Write down a unit that was bought to be stripped. ``cost_minor`` in the shop's currency, with what it
    cost to fetch; ``bought_of``: of whom, in words, and which paper says so. Refusal beside the argument."""
    by.need(RIGHT)
    at = at or clock.now()
    bought_of = " ".join(bought_of.split())
    if variant.family_id != family.pk:
        raise Refusal(variant=f"{variant} is no variant of {family}. Choose one of its own.")
    if not 0 <= cost_minor <= MOST_MINOR:
        raise Refusal(cost="A cost cannot be negative or that large.")
    if not bought_of:
        raise Refusal(bought_of="Say of whom it was bought, and which paper says so.")
    for name, text, most in (
        ("bought_of", bought_of, 200),
        ("serial", serial, 60),
        ("casting_numbers", casting_numbers, 120),
    ):
        if len(text) > most:
            raise Refusal(**{name: f"At most {most} characters."})
    with transaction.atomic():
        unit = Unit.objects.create(
            kind="donor",
            family=family,
            variant=variant,
            serial=serial.strip(),
            casting_numbers=casting_numbers.strip(),
        )
        donor = Donor.objects.create(
            number=next_number("donor"),
            unit=unit,
            cost_minor=cost_minor,
            bought_of=bought_of,
            bought_at=at,
            bought_by=by.key,
        )
        write_line(by=by, deed="bought", thing=donor, at=at, cost_minor=cost_minor, family=family.code)
    return donor


def pieces_of_donor(donor: Donor) -> list[Piece]:
    """What was laid out of it, by tag."""
    rows = Piece.objects.filter(from_unit=donor.unit_id, source__isnull=True)
    return list(rows.select_related("position", "bin", "bound_in").order_by("tag"))


def shared(cost_minor: int, shares: Mapping[str, int]) -> dict[str, int]:
    """The cost in the proportion of the shares, to the last minor unit: what is left over by rounding down
    goes to the largest remainders, first tags first.

    >>> shared(1000, {"P-1": 1, "P-2": 1, "P-3": 1})
    {'P-1': 334, 'P-2': 333, 'P-3': 333}
    """
    total = sum(shares.values())
    if total <= 0 or min(shares.values()) < 0:
        raise ValueError("the shares are 0 or more, and one of them is more")
    found = {tag: cost_minor * share // total for tag, share in shares.items()}
    left = cost_minor - sum(found.values())
    by_remainder = sorted(shares, key=lambda tag: (-(cost_minor * shares[tag] % total), tag))
    for tag in by_remainder[:left]:
        found[tag] += 1
    return found


def share_cost(*, donor: Donor, shares: Mapping[str, int], by: Actor, at: datetime | None = None) -> Donor:
    """Share the donor's cost over its pieces, as long as all of them lie in their trays. ``shares``: parts by
    tag, for each piece that is there; a piece without worth has 0. Refusal beside ``share_<tag>``."""
    by.need(RIGHT)
    at = at or clock.now()
    with transaction.atomic():
        held = Donor.objects.select_for_update(of=("self",)).select_related("unit").get(pk=donor.pk)
        pieces = {one.tag: one for one in pieces_of_donor(held) if not one.missing}
        if not pieces:
            raise Conflict("The donor is not stripped yet: it has no pieces to share its cost over.")
        _check_shares(shares, pieces)
        if Movement.objects.filter(piece__in=pieces.values()).exists():
            if held.shares == dict(shares):
                return held
            raise Conflict("Some of its pieces have left their trays: the shares stay as they are.")
        for tag, minor in shared(held.cost_minor, shares).items():
            Piece.objects.filter(pk=pieces[tag].pk).update(cost_minor=minor)
        held.shares, held.shared_at = dict(shares), at
        held.save(update_fields=["shares", "shared_at"])
        write_line(by=by, deed="cost shared", thing=held, at=at, shares=dict(shares))
    donor.refresh_from_db()
    return held


def _check_shares(shares: Mapping[str, int], pieces: Mapping[str, Piece]) -> None:
    for tag in pieces:
        if tag not in shares:
            raise Refusal(**{f"share_{tag}": "Write its share: 0 if it is worth nothing."})
    for tag, share in shares.items():
        if tag not in pieces:
            raise Refusal(shares=f"{tag} is no piece of this donor that is there.")
        if not 0 <= share <= MOST_SHARE:
            raise Refusal(**{f"share_{tag}": "Write a whole number, 0 or more."})
    if not sum(shares.values()):
        raise Refusal(shares="One piece at least has to carry the cost: write a share above 0.")


def put_away(
    *, donor: Donor, bins: Mapping[str, Bin], key: str, by: Actor, at: datetime | None = None
) -> list[Movement]:
    """Put pieces of a donor from their trays into bins, a line of the ledger for each. The cost is shared
    before: a piece takes its part of it to the shelf. All or none; the same key twice is once."""
    by.need(RIGHT)
    at = at or clock.now()
    with transaction.atomic():
        held = Donor.objects.select_for_update(of=("self",)).get(pk=donor.pk)
        if held.shared_at is None:
            raise Conflict("Share the donor's cost over its pieces first.")
        pieces = {one.tag: one for one in pieces_of_donor(held)}
        if not bins:
            raise Refusal(bins="Choose a bin for one piece at least.")
        if strange := sorted({*bins} - {*pieces}):
            raise Refusal(bins=f"{', '.join(strange)}: no piece of this donor.")
        return [
            ledger.bin_piece(piece=pieces[tag], bin=bins[tag], key=f"{key} {tag}"[-160:], by=by, at=at)
            for tag in sorted(bins)
        ]
