"""Records that judging reads and writes. Pure: no database, no Django. mm, µm, °C."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from inspections.document import STANDARD, GuideIndex
from shop.handbook.working import Step

FindingState = Literal[
    "within",
    "outside",
    "too close to call",
    "not examined",
    "not applicable",
    "sound",
    "defect",
    "wrong part",
    "replaced",
]
Verdict = Literal["serviceable", "rework", "scrap", "open"]
Status = Literal["serviceable", "rework", "scrap", "open", "replaced", "missing", "wrong part"]


@dataclass(frozen=True, slots=True)
class PieceRecord:
    """One physical part or set. ``condition`` goes up each time it is reworked, exchanged or parted."""

    key: str
    position: str
    condition: int = 1
    size: str = STANDARD
    owner: str = "customer"
    missing: bool = False


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """One observation. ``outcome``: "", "sound", a defect's code, the text identified, or a count."""

    key: str
    check: str
    pieces: tuple[tuple[str, int], ...]
    person: str
    sequence: int
    lead: bool = False
    gauge: str = ""
    gauge_expanded_um: float = 0.0  # k = 2, everything in it
    gauge_calibration_um: float = 0.0  # the part of it that two readings with this gauge share, k = 2
    gauge_kind: str = ""
    gauge_size_mm: float | None = None  # of a plug or ring gauge: the outcome is that it goes or does not
    overdue_reason: str = ""  # a lead's, for a gauge past due
    value_mm: float | None = None
    resolution_um: float = 0.0
    text: str = ""
    outcome: str = ""
    place: str = ""
    part_temperature_c: float | None = None
    withdrawn: bool = False
    withdraws: str = ""  # key of the older reading that it takes back
    clock_off: bool = False  # the tablet's clock was far off: said beside the reading, and no more
    aside: bool = False  # the revision in force has no use for it: its check asks another question


@dataclass(frozen=True, slots=True)
class Dispute:
    """Readings of one place and condition, by different people, that cannot both be right."""

    place: str
    readings: tuple[str, ...]
    words: str
    settled_by: str = ""  # key of the reading that settled it; empty while it is open

    @property
    def open(self) -> bool:
        return not self.settled_by


@dataclass(frozen=True, slots=True)
class Finding:
    """What follows from the readings of one check on one piece. Derived, never typed."""

    check: str
    position: str
    piece: str
    state: FindingState
    words: str
    value_mm: float | None = None
    expanded_um: float | None = None
    lower_mm: float | None = None
    upper_mm: float | None = None
    typed: str = ""  # text and unit of the reading that decides, as typed
    probability: float | None = None  # that the true value is inside the limits
    mean_mm: float | None = None  # of all places; out-of-round and taper as far as the places show them
    out_of_round_mm: float | None = None
    taper_mm: float | None = None
    settle: str = ""  # what would settle it, of a finding that is too close to call
    suits: tuple[str, ...] = ()  # sizes that a feature which is not within its own would suit
    defects: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    condemns: bool = False
    dispute: Dispute | None = None
    decided_by: str = ""
    readings: tuple[str, ...] = ()
    superseded: tuple[str, ...] = ()
    working: tuple[Step, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def failing(self) -> bool:
        return self.state in {"outside", "defect", "wrong part"}

    @property
    def harmless(self) -> bool:
        """A defect worth a note that neither condemns the piece nor wants a remedy: it explains nothing."""
        return self.state == "defect" and not self.condemns and not self.remedies

    @property
    def undecided(self) -> bool:
        return self.state in {"not examined", "too close to call"}


@dataclass(frozen=True, slots=True)
class PieceVerdict:
    """``needs``: each failing with the remedies that would make it good (one of them has to be chosen).

    ``sizes``: each check whose feature has left the piece's own size, and the sizes it suits as it is; with a
    mate of such a size it needs none of its remedies.
    ``mates``: stacks that are outside with this piece and have no remedy: another mate has to be found.
    """

    piece: str
    position: str
    verdict: Verdict
    close: bool = False
    because: tuple[str, ...] = ()
    needs: tuple[tuple[str, tuple[str, ...]], ...] = ()
    sizes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    mates: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PositionStatus:
    position: str
    status: Status


@dataclass(frozen=True)
class Judgement:
    guide: GuideIndex
    variant: str
    findings: tuple[Finding, ...]
    verdicts: tuple[PieceVerdict, ...]
    positions: tuple[PositionStatus, ...]

    @cached_property
    def finding(self) -> dict[tuple[str, str], Finding]:
        """Findings by (check, piece)."""
        return {(one.check, one.piece): one for one in self.findings}

    @cached_property
    def verdict(self) -> dict[str, PieceVerdict]:
        return {one.piece: one for one in self.verdicts}

    @cached_property
    def status(self) -> dict[str, Status]:
        return {one.position: one.status for one in self.positions}

    def of_check(self, check: str) -> tuple[Finding, ...]:
        return tuple(one for one in self.findings if one.check == check)

    def complaints_explained(self, complaints: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """For each complaint code, the checks found outside or defective that explain it (empty: none)."""
        found = {one.check for one in self.findings if one.failing and not one.harmless}
        known = {one.code: one.explained_by for one in self.guide.guide.complaints}
        return {code: tuple(check for check in known.get(code, ()) if check in found) for code in complaints}
