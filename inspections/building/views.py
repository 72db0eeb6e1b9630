"""Pages of rework and of the build sheet: each deed is a form that works without a script."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from inspections.building.building import (
    LEAK,
    NOT_FOR_THIS,
    OUTCOMES,
    builders_of,
    finish_build,
    finish_test,
    leak_failed,
    newest_boxes,
    record_box,
    sign_inside,
)
from inspections.building.reworking import (
    WORKED_ON,
    Work,
    agreed_work,
    check_of,
    examination_of,
    may_write_down,
    record_rework,
    spoilt_by_rework,
)
from inspections.building.sheet_pictures import with_pictures
from inspections.building.sheeting import SEEN, SIGN, TEST, TESTS, same_work
from inspections.building.sheets import compute_sheet, make_sheet, newest_sheet, paper_of
from inspections.document import GuideIndex
from inspections.gauging.wrenches import BOX as WRENCH_BOX
from inspections.gauging.wrenches import wrench_choices, wrenches_in_use
from inspections.guiding.guides import guide_of
from inspections.models import AsBuilt, BuildSheet
from inventory.models import Piece
from shop import clock
from shop.access import Actor, NotThere, ticket_for
from shop.models import STAGES, Ticket
from shop.refusals import Conflict, Refusal
from shop.stages import hindrances, move_ticket
from shop.views import for_actor

TRIED = ("turns_freely", "gears_hold", "interlock_refuses")


# --- the build sheet


@for_actor
def sheet(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The sheet on screen, to work from and to fill in."""
    ticket = ticket_for(by, number)
    if request.method == "POST":
        by.need("build_units")
        try:
            deed = SHEET_DEEDS[request.POST.get("deed", "")]
        except KeyError:
            raise NotThere from None
        try:
            return redirect(deed(request, by, ticket))
        except Refusal as trouble:
            ticket.refresh_from_db()
            return _sheet_page(request, by, ticket, trouble)
    return _sheet_page(request, by, ticket)


def _here(ticket: Ticket, anchor: str = "") -> str:
    return reverse("sheet", args=[ticket.number]) + anchor


def _newest(ticket: Ticket) -> BuildSheet:
    found = newest_sheet(ticket)
    if found is None:
        raise Conflict("There is no build sheet yet. Make one first.")
    return found


def _make(request: HttpRequest, by: Actor, ticket: Ticket) -> str:
    before = newest_sheet(ticket)
    made = make_sheet(ticket=ticket, by=by)
    if before is not None and made.pk == before.pk:
        messages.info(request, f"Nothing has changed: revision {made.letter} stands.")
    else:
        messages.success(request, f"Revision {made.letter} is frozen. Its paper is being printed.")
    return _here(ticket)


def _fill(request: HttpRequest, by: Actor, ticket: Ticket) -> str:
    row, code = _newest(ticket), request.POST.get("step", "")
    if request.POST.get("revision") != str(row.revision):
        raise Conflict(
            "There is a newer revision of this sheet. Work from that one: what you typed is below."
        )
    written = newest_boxes(row)
    for place, box in enumerate(_boxes(row, code)):
        text = request.POST.get(f"box-{place}", "").strip()
        last = written.get((code, box))
        if text and (last is None or last.text != text):
            try:
                record_box(sheet=row, step_code=code, box=box, text=text, by=by)
            except Refusal as trouble:
                raise type(trouble)(**{f"box-{place}": trouble.message}) from None
    messages.success(request, f"Written down at step {_step_number(row, code)}.")
    return _here(ticket, f"#{code}")


def _boxes(row: BuildSheet, code: str) -> list[str]:
    step = next((one for one in row.document["steps"] if one["code"] == code), None)
    if step is None:
        raise Refusal(f"This sheet has no step {code[:40]}.")
    boxes: list[str] = step["boxes"]
    return boxes


def _step_number(row: BuildSheet, code: str) -> int:
    number: int = next(one["number"] for one in row.document["steps"] if one["code"] == code)
    return number


def _sign(request: HttpRequest, by: Actor, ticket: Ticket) -> str:
    sign_inside(sheet=_newest(ticket), by=by)
    messages.success(request, "You have signed the inside of the unit.")
    return _here(ticket, "#finish")


def _finish(request: HttpRequest, by: Actor, ticket: Ticket) -> str:
    finish_build(ticket=ticket, by=by)
    messages.success(request, "The unit is built. Its pieces are fitted and its parts issued.")
    return _here(ticket, "#finish")


def _test(request: HttpRequest, by: Actor, ticket: Ticket) -> str:
    answers = {name: request.POST.get(name, "") for name in TRIED}
    if missing := {
        name: "Say whether it passed." for name, said in answers.items() if said not in OUTCOMES[:2]
    }:
        raise Refusal(**missing)
    passed = {name: said == OUTCOMES[0] for name, said in answers.items()}
    finish_test(
        ticket=ticket,
        turns_freely=passed["turns_freely"],
        gears_hold=passed["gears_hold"],
        interlock_refuses=passed["interlock_refuses"],
        leak_test=request.POST.get("leak_test", ""),
        reason=request.POST.get("reason", ""),
        by=by,
    )
    messages.success(request, "Tested. The unit can be handed over.")
    return _here(ticket, "#finish")


SHEET_DEEDS: Mapping[str, Callable[[HttpRequest, Actor, Ticket], str]] = {
    "make": _make,
    "boxes": _fill,
    "sign": _sign,
    "finish": _finish,
    "test": _test,
}


def _sheet_page(
    request: HttpRequest, by: Actor, ticket: Ticket, trouble: Refusal | None = None
) -> HttpResponse:
    row = newest_sheet(ticket)
    errors = dict(trouble.errors) if trouble else {}
    context: dict[str, Any] = {
        "ticket": ticket,
        "sheet": row,
        "may_build": by.may("build_units"),
        "can_make": ticket.stage in STAGES and STAGES.index(ticket.stage) >= STAGES.index("agreed"),
        "errors": errors,
        "whole": errors.get("", ""),
    }
    if row is not None:
        context |= _sheet_context(request, by, ticket, row, errors)
    return render(request, "inspections/build/sheet.html", context, status=trouble.status if trouble else 200)


def _sheet_context(
    request: HttpRequest, by: Actor, ticket: Ticket, row: BuildSheet, errors: Mapping[str, str]
) -> dict[str, Any]:
    index = guide_of(examination_of(ticket).revision)
    guide = index.guide
    links = {one["position"]: f"#{step['code']}" for step in row.document["steps"] for one in step["pieces"]}
    document = with_pictures(row.document, guide, links)
    written = newest_boxes(row)
    in_hand = request.POST.get("step", "") if errors else ""
    wrenches, today = wrenches_in_use(), clock.today()
    for step in document["steps"]:
        choices = wrench_choices(step, wrenches, today)
        typed = request.POST if step["code"] == in_hand else {}
        step["fields"] = [
            _field(step["code"], place, box, written=written, typed=typed, errors=errors)
            | {"choices": choices if box == WRENCH_BOX else []}
            for place, box in enumerate(step["boxes"])
        ]
    seen = written.get((SIGN, SEEN))
    changed = _changed(ticket, row)
    working = ticket.stage in {"agreed", "parts complete", "reworked", "built"} and by.may("build_units")
    return {
        "document": document,
        # The part that shows cautions defers to the maker by itself.
        "cautions": [line for line in document["cautions"] if "competent person" not in line],
        "changed": changed,
        "measure_first": _with_checks(document["measure_first"], index, ticket),
        "paper": paper_of(row),
        "open": working and not changed and not document["preliminary"],
        "early": working and document["preliminary"] and not changed,
        "reason": request.POST.get("reason", ""),
        "reason_error": errors.get("reason", ""),
        "seen": seen,
        "sole_builder": by.user is not None and builders_of(row) == {by.user.pk},
        "can_finish": ticket.stage in {"parts complete", "reworked"},
        "tests": _tests(request, by, ticket, written, errors),
        "outcomes": OUTCOMES,
    }


def _field(
    code: str,
    place: int,
    box: str,
    *,
    written: Mapping[tuple[str, str], AsBuilt],
    typed: Mapping[str, Any],
    errors: Mapping[str, str],
) -> dict[str, Any]:
    name = f"box-{place}"
    last = written.get((code, box))
    return {
        "name": name,
        "id": f"{code}-{place}",
        "label": box,
        "value": typed.get(name) or (last.text if last else ""),
        "last": last,
        "typed": typed.get(name, ""),
        "error": errors.get(name, "") if typed else "",
    }


def _with_checks(
    asked: Iterable[Mapping[str, Any]], guide: GuideIndex, ticket: Ticket
) -> list[dict[str, Any]]:
    """What has to be measured first, each with the check that its reading is taken under."""
    return [{**one, "check": check_of(guide, ticket.variant.code, one["feature"])} for one in asked]


def _tests(
    request: HttpRequest,
    by: Actor,
    ticket: Ticket,
    written: Mapping[tuple[str, str], AsBuilt],
    errors: Mapping[str, str],
) -> list[dict[str, Any]]:
    rows = []
    barred = leak_failed(ticket) and not (by.user is not None and by.user.is_lead)
    for name, box in zip((*TRIED, "leak_test"), TESTS, strict=True):
        line = written.get((TEST, box))
        rows.append(
            {
                "name": name,
                "label": box,
                "line": line,
                "chosen": request.POST.get(name, "") or (line.text.split(":")[0] if line else ""),
                "choices": [one for one in OUTCOMES if one != NOT_FOR_THIS or (box == LEAK and not barred)],
                "leak": box == LEAK,
                "error": errors.get(name, ""),
            }
        )
    return rows


def _changed(ticket: Ticket, row: BuildSheet) -> bool:
    """Is the newest revision out of date? Asked only while the unit can still be built from another."""
    if ticket.stage not in {"agreed", "parts complete", "reworked"}:
        return False
    try:
        return not same_work(row.document, compute_sheet(ticket))
    except Refusal:
        return False


# --- rework


@for_actor
def rework(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """What is agreed, what is done of it, and what has to be measured again."""
    ticket = ticket_for(by, number)
    if request.method != "POST":
        return _rework_page(request, by, ticket)
    try:
        if request.POST.get("deed") == "finish":
            by.need("record_readings")
            move_ticket(ticket=ticket, to="reworked", by=by)
            messages.success(request, "Rework is finished. Make a new revision of the build sheet.")
        else:
            _record(request, by, ticket)
    except Refusal as trouble:
        ticket.refresh_from_db()
        return _rework_page(request, by, ticket, trouble)
    return redirect("rework", number=ticket.number)


def _record(request: HttpRequest, by: Actor, ticket: Ticket) -> None:
    by.need("record_readings")
    post = request.POST
    piece = Piece.objects.filter(tag=post.get("piece", ""), source__ticket=ticket).first()
    piece = (
        piece
        or Piece.objects.filter(
            tag=post.get("piece", ""), reservations__ticket=ticket, reservations__isnull=False
        ).first()
    )
    if piece is None:
        raise Refusal(piece="This ticket has no such piece.")
    errors = {}
    minutes = post.get("minutes", "").strip()
    if not (minutes.isascii() and minutes.isdigit() and len(minutes) < 6):
        errors["minutes"] = "Write whole minutes, such as 90."
    if post.get("good") not in {"yes", "no"}:
        errors["good"] = "Say whether it came out well."
    if errors:
        raise Refusal(**errors)
    row = record_rework(
        ticket=ticket,
        piece=piece,
        remedy_code=post.get("remedy", ""),
        minutes=int(minutes),
        good=post["good"] == "yes",
        key=post.get("key", ""),
        note=post.get("note", "").strip(),
        by=by,
    )
    if row.good:
        messages.success(request, f"Written down. Measure {piece.tag} again: a remedy only predicts.")
    else:
        messages.warning(
            request, f"Written down as failed. Do it again, or plan with another piece than {piece.tag}."
        )


def _rework_page(
    request: HttpRequest, by: Actor, ticket: Ticket, trouble: Refusal | None = None
) -> HttpResponse:
    try:
        work = agreed_work(ticket)
    except Conflict:
        work = []
    errors = dict(trouble.errors) if trouble else {}
    rows = [_shown_work(request, by, one, errors) for one in work]
    shown = {key for row in rows for key in row["errors"]}
    context = {
        "ticket": ticket,
        "rows": rows,
        "whole": " ".join(words for key, words in errors.items() if key not in shown),
        "open": by.may("record_readings") and ticket.stage in WORKED_ON,
        "left": sum(one.state != "done" for one in work),
        "asked": _asked(ticket, work),
        "spoilt": spoilt_by_rework(ticket) if work else [],
        "finished": bool(work) and ticket.stage == "reworked",
        "can_finish": bool(work)
        and ticket.stage == "parts complete"
        and by.may("record_readings")
        and not hindrances(ticket, "reworked"),
    }
    return render(
        request, "inspections/build/rework.html", context, status=trouble.status if trouble else 200
    )


def _asked(ticket: Ticket, work: Iterable[Work]) -> list[dict[str, Any]]:
    """Every reading that the build will ask for: of what was reworked, and of what floats and fits need."""
    found = {
        (one.piece.tag, code): {
            "name": title,
            "position": one.position_name,
            "position_code": one.row.position_code,
            "piece": one.piece.tag,
            "check": code,
            "why": "it was reworked: a remedy only predicts",
        }
        for one in work
        for code, title in one.measure_again
    }
    if ticket.stage not in WORKED_ON:
        return list(found.values())
    try:
        document = compute_sheet(ticket)
    except Refusal:
        return list(found.values())
    guide = guide_of(examination_of(ticket).revision)
    for row in _with_checks(document["measure_first"], guide, ticket):
        found.setdefault((row["piece"], row["check"] or row["feature"]), row)
    return list(found.values())


def _shown_work(request: HttpRequest, by: Actor, work: Work, errors: Mapping[str, str]) -> dict[str, Any]:
    post = request.POST
    here = bool(errors) and (post.get("piece"), post.get("remedy")) == (work.piece.tag, work.remedy.code)
    typed = post if here else {}
    return {
        "work": work,
        "id": f"{work.piece.tag}-{work.remedy.code}",
        "errors": errors if here else {},
        "key": typed.get("key") or str(uuid4()),
        "minutes": typed.get("minutes", ""),
        "good": typed.get("good", ""),
        "note": typed.get("note", ""),
        "estimated": work.remedy.minutes,
        "may": may_write_down(by, work.remedy),
    }
