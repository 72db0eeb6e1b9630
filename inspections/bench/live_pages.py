"""What the bench's pages say of themselves to their scripts, and what a kept page carries besides."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from inspections.bench.keeping_views import keeping_version
from inspections.judgement.judging import Finding
from inspections.models import Examination
from inspections.readings.findings import Examined
from shop.access import Actor

NOT_READ = ("stack", "replaced")


@dataclass(frozen=True, slots=True)
class LivePage:
    """Whose page it is, which examination, and where its parts are asked for."""

    person: str
    version: str
    api: str = ""
    counter: int = 0
    position: str = ""
    piece: str = ""
    unit: str = ""
    named: str = ""
    positions: str = ""  # codes in the guide's order
    open: str = ""  # of these, where something is still to be read
    keeps: bool = False  # this person reads here: the pages are kept for work without a network


def page_of_nobody(by: Actor) -> LivePage:
    """A page of the bench without a unit in hand: what waits is shown there, too."""
    return LivePage(by.key, keeping_version())


def live_page(
    *,
    examination: Examination,
    whole: Examined,
    by: Actor,
    unit_url: str,
    named: str,
    position: str = "",
    piece: str = "",
) -> LivePage:
    """``named``: the unit in words, such as "Ticket 2401"."""
    judgement = whole.judgement
    codes = [one.code for one in judgement.guide.positions_of(judgement.variant)]
    lacking = {one.position for one in judgement.findings if is_open(whole, one)}
    return LivePage(
        person=by.key,
        version=keeping_version(),
        api=f"/api/v1/examinations/{examination.pk}",
        counter=whole.state.counter,
        position=position,
        piece=piece,
        unit=unit_url,
        named=named,
        positions=" ".join(codes),
        open=" ".join(code for code in codes if code in lacking),
        keeps=by.may("record_readings"),
    )


def is_open(whole: Examined, one: Finding) -> bool:
    """Nobody has read it yet, and somebody can."""
    return one.state == "not examined" and whole.judgement.guide.check[one.check].kind not in NOT_READ


def spare_hands(
    whole: Examined, code: str, tags: Iterable[str], hand_of: Callable[[Finding, str], dict[str, Any]]
) -> list[dict[str, Any]]:
    """Every check of the position for each of its pieces, for a page that is kept on a tablet."""
    return [
        {"check": one.check, "piece": tag, "tag": tag, "open": is_open(whole, one), **hand_of(one, tag)}
        for tag in tags
        for one in whole.judgement.findings
        if one.position == code and one.piece in {tag, ""}
    ]
