"""Records of a guide: what there is to examine, and what to do about it. mm, minor units, minutes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
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
# Where neither the entry nor the head of its guide says where it is from.
NO_SOURCE = "no source stated"
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
    """Limits of a feature in one size, mm. Its zone runs from new size to the wear limit, if stated.

    ``mean_mm`` holds the mean of all places by itself: an oval bore may be sound on average.
    """

    size: str
    new_min_mm: float
    new_max_mm: float
    wear_mm: float | None = None
    mean_mm: tuple[float, float] | None = None

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
    source: str = NO_SOURCE
    form_mm: float | None = None  # allowed out-of-round between the directions of one depth
    taper_mm: float | None = None  # allowed difference between the means of the depths
    spread_mm: float | None = None  # allowed spread in a set: each place is another of its parts
    stated: bool = False  # never read: its limits stand for it (a gasket as compressed)
    dimension: str = ""  # one of DIMENSIONS, for the kind of gauge; empty: any gauge will do

    def limit(self, size: str) -> Limit | None:
        return next((one for one in self.limits if one.size == size), None)


@dataclass(frozen=True, slots=True)
class Term:
    """One signed feature of a stack: ``factor`` is +1, −1, −2 (two rollers) and so on."""

    feature: str
    factor: int


@dataclass(frozen=True, slots=True)
class MateLimits:
    """Limits of a stack in one size, mm: as stated, or the fit of new parts with its own wear limit."""

    size: str
    min_mm: float | None = None
    max_mm: float | None = None
    wear_mm: float | None = None
    fit: tuple[float, float] | None = None

    @property
    def lower_mm(self) -> float | None:
        """Stated, else the tightest fit of new parts; a wear limit may lower it."""
        low = self.fit[0] if self.fit and self.min_mm is None else self.min_mm
        return self.wear_mm if low is not None and self.wear_mm is not None and self.wear_mm < low else low

    @property
    def upper_mm(self) -> float | None:
        high = self.fit[1] if self.fit and self.max_mm is None else self.max_mm
        return self.wear_mm if high is not None and self.wear_mm is not None and self.wear_mm > high else high


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
    places: tuple[str, ...] = ()  # "front, upright" is a depth and a direction
    repeats: int = 1  # readings wanted at each place
    gauge_um: float | None = None  # largest expanded uncertainty of a gauge that may be used
    warm: bool = False  # ask for the part's temperature: so the guide says, or the check is sensitive to it
    terms: tuple[Term, ...] = ()
    min_mm: float | None = None
    max_mm: float | None = None
    wear_mm: float | None = None
    rule: Rule = "simple"
    expected: Mapping[str, str] | None = None
    designation: str = ""
    taper: bool | None = None  # of a thread; empty: as its designation says
    chase: bool = False  # chase the thread before it is looked at
    zones: str = ""  # an ISO pair that the fit was computed from, such as "25 H7/g6"
    sizes: tuple[MateLimits, ...] = ()  # a stack's limits for other sizes than the standard one
    rollers: int = 0  # how many needle rollers: the stack is bore − shaft − 2 × roller
    gap_mm: tuple[float, float] | None = None  # total gap round the circle of the rollers
    fit: tuple[float, float] | None = None  # fit of new parts as the source states it: tightest, loosest
    identifies: bool = False  # a count that tells one part from another (teeth)
    of: tuple[str, ...] = ()  # other positions that a try is assembled with
    dimension: str = ""  # what the gauge of a measured try measures, one of DIMENSIONS
    remedies: tuple[str, ...] = ()
    caution: str = ""  # danger to people, and nothing else
    note: str = ""  # what spoils the work or has to be known
    source: str = NO_SOURCE

    @property
    def takes_quantity(self) -> bool:
        """Is it read as a quantity with a gauge?"""
        limits = (self.min_mm, self.max_mm, self.wear_mm)
        return self.kind == "measure" or (self.kind == "try" and limits != (None, None, None))

    @property
    def tells_apart(self) -> bool:
        """Does it say whether this is the right part at all?"""
        return self.kind == "identify" or (self.kind == "count" and self.identifies)

    def exists_in(self, variant: str) -> bool:
        return not self.variants or variant in self.variants

    @property
    def lower_mm(self) -> float | None:
        """Lower limit of a stack or a try, in the standard size."""
        return MateLimits(STANDARD, self.min_mm, self.max_mm, self.wear_mm, self.fit).lower_mm

    @property
    def upper_mm(self) -> float | None:
        return MateLimits(STANDARD, self.min_mm, self.max_mm, self.wear_mm, self.fit).upper_mm

    def limits_for(self, sizes: Iterable[str]) -> MateLimits:
        """A stack's limits for pieces of these sizes: the first that has limits of its own, else standard."""
        own = {one.size: one for one in self.sizes}
        found = next((own[size] for size in sizes if size in own), None)
        return found or MateLimits(STANDARD, self.min_mm, self.max_mm, self.wear_mm, self.fit)

    def in_sizes(self, sizes: Iterable[str]) -> "Check":
        """The same stack with the limits that hold for pieces of these sizes."""
        found = self.limits_for(sizes)
        if found.size == STANDARD:
            return self
        return replace(self, min_mm=found.min_mm, max_mm=found.max_mm, wear_mm=found.wear_mm, fit=found.fit)

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
    reject: str = ""  # how bad is a reject, in words: "a pit that can be felt"
    picture: str = ""  # file name of the picture that shows it


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
    fails: float = 0.0  # chance that it fails, losses of outside work included
    not_when: str = ""  # when it is not worth doing, in words
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
