"""The guide as a document: plain frozen records read from the TOML file or from a published revision.

Pure: no database, no Django. Lengths are mm, money is minor units of the shop's currency, time is minutes.
Positions are named by codes that never change; everything else belongs to the one revision it stands in.

A check of kind ``try`` is of named pieces as assembled: turned, selected, or measured for backlash, gap or
end float. ``of`` names the other positions it is assembled with; a reading of it is of all those pieces and
ends when any of them is changed. With ``min``, ``max`` or ``wear`` it takes a quantity and a gauge, at its
``places`` if it names any; without, it is sound or shows one of its defects, like a look::

    [[check]]
    code = "TRY-2M-LASH"
    position = "W2M"
    kind = "try"
    of = ["LAY"]
    title = "Backlash of second gear"
    dimension = "movement"   # what the gauge measures; optional
    gauge_um = 12.0          # optional
    min = 0.08               # mm
    max = 0.20
    wear = 0.30
    places = ["first tooth", "opposite"]
    remedies = ["MATCH-2"]
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

CheckKind = Literal["identify", "look", "measure", "stack", "count", "thread", "try", "replaced"]
CHECK_KINDS: tuple[CheckKind, ...] = (
    "identify",
    "look",
    "measure",
    "stack",
    "count",
    "thread",
    "try",
    "replaced",
)
Rule = Literal["guarded", "simple"]
# What is measured of a feature, and what gauges measure; common practice, no source.
DIMENSIONS = ("outside", "bore", "length", "depth", "gap", "movement")
STANDARD = "standard"


@dataclass(frozen=True, slots=True)
class Variant:
    code: str
    name: str


@dataclass(frozen=True, slots=True)
class Position:
    """A slot for one part or one set. ``number`` is its balloon on the drawing; no variants means all."""

    code: str
    number: int
    name: str
    us_name: str = ""
    quantity: int = 1
    variants: tuple[str, ...] = ()
    material: str = "steel"

    def exists_in(self, variant: str) -> bool:
        return not self.variants or variant in self.variants


@dataclass(frozen=True, slots=True)
class Bond:
    """Positions whose pieces are bound: ``must`` is taken whole, parting ``should`` costs soundness."""

    code: str
    name: str
    kind: Literal["must", "should"]
    positions: tuple[str, ...]
    penalty_minor: int = 0


@dataclass(frozen=True, slots=True)
class Limit:
    """Limits of a feature in one size, mm. Its zone runs from new size to the wear limit, if stated."""

    size: str
    new_min_mm: float
    new_max_mm: float
    wear_mm: float | None = None

    @property
    def lower_mm(self) -> float:
        return (
            self.wear_mm if self.wear_mm is not None and self.wear_mm < self.new_min_mm else self.new_min_mm
        )

    @property
    def upper_mm(self) -> float:
        return (
            self.wear_mm if self.wear_mm is not None and self.wear_mm > self.new_max_mm else self.new_max_mm
        )


@dataclass(frozen=True, slots=True)
class Feature:
    """A place on a part that is measured, with its limits by size (the first is the standard size)."""

    code: str
    position: str
    name: str
    limits: tuple[Limit, ...]
    rule: Rule = "guarded"
    source: str = "invented for the demonstration"
    form_mm: float | None = None  # allowed out-of-round between places
    dimension: str = ""  # one of DIMENSIONS, for the kind of gauge; empty: any gauge will do

    def limit(self, size: str) -> Limit | None:
        return next((one for one in self.limits if one.size == size), None)


@dataclass(frozen=True, slots=True)
class Term:
    """One signed feature of a stack: ``factor`` is +1, −1, −2 (two rollers) and so on."""

    feature: str
    factor: int


@dataclass(frozen=True, slots=True)
class Check:
    """One thing to identify, look at, measure, try or work out.

    ``measure`` names a feature; ``stack`` has terms with limits of its own; ``identify`` expects a text
    by variant (``*`` for all); ``count`` an expected number; ``thread`` a designation. ``fit`` and ``wear``
    of a mate are stated by themselves and need not follow from its parts' wear limits. ``remedies`` apply
    when a measure, stack, count or thread check is outside; a look or thread defect names its own.
    """

    code: str
    position: str
    kind: CheckKind
    title: str
    how: str = ""
    variants: tuple[str, ...] = ()
    feature: str = ""
    places: tuple[str, ...] = ()
    gauge_um: float | None = None  # largest expanded uncertainty of a gauge that may be used
    warm: bool = False  # ask for the part's temperature
    terms: tuple[Term, ...] = ()
    min_mm: float | None = None
    max_mm: float | None = None
    wear_mm: float | None = None
    rule: Rule = "simple"
    expected: Mapping[str, str] | None = None
    designation: str = ""
    fit: tuple[float, float] | None = None  # fit of new parts as the source states it: tightest, loosest
    identifies: bool = False  # a count that tells one part from another (teeth)
    of: tuple[str, ...] = ()  # other positions that a try is assembled with
    dimension: str = ""  # what the gauge of a measured try measures, one of DIMENSIONS
    remedies: tuple[str, ...] = ()
    caution: str = ""  # danger to people, and nothing else
    note: str = ""  # what spoils the work or has to be known
    source: str = "invented for the demonstration"

    @property
    def takes_quantity(self) -> bool:
        """Is it read as a quantity with a gauge?"""
        limits = (self.min_mm, self.max_mm, self.wear_mm)
        return self.kind == "measure" or (self.kind == "try" and limits != (None, None, None))

    def exists_in(self, variant: str) -> bool:
        return not self.variants or variant in self.variants

    @property
    def lower_mm(self) -> float | None:
        """Lower limit of a stack: stated, else the tightest fit of new parts; a wear limit may lower it."""
        low = self.fit[0] if self.fit and self.min_mm is None else self.min_mm
        return self.wear_mm if low is not None and self.wear_mm is not None and self.wear_mm < low else low

    @property
    def upper_mm(self) -> float | None:
        high = self.fit[1] if self.fit and self.max_mm is None else self.max_mm
        return self.wear_mm if high is not None and self.wear_mm is not None and self.wear_mm > high else high

    def expects(self, variant: str) -> str:
        expected = self.expected or {}
        return expected.get(variant, expected.get("*", ""))


@dataclass(frozen=True, slots=True)
class Defect:
    """Something seen at a look or thread check: it condemns the piece, or its remedies make it good."""

    code: str
    check: str
    name: str
    condemns: bool = False
    harmless: bool = False  # worth a note, the piece stays serviceable
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leaves:
    """What a remedy leaves at a feature: the size by name, and the interval it can be relied on to reach."""

    feature: str
    size: str
    min_mm: float
    max_mm: float


@dataclass(frozen=True, slots=True)
class Remedy:
    code: str
    name: str
    minutes: int
    restores: tuple[str, ...]  # check codes that it makes good
    skill: str = "technician"
    consumables_minor: int = 0
    outside_minor: int = 0
    lead_days: int = 0
    fails: float = 0.0
    leaves: tuple[Leaves, ...] = ()
    rules_out: tuple[str, ...] = ()
    caution: str = ""  # danger to people, and nothing else
    note: str = ""  # what spoils the work or has to be known
    source: str = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Complaint:
    code: str
    name: str
    explained_by: tuple[str, ...]  # check codes


@dataclass(frozen=True, slots=True)
class Bolts:
    """A joint's bolts, for torque. ``torque_nm`` from the guide wins; otherwise it is computed."""

    thread: str
    grade: str = ""
    condition: str = "dry"
    tapped_material: str = ""
    engagement_mm: float | None = None
    torque_nm: float | None = None
    at: tuple[tuple[str, float, float], ...] = ()  # (name, x mm, y mm)
    turns: str = ""  # a taper thread: turns past hand-tight


@dataclass(frozen=True, slots=True)
class BuildStep:
    """One line of the build order. ``after`` names steps that must come first."""

    code: str
    title: str
    text: str
    positions: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    variants: tuple[str, ...] = ()
    bolts: Bolts | None = None
    sealing: str = ""
    float_check: str = ""  # code of the stack check whose washers are chosen here
    washers: tuple[str, ...] = ()  # position codes that the chosen washers fill
    fit_check: str = ""  # code of a mate whose fit is shown
    record: tuple[str, ...] = ()  # boxes to fill in
    stamp: str = ""  # a short order in capitals, such as SMALL END FIRST
    caution: str = ""  # danger to people, and nothing else
    note: str = ""  # what spoils the work or has to be known

    def exists_in(self, variant: str) -> bool:
        return not self.variants or variant in self.variants


@dataclass(frozen=True, slots=True)
class Guide:
    """One revision of one family's guide."""

    family: str
    family_name: str
    maker: str
    note: str
    variants: tuple[Variant, ...]
    positions: tuple[Position, ...]
    bonds: tuple[Bond, ...]
    features: tuple[Feature, ...]
    checks: tuple[Check, ...]
    defects: tuple[Defect, ...]
    remedies: tuple[Remedy, ...]
    complaints: tuple[Complaint, ...]
    steps: tuple[BuildStep, ...]
    cautions: tuple[str, ...]
    oil: str
    drawing: Mapping[str, Any]
    build_minutes: int = 0  # time to build and test one unit, for the quote


class GuideIndex:
    """A guide with its entries by code; built once per use."""

    def __init__(self, guide: Guide) -> None:
        self.guide = guide
        self._checks: dict[str, tuple[Check, ...]] = {}

    @cached_property
    def position(self) -> dict[str, Position]:
        return {one.code: one for one in self.guide.positions}

    @cached_property
    def feature(self) -> dict[str, Feature]:
        return {one.code: one for one in self.guide.features}

    @cached_property
    def check(self) -> dict[str, Check]:
        return {one.code: one for one in self.guide.checks}

    @cached_property
    def defect(self) -> dict[str, Defect]:
        return {one.code: one for one in self.guide.defects}

    @cached_property
    def remedy(self) -> dict[str, Remedy]:
        return {one.code: one for one in self.guide.remedies}

    @cached_property
    def defects_of(self) -> dict[str, tuple[Defect, ...]]:
        found: dict[str, list[Defect]] = {}
        for one in self.guide.defects:
            found.setdefault(one.check, []).append(one)
        return {code: tuple(rows) for code, rows in found.items()}

    def positions_of(self, variant: str) -> tuple[Position, ...]:
        return tuple(one for one in self.guide.positions if one.exists_in(variant))

    def dimension_of(self, check: Check) -> str:
        """What a measure check's feature, or a measured try, asks of a gauge; empty if any will do."""
        feature = self.feature.get(check.feature)
        return feature.dimension if feature else check.dimension

    def company_of(self, check: Check, variant: str) -> tuple[Position, ...]:
        """The other positions that a try is assembled with, as far as the variant has them."""
        found = (self.position[code] for code in check.of)
        return tuple(one for one in found if one.exists_in(variant))

    def checks_of(self, variant: str) -> tuple[Check, ...]:
        """Checks that exist for the variant, in the guide's order."""
        if variant not in self._checks:
            self._checks[variant] = self._find_checks(variant)
        return self._checks[variant]

    def _find_checks(self, variant: str) -> tuple[Check, ...]:
        return tuple(
            one
            for one in self.guide.checks
            if one.exists_in(variant) and self.position[one.position].exists_in(variant)
        )


def _strings(row: Mapping[str, Any], key: str) -> tuple[str, ...]:
    return tuple(str(one) for one in row.get(key, ()))


def _rows(document: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    rows: Sequence[Mapping[str, Any]] = document.get(key, ())
    return rows


def _limit(row: Mapping[str, Any]) -> Limit:
    low, high = row["new"]
    return Limit(str(row.get("size", STANDARD)), float(low), float(high), row.get("wear"))


def _feature(row: Mapping[str, Any]) -> Feature:
    plain = {key: row[key] for key in ("rule", "source", "dimension") if key in row}
    return Feature(
        row["code"],
        row["position"],
        row["name"],
        tuple(_limit(one) for one in row.get("limit", ())),
        form_mm=row.get("form"),
        **plain,
    )


def _check(row: Mapping[str, Any]) -> Check:
    plain = {
        key: row[key]
        for key in (
            "how",
            "feature",
            "warm",
            "rule",
            "expected",
            "designation",
            "caution",
            "note",
            "source",
            "identifies",
            "dimension",
        )
        if key in row
    }
    return Check(
        row["code"],
        row["position"],
        row["kind"],
        row["title"],
        variants=_strings(row, "variants"),
        places=_strings(row, "places"),
        of=_strings(row, "of"),
        gauge_um=row.get("gauge_um"),
        terms=tuple(Term(one["feature"], int(one["factor"])) for one in row.get("terms", ())),
        min_mm=row.get("min"),
        max_mm=row.get("max"),
        wear_mm=row.get("wear"),
        fit=(float(row["fit"][0]), float(row["fit"][1])) if "fit" in row else None,
        remedies=_strings(row, "remedies"),
        **plain,
    )


def _remedy(row: Mapping[str, Any]) -> Remedy:
    plain = {
        key: row[key]
        for key in (
            "skill",
            "consumables_minor",
            "outside_minor",
            "lead_days",
            "fails",
            "caution",
            "note",
            "source",
        )
        if key in row
    }
    return Remedy(
        row["code"],
        row["name"],
        int(row["minutes"]),
        _strings(row, "restores"),
        leaves=tuple(
            Leaves(one["feature"], str(one.get("size", STANDARD)), float(one["to"][0]), float(one["to"][1]))
            for one in row.get("leaves", ())
        ),
        rules_out=_strings(row, "rules_out"),
        **plain,
    )


def _bolts(row: Mapping[str, Any] | None) -> Bolts | None:
    if row is None:
        return None
    plain = {key: value for key, value in row.items() if key != "at"}
    return Bolts(at=tuple((str(n), float(x), float(y)) for n, x, y in row.get("at", ())), **plain)


def _step(row: Mapping[str, Any]) -> BuildStep:
    keys = ("sealing", "float_check", "fit_check", "stamp", "caution", "note")
    plain = {key: row[key] for key in keys if key in row}
    return BuildStep(
        row["code"],
        row["title"],
        row["text"],
        positions=_strings(row, "positions"),
        after=_strings(row, "after"),
        variants=_strings(row, "variants"),
        bolts=_bolts(row.get("bolts")),
        washers=_strings(row, "washers"),
        record=_strings(row, "record"),
        **plain,
    )


def read(document: Mapping[str, Any]) -> Guide:
    """Turn a checked document (parsed TOML, or the JSON of a revision) into records.

    KeyError, TypeError or ValueError mean a document that the checker should have refused.
    """
    head = document["guide"]
    return Guide(
        family=head["family"],
        family_name=head["name"],
        maker=head["maker"],
        note=head["note"],
        variants=tuple(Variant(one["code"], one["name"]) for one in _rows(document, "variant")),
        positions=tuple(
            Position(
                one["code"],
                int(one["number"]),
                one["name"],
                one.get("us_name", ""),
                int(one.get("quantity", 1)),
                _strings(one, "variants"),
                one.get("material", "steel"),
            )
            for one in _rows(document, "position")
        ),
        bonds=tuple(
            Bond(
                one["code"], one["name"], one["kind"], _strings(one, "positions"), one.get("penalty_minor", 0)
            )
            for one in _rows(document, "bond")
        ),
        features=tuple(_feature(one) for one in _rows(document, "feature")),
        checks=tuple(_check(one) for one in _rows(document, "check")),
        defects=tuple(
            Defect(
                one["code"],
                one["check"],
                one["name"],
                bool(one.get("condemns", False)),
                bool(one.get("harmless", False)),
                _strings(one, "remedies"),
            )
            for one in _rows(document, "defect")
        ),
        remedies=tuple(_remedy(one) for one in _rows(document, "remedy")),
        complaints=tuple(
            Complaint(one["code"], one["name"], _strings(one, "explained_by"))
            for one in _rows(document, "complaint")
        ),
        steps=tuple(_step(one) for one in _rows(document, "step")),
        cautions=_strings(head, "cautions"),
        oil=head["oil"],
        drawing=document.get("drawing", {}),
        build_minutes=int(head.get("build_minutes", 0)),
    )
