"""Working from the build sheet: boxes filled in, a second person's look, the unit built and tested."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from inspections.building.reworking import examination_of, spoilt_by_rework
from inspections.building.sheeting import SEEN, SIGN, TEST, TESTS, same_work
from inspections.building.sheets import compute_sheet, newest_sheet
from inspections.gauging.wrenches import wrench_for_box
from inspections.guiding.guides import guide_of
from inspections.models import AsBuilt, BuildRow, BuildSheet, Gauge
from inspections.readings.findings import judgement_of
from inventory.ledger import issue_reservation
from inventory.models import Piece, Reservation
from inventory.pieces import fit_piece, scrap_piece
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.handbook.quantities import Refused, convert, parse
from shop.models import Ticket, Unit
from shop.refusals import Conflict, Refusal
from shop.stages import move_ticket, reach_stage

BUILT_FROM = ("parts complete", "reworked")
PASSED, FAILED, NOT_FOR_THIS = "passed", "failed", "not for this unit"
OUTCOMES = (PASSED, FAILED, NOT_FOR_THIS)
LEAK = TESTS[-1]
KINDS = {"mm": "length", "litres": "volume", "bar": "pressure"}  # by the unit that ends a box's name
MOST_MPA, MOST_PSI = 0.02, 3.0  # of a leak test: 0.2 bar
LEAK_CAUTION = (
    "Leak test at most 0.2 bar (3 psi), with regulator and relief valve, never the air line: seals blow out "
    "and castings burst."
)
MOST_REASON = 90


def boxes_of(sheet: BuildSheet) -> dict[str, list[str]]:
    """The boxes that a sheet has, by step code: those of its steps, and the sheet's own."""
    own = {SIGN: [SEEN], TEST: list(TESTS)}
    return {step["code"]: list(step["boxes"]) for step in sheet.document["steps"]} | own


def newest_boxes(sheet: BuildSheet) -> dict[tuple[str, str], AsBuilt]:
    """The line of each box that counts: the newest."""
    rows = AsBuilt.objects.filter(sheet=sheet).select_related("person").order_by("id")
    return {(one.step_code, one.box): one for one in rows}


def record_box(
    *, sheet: BuildSheet, step_code: str, box: str, text: str, by: Actor, at: datetime | None = None
) -> AsBuilt:
    """Write into a box of the sheet. The same text again is the line that stands, other text a new one."""
    by.need("build_units")
    at = at or clock.now()
    text = " ".join(text.split())
    if box not in boxes_of(sheet).get(step_code, ()):
        raise Refusal(box=f"This sheet has no box “{box[:60]}” at step {step_code[:40]}.")
    if not 1 <= len(text) <= 120:
        raise Refusal(text="Write what was measured or done, 1 to 120 characters.")
    if step_code in {SIGN, TEST}:
        raise Refusal(text="This box has its own button below the steps.")
    _right_figure(box, text)
    _open_sheet(sheet)
    step: dict[str, Any] = next((one for one in sheet.document["steps"] if one["code"] == step_code), {})
    wrench = wrench_for_box(step, box, text, at)
    text = text if wrench is None else wrench.code
    return _write(sheet, step_code, box, text, by=by, at=at, wrench=wrench)


def _right_figure(box: str, text: str) -> None:
    """A box whose name ends in a unit takes a length, volume or pressure; a bare number is in that unit."""
    unit = box.rsplit(" ", 1)[-1]
    if unit not in KINDS:
        return
    try:
        found = parse(text, KINDS[unit], default_unit=unit)
    except Refused as trouble:
        raise Refusal(text=f"{trouble}.") from None
    # Pressure on a build sheet is that of the leak test. 3 psi is how the trade rounds 0.2 bar.
    over = (
        convert(found.canonical, "pressure", "psi") > MOST_PSI + 1e-9
        if found.unit == "psi"
        else (found.canonical > MOST_MPA + 1e-9)
    )
    if unit == "bar" and over:
        raise Refusal(text=f"Not written down: {text} is too much. {LEAK_CAUTION}")


def _open_sheet(sheet: BuildSheet) -> None:
    newest = newest_sheet(sheet.ticket)
    if newest is None or newest.pk != sheet.pk:
        raise Conflict("There is a newer revision of this sheet. Work from that one.")
    if sheet.ticket.stage not in {*BUILT_FROM, "agreed", "built"}:
        raise Conflict(f"Ticket {sheet.ticket.number} is {sheet.ticket.stage}. Its boxes are closed.")
    if sheet.document["preliminary"]:
        raise Conflict(
            f"Build sheet {sheet.letter} is not final: it was made before the parts were complete. Make a "
            "new revision once they are, and work from that one."
        )
    # A built unit has its parts issued: what there was to choose from is no longer there to compare with.
    if sheet.ticket.stage != "built" and not same_work(sheet.document, compute_sheet(sheet.ticket)):
        raise Conflict(
            f"Build sheet {sheet.letter} is out of date: something changed since. Make a new revision."
        )


def _write(
    sheet: BuildSheet,
    step_code: str,
    box: str,
    text: str,
    *,
    by: Actor,
    at: datetime,
    wrench: Gauge | None = None,
) -> AsBuilt:
    with transaction.atomic():
        last = AsBuilt.objects.filter(sheet=sheet, step_code=step_code, box=box).order_by("-id").first()
        if last is not None and last.text == text and last.person_id == by.person.pk:
            return last
        row = AsBuilt.objects.create(
            sheet=sheet, step_code=step_code, box=box, text=text, gauge=wrench, person=by.person, at=at
        )
        write_line(
            by=by,
            deed="filled in",
            thing=row,
            ticket_number=sheet.ticket.number,
            at=at,
            step=step_code,
            box=box,
        )
    return row


def builders_of(sheet: BuildSheet) -> set[int]:
    """Ids of the people who filled in boxes of the build."""
    rows = AsBuilt.objects.filter(sheet=sheet).exclude(step_code__in=(SIGN, TEST))
    return set(rows.values_list("person_id", flat=True))


def sign_inside(*, sheet: BuildSheet, by: Actor, at: datetime | None = None) -> AsBuilt:
    """The second person has looked inside before the lid goes on. Refused to whoever built it alone."""
    by.need("build_units")
    _open_sheet(sheet)
    if builders_of(sheet) == {by.person.pk}:
        raise Refusal("You built this unit by yourself. A second person looks inside and signs.")
    return _write(sheet, SIGN, SEEN, "seen", by=by, at=at or clock.now())


def hindrances_to_built(ticket: Ticket) -> list[str]:
    """What stands in the way of the stage built: a sheet to work from, its pieces measured again and found
    good, and the fits of reworked pieces inside their limits."""
    sheet = newest_sheet(ticket)
    if sheet is None:
        return ["There is no build sheet. Make one first."]
    unread = [
        f"{one['position']} {one['piece']}: measure {one['name']} again, {one['why']}."
        for one in sheet.document["measure_first"]
        if one["reworked"]
    ]
    return unread + spoilt_by_rework(ticket) + _spoilt_fits(ticket, sheet)


def _spoilt_fits(ticket: Ticket, sheet: BuildSheet) -> list[str]:
    """Fits that are outside with a reworked piece in them."""
    guide = guide_of(examination_of(ticket).revision)
    worked = {one["position"] for one in sheet.document["pieces"] if one["reworked"]}
    return [
        f"Step {step['number']}, {fit['title']}: {fit['words']}, wanted {fit['limits']}: outside. Work on it "
        "again, or plan again with another piece."
        for step in sheet.document["steps"]
        if (fit := step["fit"]) and fit.get("state") == "outside"
        if worked & {guide.feature[term.feature].position for term in guide.check[fit["check"]].terms}
    ]


def finish_build(*, ticket: Ticket, by: Actor, at: datetime | None = None) -> Ticket:
    """The unit stands built: what was promised is issued, the chosen pieces are fitted, the stage is built.

    Needs the newest sheet to be up to date and a second person's look inside. What came out and does not go
    back is set aside in its tray for its owner; what is scrap and the shop's own is scrapped.
    """
    by.need("build_units")
    at = at or clock.now()
    if ticket.stage == "built":
        return ticket
    if ticket.stage not in BUILT_FROM:
        raise Conflict(f"Ticket {ticket.number} is {ticket.stage}. It is built when its parts are complete.")
    sheet = newest_sheet(ticket)
    if sheet is None:
        raise Refusal("There is no build sheet. Make one first.")
    ticket = reach_stage(ticket=ticket, to="reworked", by=by, at=at)
    if not same_work(sheet.document, compute_sheet(ticket)):
        raise Refusal(
            f"Build sheet {sheet.letter} is out of date: something changed since. Make a new revision."
        )
    _second_look(sheet, by)
    with transaction.atomic():
        promised = Reservation.objects.filter(ticket=ticket, resolved_at__isnull=True)
        # By lot: two units built at once take the locks of shared lots in one order.
        for one in promised.order_by("lot_id", "piece_id", "id"):
            issue_reservation(reservation=one, key=f"build {ticket.number} {one.pk}", by=by, at=at)
        fitted = _fit(ticket, by, at)
        aside, scrapped = _put_away(ticket, fitted, by, at)
        ticket = move_ticket(ticket=ticket, to="built", by=by, at=at)
        write_line(
            by=by,
            deed="built",
            thing=sheet,
            ticket_number=ticket.number,
            at=at,
            fitted=len(fitted),
            set_aside=aside,
            scrapped=scrapped,
        )
    return ticket


def _second_look(sheet: BuildSheet, by: Actor) -> None:
    seen = newest_boxes(sheet).get((SIGN, SEEN))
    if seen is None:
        raise Refusal("Nobody has signed the inside of the unit. A second person looks and signs first.")
    if seen.person_id == by.person.pk or builders_of(sheet) == {seen.person_id}:
        raise Refusal("The second person's look inside is by somebody other than the builder.")


def unit_of(ticket: Ticket) -> Unit:
    """The unit that the ticket yields."""
    source = ticket.sources.select_related("unit").filter(kind="unit").first()
    if source is None or source.unit is None:
        raise Conflict(f"Ticket {ticket.number} has no unit to build into.")
    return source.unit


def _fit(ticket: Ticket, by: Actor, at: datetime) -> set[int]:
    unit = unit_of(ticket)
    rows = BuildRow.objects.filter(ticket=ticket, dropped_at__isnull=True, piece__isnull=False)
    for row in rows.select_related("piece").order_by("id"):
        assert row.piece is not None
        fit_piece(piece=row.piece, unit=unit, by=by, at=at)
    return {row.piece_id for row in rows if row.piece_id}


def _put_away(ticket: Ticket, fitted: set[int], by: Actor, at: datetime) -> tuple[list[str], list[str]]:
    """Tags set aside and tags scrapped. A customer's scrap is the customer's: it waits for the hand-over."""
    verdicts = judgement_of(examination_of(ticket)).verdict
    left = Piece.objects.filter(source__ticket=ticket, state="tray", missing=False).exclude(pk__in=fitted)
    aside, scrapped = [], []
    for piece in left.order_by("tag"):
        verdict = verdicts.get(piece.tag)
        if verdict is not None and verdict.verdict == "scrap" and piece.owner_id is None:
            why = verdict.because[0] if verdict.because else "found to be scrap"
            scrap_piece(piece=piece, why=why, by=by, at=at, key=f"scrap {ticket.number} {piece.tag}")
            scrapped.append(piece.tag)
        else:
            aside.append(piece.tag)
    return aside, scrapped


def finish_test(
    *,
    ticket: Ticket,
    turns_freely: bool,
    gears_hold: bool,
    interlock_refuses: bool,
    leak_test: str = PASSED,
    reason: str = "",
    by: Actor,
    at: datetime | None = None,
) -> Ticket:
    """Write down how the built unit behaved. All passed: the stage is tested. Otherwise the lines stand, the
    ticket stays built, and the Refusal says what failed. ``leak_test``: passed, failed, not for this unit.

    A leak test that failed once may pass when it is tried again; that it is not for this unit says a lead
    alone from then on, with ``reason``."""
    by.need("build_units")
    at = at or clock.now()
    if ticket.stage == "tested":
        return ticket
    if ticket.stage != "built":
        raise Conflict(f"Ticket {ticket.number} is {ticket.stage}. A unit is tested once it is built.")
    if leak_test not in OUTCOMES:
        raise Refusal(leak_test=f"Choose one of: {', '.join(OUTCOMES)}.")
    sheet = newest_sheet(ticket)
    if sheet is None:
        raise Conflict("There is no build sheet to write the test on.")
    said_of_leak = _leak_said(ticket, leak_test, " ".join(reason.split()), by)
    said = [PASSED if good else FAILED for good in (turns_freely, gears_hold, interlock_refuses)]
    results = dict(zip(TESTS, [*said, said_of_leak], strict=True))
    failed = [box for box, outcome in results.items() if outcome == FAILED]
    with transaction.atomic():
        for box, outcome in results.items():
            _write(sheet, TEST, box, outcome, by=by, at=at)
        if not failed:
            ticket = move_ticket(ticket=ticket, to="tested", by=by, at=at)
    if failed:
        raise Refusal(
            f"Not passed: {', '.join(failed)}. Written down; the ticket stays built. Find the cause."
        )
    return ticket


def leak_failed(ticket: Ticket) -> bool:
    """Has a leak test of this ticket ever failed? The line stands whatever was written after it."""
    rows = AsBuilt.objects.filter(sheet__ticket=ticket, step_code=TEST, box=LEAK, text=FAILED)
    return rows.exists()


def _leak_said(ticket: Ticket, outcome: str, reason: str, by: Actor) -> str:
    """What goes into the leak test's box: the outcome, with the reason where one is given."""
    if len(reason) > MOST_REASON:
        raise Refusal(reason=f"A reason has at most {MOST_REASON} characters.")
    if outcome != NOT_FOR_THIS:
        return outcome
    if leak_failed(ticket):
        if not by.person.is_lead:
            raise Refusal(
                leak_test="The leak test failed. Find the cause and try it again; only a lead technician "
                "says that it is not for this unit."
            )
        if not reason:
            raise Refusal(reason="The leak test failed before. Say why it is not for this unit.")
    return f"{NOT_FOR_THIS}: {reason}" if reason else NOT_FOR_THIS


def hindrances_to_tested(ticket: Ticket) -> list[str]:
    """What stands in the way of the stage tested: every test has a line and none says failed."""
    sheet = newest_sheet(ticket)
    boxes = newest_boxes(sheet) if sheet else {}
    reasons = []
    for box in TESTS:
        line = boxes.get((TEST, box))
        if line is None:
            reasons.append(f"Nobody has tried: {box}.")
        elif line.text == FAILED:
            reasons.append(f"Not passed: {box}.")
    return reasons
