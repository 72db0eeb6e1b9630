"""Every way to fill each position, from what was found, what is in stock and what suppliers ask. Pure.

Takes plain records and makes the planning problem; ``options`` reads the records from the database.
Costs are the shop's own: time at cost, consumables, outside work, what a part cost or would cost.
"""

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Any

from estimates.planproblem import Bond, Kind, Option, Problem, Span, Stack
from inspections.document import STANDARD, Check, GuideIndex, Remedy
from inspections.judgement.judging import Judgement, PieceVerdict

UNMEASURED_RISK = 0.08  # shop's own: a used piece whose mating feature nobody has measured yet
OPEN_RISK = 0.20  # shop's own: an own piece that is not decided
PARTING_RISK = 0.02  # shop's own: wheels that ran together and are parted
MOST_COMBINATIONS = 12


@dataclass(frozen=True, slots=True)
class OwnPiece:
    """A piece that the ticket brought, whosever it is. ``bound``: tags of its must set, itself left out."""

    tag: str
    position: str
    size: str = STANDARD
    missing: bool = False
    ran_in: str = ""
    bound: tuple[str, ...] = ()
    owner_is_shop: bool = False


@dataclass(frozen=True, slots=True)
class StockPiece:
    """A used piece in a bin that is free; ``measures``: feature -> (value, expanded uncertainty) mm."""

    tag: str
    position: str
    bin: str
    cost_minor: int
    size: str = STANDARD
    ran_in: str = ""
    measures: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PartOffer:
    """A part that fits the position, from the shelf (``supplier`` empty) or from a supplier."""

    position: str
    number: str
    name: str
    size: str
    quantity: int
    cost_minor: int
    supplier: str = ""
    days: int = 0
    price_id: int = 0
    features: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ways:
    """The problem, and for each option code what carrying it out means (kept with the plan as JSON)."""

    problem: Problem
    means: Mapping[str, Mapping[str, Any]]


class _Maker:
    def __init__(self, judgement: Judgement, labour_minor_per_hour: int, order_line_minor: int) -> None:
        self.judgement = judgement
        self.order_line = order_line_minor
        self.guide: GuideIndex = judgement.guide
        self.labour = labour_minor_per_hour
        self.positions = self.guide.positions_of(judgement.variant)
        self.stacks = [one for one in self.guide.checks_of(judgement.variant) if one.kind == "stack"]
        self.stacked = {term.feature for stack in self.stacks for term in stack.terms}
        self.means: dict[str, dict[str, Any]] = {}
        self.options: list[Option] = []

    def features_of(self, position: str) -> tuple[str, ...]:
        """Features of the position that some stack needs."""
        return tuple(
            code
            for code, one in self.guide.feature.items()
            if one.position == position and code in self.stacked
        )

    def span_new(self, feature: str, size: str, stated: Mapping[str, tuple[float, float]]) -> Span:
        if feature in stated:
            low, high = stated[feature]
        else:
            entry = self.guide.feature[feature]
            limit = entry.limit(size) or entry.limits[0]
            low, high = limit.new_min_mm, limit.new_max_mm
        return Span(low, (low + high) / 2, high)

    def measured(self, tag: str, position: str) -> dict[str, Span]:
        """Stack features of an own piece that were measured and decided."""
        spans = {}
        for feature in self.features_of(position):
            for check in self.guide.guide.checks:
                if check.kind != "measure" or check.feature != feature:
                    continue
                found = self.judgement.finding.get((check.code, tag))
                if (
                    found is not None
                    and found.value_mm is not None
                    and not (found.dispute and found.dispute.open)
                ):
                    u = (found.expanded_um or 0.0) / 1000
                    spans[feature] = Span(found.value_mm - u, found.value_mm, found.value_mm + u)
        return spans

    def add(self, option: Option, **means: Any) -> None:
        self.options.append(option)
        self.means[option.code] = means

    # own pieces -------------------------------------------------------------------------------------------

    def own(self, piece: OwnPiece) -> None:
        status = self.judgement.status.get(piece.position, "open")
        verdict = self.judgement.verdict.get(piece.tag)
        if piece.missing or verdict is None or status in {"missing", "wrong part", "replaced"}:
            return
        if verdict.verdict == "scrap":
            return
        spans = self.measured(piece.tag, piece.position)
        if verdict.verdict == "open":
            self.own_open(piece, verdict, spans)
            return
        for remedies in self.remedies_for(verdict):
            self.own_with(piece, remedies, spans)

    def own_open(self, piece: OwnPiece, verdict: PieceVerdict, spans: Mapping[str, Span]) -> None:
        name = self.guide.position[piece.position].name
        self.add(
            Option(
                f"{piece.position}:measure:{piece.tag}",
                piece.position,
                "measure first",
                f"{name}: measure {piece.tag} first",
                0,
                risk=OPEN_RISK,
                uses={piece.tag: 1},
                features=spans,
                unknown=self.unknown(piece.position, spans),
                ran_with=piece.ran_in,
            ),
            way="own",
            piece=piece.tag,
            why=list(verdict.because),
        )

    def own_with(self, piece: OwnPiece, remedies: tuple[Remedy, ...], spans: Mapping[str, Span]) -> None:
        left = {**spans}
        for remedy in remedies:
            for leaves in remedy.leaves:
                if leaves.feature in self.stacked:
                    middle = (leaves.min_mm + leaves.max_mm) / 2
                    left[leaves.feature] = Span(leaves.min_mm, middle, leaves.max_mm)
        minutes = sum(one.minutes for one in remedies)
        outside = sum(one.outside_minor + one.consumables_minor for one in remedies)
        tail = ":" + "+".join(one.code for one in remedies) if remedies else ""
        name = self.guide.position[piece.position].name
        said = "; ".join(one.name.lower() for one in remedies)
        self.add(
            Option(
                f"{piece.position}:own:{piece.tag}{tail}",
                piece.position,
                "reworked" if remedies else "own",
                f"{name}: own piece, {said}" if remedies else f"{name}: own piece goes back",
                self.time_cost(minutes) + outside,
                days=max((one.lead_days for one in remedies), default=0),
                minutes=minutes,
                risk=1 - prod(1 - one.fails for one in remedies),
                uses={piece.tag: 1},
                features=left,
                unknown=self.unknown(piece.position, left),
                ran_with=piece.ran_in,
            ),
            way="reworked" if remedies else "own",
            piece=piece.tag,
            remedies=[one.code for one in remedies],
            consumables_minor=sum(one.consumables_minor for one in remedies),
            outside_minor=sum(one.outside_minor for one in remedies),
            size=next((leaves.size for one in remedies for leaves in one.leaves), piece.size),
        )

    def remedies_for(self, verdict: PieceVerdict) -> Iterator[tuple[Remedy, ...]]:
        """Each set of remedies that makes good all that fails; fewest first, at most a dozen.

        A feature that suits another size needs none if its mate is of that size, and a stack that is outside
        may be put right by the mate instead: the solver holds the stacks.
        """
        sizes = {check for check, _ in verdict.sizes}
        needed: list[list[str]] = []
        for check, remedies in verdict.needs:
            free = check in sizes or self.guide.check[check].kind == "stack"
            needed.append([*([""] if free else []), *remedies])
        found: set[tuple[str, ...]] = set()
        for combination in itertools.product(*needed):
            codes = tuple(sorted({one for one in combination if one}))
            clash = any(other in codes for code in codes for other in self.guide.remedy[code].rules_out)
            if not clash:
                found.add(codes)
        for codes in sorted(found, key=lambda one: (len(one), one))[:MOST_COMBINATIONS]:
            yield tuple(self.guide.remedy[code] for code in codes)

    # pieces and parts that are not the ticket's -------------------------------------------------------------

    def used(self, piece: StockPiece) -> None:
        spans = {
            feature: Span(value - u, value, value + u)
            for feature, (value, u) in piece.measures.items()
            if feature in self.stacked
        }
        unknown = self.unknown(piece.position, spans)
        name = self.guide.position[piece.position].name
        self.add(
            Option(
                f"{piece.position}:used:{piece.tag}",
                piece.position,
                "used",
                f"{name}: used piece {piece.tag}, bin {piece.bin}",
                piece.cost_minor,
                risk=UNMEASURED_RISK if unknown else 0.0,
                uses={piece.tag: 1},
                features=spans,
                unknown=unknown,
                ran_with=piece.ran_in,
            ),
            way="used",
            piece=piece.tag,
            size=piece.size,
        )

    def part(self, offer: PartOffer) -> None:
        kind: Kind = "new" if offer.supplier else "lot"
        name = self.guide.position[offer.position].name
        where = f"new from {offer.supplier}" if offer.supplier else "from the shelf"
        size = f", {offer.size}" if offer.size != STANDARD else ""
        spans = {
            feature: self.span_new(feature, offer.size, offer.features)
            for feature in self.features_of(offer.position)
        }
        code = f"{offer.position}:{kind}:{offer.supplier or 'shelf'}:{offer.number}"
        self.add(
            Option(
                code,
                offer.position,
                kind,
                f"{name}: {offer.number}{size}, {where}",
                offer.cost_minor + (self.order_line if offer.supplier else 0),
                days=offer.days,
                uses={} if offer.supplier else {f"part:{offer.number}": offer.quantity},
                features=spans,
            ),
            way="new",
            part=offer.number,
            supplier=offer.supplier,
            price=offer.price_id,
            quantity=offer.quantity,
            size=offer.size,
            part_minor=offer.cost_minor,
        )

    # what holds them together -------------------------------------------------------------------------------

    def unknown(self, position: str, spans: Mapping[str, Span]) -> tuple[str, ...]:
        return tuple(feature for feature in self.features_of(position) if feature not in spans)

    def time_cost(self, minutes: int) -> int:
        """Time at cost, rounded half up, once [minor units]."""
        return (2 * minutes * self.labour + 60) // 120

    def stack(self, check: Check) -> Stack:
        return Stack(
            check.code,
            check.title,
            tuple((term.feature, term.factor) for term in check.terms),
            check.lower_mm,
            check.upper_mm,
            # An end float that washers set is planned to stay inside whatever the gauges did; a mate of
            # measured parts under the simple rule goes by its values.
            worst_case=check.rule == "guarded" or None not in (check.min_mm, check.max_mm),
        )

    def bonds(self) -> Iterator[Bond]:
        present = {one.code for one in self.positions}
        for one in self.guide.guide.bonds:
            slots = tuple(code for code in one.positions if code in present)
            if one.kind == "should" and len(slots) > 1:
                yield Bond(one.code, one.name, slots, one.penalty_minor, PARTING_RISK)

    def bind_whole(self, pieces: Sequence[OwnPiece]) -> None:
        """A must set is taken whole: an option with one of its pieces rules out others' at its fellows."""
        place = {one.tag: one.position for one in pieces}
        fellows = {one.tag: one.bound for one in pieces if one.bound}
        for at, option in enumerate(self.options):
            tag = self.means[option.code].get("piece", "")
            out = [
                other.code
                for fellow in fellows.get(tag, ())
                for other in self.options
                if other.slot == place.get(fellow) and self.means[other.code].get("piece") != fellow
            ]
            if out:
                self.options[at] = _ruling_out(option, out)


def _ruling_out(option: Option, codes: Iterable[str]) -> Option:
    from dataclasses import replace

    return replace(option, rules_out=tuple(sorted({*option.rules_out, *codes})))


def find_ways(
    *,
    judgement: Judgement,
    own: Sequence[OwnPiece],
    stock: Sequence[StockPiece],
    offers: Sequence[PartOffer],
    free: Mapping[str, int],
    labour_minor_per_hour: int,
    order_line_minor: int = 0,
    minor_digits: int = 2,
) -> Ways:
    """The planning problem of a unit. ``free``: resource -> quantity, for ``part:<number>`` of the shelf.

    ``order_line_minor``: what ordering and booking in one line costs the shop, beside the part.
    """
    maker = _Maker(judgement, labour_minor_per_hour, order_line_minor)
    slots = {one.code for one in maker.positions}
    for piece in own:
        if piece.position in slots:
            maker.own(piece)
    for used in stock:
        if used.position in slots:
            maker.used(used)
    for offer in offers:
        if offer.position in slots:
            maker.part(offer)
    maker.bind_whole(own)
    filled = {one.slot for one in maker.options}
    stacks = tuple(
        maker.stack(check)
        for check in maker.stacks
        if all(maker.guide.feature[term.feature].position in filled for term in check.terms)
    )
    resources = {**free, **{one.tag: 1 for one in own}, **{one.tag: 1 for one in stock}}
    problem = Problem(
        tuple(one.code for one in maker.positions),
        tuple(maker.options),
        stacks,
        tuple(maker.bonds()),
        resources,
        {one.code: one.name for one in maker.positions},
        minor_digits,
    )
    return Ways(problem, maker.means)
