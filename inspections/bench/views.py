"""Pages of the Bench: what lies on it, one unit, one position with its check in hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods, require_safe

from inspections.bench import pages
from inspections.bench.blind import SHOWN_LATER, Sight, sees_all, sight_of, words_for
from inspections.bench.forms import ReadingForm, WithdrawForm, new_id
from inspections.bench.lines import lies_at, line_of
from inspections.bench.live_pages import live_page, page_of_nobody, spare_hands
from inspections.bench.partners import partners_of
from inspections.bench.places import At, DonorAtBench, OnBench, position_url, unit_url
from inspections.document import Check, Guide
from inspections.donors.stripping import donors_on_bench
from inspections.evidence.answers import answers_of, complaint_states, standing
from inspections.evidence.photograph_views import hand_context
from inspections.gauging.choosing import BenchGauges, gauges_for
from inspections.guiding.guides import guide_of, newest_revision
from inspections.judgement.judging import Finding
from inspections.models import Examination
from inspections.readings.examining import (
    READABLE_STAGES,
    STRIPPED_FROM,
    finish_examination,
    mark_missing,
    open_examination,
)
from inspections.readings.findings import Examined, examinations, examined, examined_many, open_disputes
from inspections.readings.kept import Kept
from inspections.readings.recording import Result, SentReading, record_readings
from shop.access import Actor, NotThere
from shop.models import Ticket
from shop.refusals import Refusal
from shop.views import for_actor

PAGE = 40
ON_THE_BENCH = ("received", *READABLE_STAGES)


@dataclass(frozen=True, slots=True)
class UnitSheet:
    """What a unit's page says for one kind of eye."""

    text: SafeString
    decided: int
    of: int
    disputes: int
    next: dict[str, str] | None


# Kept under everything that they follow from: never stale, made anew after each reading.
_sheets: Kept[UnitSheet] = Kept(128)


@require_safe
@for_actor
def bench(request: HttpRequest, by: Actor) -> HttpResponse:
    """The units on the bench, those with the nearest promise first."""
    by.need("see_tickets")
    tickets = (
        Ticket.objects.at(*ON_THE_BENCH).select_related("family", "variant").order_by("promised_on", "number")
    )
    page = Paginator(tickets, PAGE).get_page(request.GET.get("page"))
    held = {
        one.ticket_id: one for one in examinations().filter(ticket__in=[one.pk for one in page.object_list])
    }
    judged = {one.state.examination: one for one in examined_many(list(held.values()))}
    rows = [_unit_row(one, held.get(one.pk), judged) for one in page.object_list]
    context = {"page": page, "rows": rows, "donors": donors_on_bench(), "live": page_of_nobody(by)}
    return render(request, "inspections/bench/list.html", context)


def _unit_row(ticket: Ticket, held: Examination | None, judged: dict[int, Examined]) -> dict[str, Any]:
    row: dict[str, Any] = {"ticket": ticket, "days": ticket.days_in_stage()}
    if held is not None:
        judgement = judged[held.pk].judgement
        row["decided"], row["of"] = pages.decided_of(judgement)
        row["disputes"] = len(open_disputes(judgement))
    return row


# --- one unit


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def bench_ticket(request: HttpRequest, by: Actor, number: int) -> HttpResponse:
    """The unit as drawn, its complaint, its positions. Strips it, and finishes its examination."""
    ticket, held = lies_at(by, number)
    if request.method != "POST":
        return _unit_page(request, by, ticket, held=held)
    by.need("record_readings")
    deed = request.POST.get("deed", "")
    try:
        if deed == "strip":
            open_examination(ticket=ticket, by=by, missing=request.POST.getlist("missing"))
            messages.success(request, "The unit is stripped and its pieces have their tags.")
        elif deed == "finish":
            finish_examination(ticket=ticket, by=by)
            messages.success(request, "The examination is finished. The desk can plan and quote.")
        else:
            raise NotThere
    except Refusal as trouble:
        ticket.refresh_from_db()
        return _unit_page(request, by, ticket, trouble)
    return redirect("bench_ticket", number=number)


def _held(ticket: OnBench) -> Examination | None:
    """The ticket's or the donor's examination; what it shares with its holder is not fetched again."""
    found = Examination.objects.select_related("revision").defer("revision__document")
    if isinstance(ticket, DonorAtBench):
        held = found.filter(donor_id=ticket.unit.pk).first()
        if held is not None:
            held.donor = ticket.unit
        return held
    held = found.filter(ticket_id=ticket.pk).first()
    if held is not None:
        held.ticket = ticket
    return held


def _unit_page(
    request: HttpRequest,
    by: Actor,
    ticket: Ticket,
    trouble: Refusal | None = None,
    held: Examination | None = None,
) -> HttpResponse:
    held = held or _held(ticket)
    context: dict[str, Any] = {
        "ticket": ticket,
        "trouble": trouble.message if trouble else "",
        "may_read": by.may("record_readings"),
    }
    status = trouble.status if trouble else 200
    if held is None:
        return _unstripped(request, ticket, context, status)
    whole = examined(held)
    complaints = complaint_states(ticket, whole.judgement, standing(answers_of(held)))
    context |= {
        "held": held,
        "complaints": pages.complaint_rows(whole.judgement, complaints),
        "live": live_page(
            examination=held, whole=whole, by=by, unit_url=unit_url(ticket.number), named=_named(ticket)
        ),
        "sheet": sheet_of(held, ticket.number, whole, by),
        "readable": ticket.stage in READABLE_STAGES,
        "cautions": cautions_of(whole.judgement.guide.guide),
    }
    return render(request, "inspections/bench/unit.html", context, status=status)


def _named(ticket: OnBench) -> str:
    return f"{'Donor' if isinstance(ticket, DonorAtBench) else 'Ticket'} {ticket.number}"


def sheet_of(held: Examination, number: At, whole: Examined, by: Actor) -> UnitSheet:
    """The drawing and the list of positions for these eyes, kept until something changes."""
    name = "" if sees_all(by) else str(by.person.pk)
    key = (whole.state, held.revision.number, number, name)
    return _sheets.get(key, lambda: _sheet(held, number, whole, by))


def _sheet(held: Examination, number: At, whole: Examined, by: Actor) -> UnitSheet:
    sight = sight_of(by, whole.state, whole.records)
    rows = pages.position_rows(number, whole, sight)
    context = {
        "drawing": pages.draw_unit(held, number, whole, sight),
        "lines": [line_of(one) for one in rows],
        "shown_later": SHOWN_LATER if any(one.hidden for one in rows) else "",
    }
    text = render_to_string("inspections/bench/unit_sheet.html", context)
    decided, of = pages.decided_of(whole.judgement)
    disputes = len(open_disputes(whole.judgement))
    return UnitSheet(text, decided, of, disputes, pages.next_link(number, whole.judgement, ""))


def cautions_of(guide: Guide) -> list[str]:
    """The guide's cautions, less the deference to maker and law, which the caution says by itself."""
    return [one for one in guide.cautions if not one.startswith("The maker's data")]


def _unstripped(request: HttpRequest, ticket: Ticket, context: dict[str, Any], status: int) -> HttpResponse:
    """Before the unit is stripped: its positions, to say which were empty."""
    try:
        guide = guide_of(newest_revision(ticket.family))
    except Refusal as none:
        context["trouble"] = none.message
    else:
        context["positions"] = guide.positions_of(ticket.variant.code)
        context["cautions"] = cautions_of(guide.guide)
    context["missing"] = request.POST.getlist("missing")
    context["strippable"] = ticket.stage in STRIPPED_FROM
    return render(request, "inspections/bench/strip.html", context, status=status)


# --- one position


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def bench_position(request: HttpRequest, by: Actor, number: int, code: str) -> HttpResponse:
    """A position's checks, with the one in hand. Records, withdraws, says what is missing."""
    ticket, held = lies_at(by, number)
    return position_of(request, by, ticket, code, held)


def position_of(
    request: HttpRequest, by: Actor, ticket: OnBench, code: str, held: Examination | None = None
) -> HttpResponse:
    """The page of a position of a ticket's unit or of a donor, and the deeds on it."""
    held = held or _held(ticket)
    if held is None:
        raise NotThere
    if request.method != "POST":
        return _position_page(request, by, ticket, held, code)
    by.need("record_readings")
    deed = request.POST.get("deed", "record")
    if deed in {"missing", "turned up"}:
        return _say_missing(request, by, ticket, held, code)
    if deed == "withdraw":
        return _withdraw(request, by, ticket, held, code)
    return _record(request, by, ticket, held, code)


def _place(number: At, code: str, check: str = "", piece: str = "") -> str:
    said = urlencode({key: value for key, value in (("check", check), ("piece", piece)) if value})
    return position_url(number, code) + (f"?{said}" if said else "")


def _say_missing(
    request: HttpRequest, by: Actor, ticket: OnBench, held: Examination, code: str
) -> HttpResponse:
    tag, missing = request.POST.get("piece", ""), request.POST.get("deed") == "missing"
    try:
        mark_missing(examination=held, tag=tag, missing=missing, by=by)
    except Refusal as trouble:
        return _position_page(request, by, ticket, held, code, trouble=trouble.message, status=trouble.status)
    messages.success(request, f"{tag} is marked as missing." if missing else f"{tag} has turned up.")
    return redirect(_place(ticket.number, code, piece=tag))


def _send(held: Examination, sent: SentReading, by: Actor) -> Result:
    """One reading through the rule; a refusal of the whole is a refusal of the one."""
    try:
        return record_readings(examination=held, readings=[sent], by=by)[0]
    except Refusal as trouble:
        return Result(sent.id, "refused", trouble.message)


def _withdraw(request: HttpRequest, by: Actor, ticket: OnBench, held: Examination, code: str) -> HttpResponse:
    form = WithdrawForm(request.POST)
    if not form.is_valid():
        return _position_page(
            request, by, ticket, held, code, trouble="Choose the reading again.", status=422
        )
    result = _send(held, form.sent(), by)
    if result.status == "refused":
        taking = {"withdraws": str(form.cleaned_data["withdraws"]), "reason": form.cleaned_data["reason"]}
        return _position_page(
            request, by, ticket, held, code, trouble=result.problem, taking=taking, status=422
        )
    messages.success(request, "Withdrawn. The reading stays listed, struck through.")
    return redirect(_place(ticket.number, code, form.cleaned_data["check"], request.POST.get("piece", "")))


def _record(request: HttpRequest, by: Actor, ticket: OnBench, held: Examination, code: str) -> HttpResponse:
    whole = examined(held)
    check = whole.judgement.guide.check.get(request.POST.get("check", ""))
    if check is None or check.position != code:
        words = "That check is not of this position. Choose one of its checks."
        return _position_page(request, by, ticket, held, code, trouble=words, status=422)
    if check.kind in {"stack", "replaced"}:
        words = f"{check.title} follows from its parts, or is replaced always. Nothing is read."
        return _position_page(request, by, ticket, held, code, trouble=words, status=422)
    gauges = gauges_for(whole, check, request.POST.get("piece", ""), "")
    overdue = gauges.overdue and by.person.is_lead
    partners = partners_of(whole, check)
    form = ReadingForm(check, gauges.choices, request.POST, overdue=overdue, partners=partners)
    if not form.is_valid():
        return _position_page(request, by, ticket, held, code, form=form, status=422)
    result = _send(held, form.sent(request.POST.get("outcome", "")), by)
    if result.status == "refused":
        form.take_refusal(result)
        return _position_page(request, by, ticket, held, code, form=form, status=422)
    return _after(request, by, ticket, held, check, form.cleaned_data["piece"])


def _after(
    request: HttpRequest, by: Actor, ticket: OnBench, held: Examination, check: Check, tag: str
) -> HttpResponse:
    """Say what follows, and go on: to the check's next place, or to the next open check if all is well."""
    held = _held(ticket) or held
    whole = examined(held)
    sees = sight_of(by, whole.state, whole.records)
    finding = next((one for one in whole.judgement.of_check(check.code) if one.piece == tag or not tag), None)
    words = words_for(sees, finding, whole.record, check.title) if finding else check.title
    if finding is not None and finding.state in {"within", "sound"} and not finding.dispute:
        messages.success(request, words)
        onward = pages.next_link(ticket.number, whole.judgement, check.code)
        return redirect(onward["url"] if onward else unit_url(ticket.number))
    if finding is not None and finding.state == "not examined":
        messages.success(request, words)
    else:
        messages.warning(request, words)
    return redirect(_place(ticket.number, check.position, check.code, tag))


def _position_page(
    request: HttpRequest,
    by: Actor,
    ticket: OnBench,
    held: Examination,
    code: str,
    *,
    form: ReadingForm | None = None,
    trouble: str = "",
    taking: dict[str, str] | None = None,
    status: int = 200,
) -> HttpResponse:
    whole = examined(held)
    judgement = whole.judgement
    position = judgement.guide.position.get(code)
    if position is None or code not in judgement.status:
        raise NotThere
    sight = sight_of(by, whole.state, whole.records)
    laid_out = [one for one in whole.state.pieces if one.position == code]
    asked = request.POST.get("piece") or request.GET.get("piece", "")
    piece = next((one for one in laid_out if one.tag == asked), laid_out[0] if laid_out else None)
    tag = piece.tag if piece else ""
    finding = _in_hand(request, whole, code, tag)
    may_read = by.may("record_readings") and ticket.stage in READABLE_STAGES
    lead = may_read and by.person.is_lead
    context: dict[str, Any] = {
        "ticket": ticket,
        "unit_url": unit_url(ticket.number),
        "held": held,
        "position": position,
        "mark": pages.mark_of_position(judgement, code),
        "pieces": laid_out,
        "piece": piece,
        "trouble": trouble,
        "taking": taking or {},
        "may_read": may_read,
        "was_read": any(tag == key for one in whole.records for key, _ in one.pieces),
        "drawing": pages.draw_unit(held, ticket.number, whole, sight, current=code),
        "fresh_id": new_id(),
        "live": live_page(
            examination=held,
            whole=whole,
            by=by,
            unit_url=unit_url(ticket.number),
            named=_named(ticket),
            position=code,
            piece=tag,
        ),
    }
    if finding is not None:
        context |= _hand_of(whole, sight, by, ticket, finding, tag, may_read=may_read, lead=lead, form=form)
        context["checks"] = pages.check_rows(ticket.number, whole, sight, code, tag, finding.check)
        context |= hand_context(held, whole, sight, by, finding.check, tag, ticket.number)
    if request.GET.get("keep"):
        context["spares"] = spare_hands(
            whole,
            code,
            [one.tag for one in laid_out if not one.missing],
            lambda one, of: _hand_of(whole, sight, by, ticket, one, of, may_read=may_read, lead=lead),
        )
    return render(request, "inspections/bench/position.html", context, status=status)


def _hand_of(
    whole: Examined,
    sight: Sight,
    by: Actor,
    ticket: OnBench,
    finding: Finding,
    tag: str,
    *,
    may_read: bool,
    lead: bool,
    form: ReadingForm | None = None,
) -> dict[str, Any]:
    """What a page says of one check in hand: its finding, its gauges, its form, and where to go on."""
    check = whole.judgement.guide.check[finding.check]
    hand = pages.in_hand(whole, sight, check, finding, may_withdraw=may_read and lead)
    gauges = gauges_for(whole, check, tag, _name_of(whole, sight, by))
    found: dict[str, Any] = {
        "hand": hand,
        "gauges": gauges,
        "next": pages.next_link(ticket.number, whole.judgement, check.code) if may_read else None,
    }
    missing = any(one.tag == tag and one.missing for one in whole.state.pieces)
    if may_read and check.kind not in {"stack", "replaced"} and tag and not missing:
        found["form"] = form or _blank(check, whole, sight, by, hand, tag, gauges)
    return found


def _blank(
    check: Check,
    whole: Examined,
    sight: Sight,
    by: Actor,
    hand: pages.InHand,
    tag: str,
    gauges: BenchGauges,
) -> ReadingForm:
    person = _name_of(whole, sight, by)
    own = [one.reading.place for one in hand.readings if one.reading.person == person and not one.history]
    place = next((one for one in check.places if own.count(one) < check.repeats), "")
    blank = {"id": new_id(), "check": check.code, "piece": tag, "place": place}
    blank["gauge"] = gauges.last
    return ReadingForm(
        check,
        gauges.choices,
        overdue=gauges.overdue and by.person.is_lead,
        partners=partners_of(whole, check),
        initial=blank,
    )


def _name_of(whole: Examined, sight: Sight, by: Actor) -> str:
    return sight.name or (dict(whole.state.people).get(by.user.pk, "") if by.user else "")


def _in_hand(request: HttpRequest, whole: Examined, code: str, tag: str) -> Finding | None:
    """The check that was asked for, else the first that is not read, else the first."""
    own = [one for one in whole.judgement.findings if one.position == code and one.piece in {tag, ""}]
    wanted = request.POST.get("check") or request.GET.get("check", "")
    for found in (
        [one for one in own if one.check == wanted],
        [one for one in own if one.state == "not examined" and _readable(whole, one)],
        own,
    ):
        if found:
            return found[0]
    return None


def _readable(whole: Examined, one: Finding) -> bool:
    return whole.judgement.guide.check[one.check].kind not in {"stack", "replaced"}
