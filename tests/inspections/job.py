"""An invented job at the bench for tests of rework, sheet and build: examined, agreed, with a build list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from inspections.guiding.guides import guide_of, publish_guide
from inspections.models import BuildRow, Examination, Gauge
from inspections.readings.examining import open_examination
from inspections.readings.recording import SentReading, record_readings
from inventory.ledger import receive_lot
from inventory.models import Bin, Lot, Part, PartFit, Piece
from shop.access import PROGRAM, Actor
from shop.models import Customer, Position, StageChange, Ticket, Variant
from shop.opening import open_ticket
from tests.conftest import Cast

GUIDE = Path(__file__).parents[2] / "fixtures" / "guides" / "hexworth_h4.toml"
AT = datetime(2026, 10, 5, 8, 0, tzinfo=UTC)

# What is read of the features that floats and fits need, mm. All invented.
READ = {
    "CASE.FACE": "150.210 mm",
    "CASE.LSF": "25.012 mm",
    "CASE.LSR": "26.010 mm",
    "CASE.RVB": "20.006 mm",
    "FCOV.BORE": "80.004 mm",
    "RHSG.BORE": "90.001 mm",
    "SPIG.BORE": "20.030 mm",
    "MNSH.PIL": "19.985 mm",
    "MNSH.J3": "49.980 mm",
    "CLUS.LEN": "145.650 mm",
    "CLUS.BF": "31.028 mm",
    "LAYSH.RE": "26.028 mm",
    "LAYSH.FE": "24.986 mm",
    "LAYSH.NF": "24.986 mm",
    "RVSH.D": "19.986 mm",
    "W3M.BORE": "50.040 mm",
    "W1M.GRV": "8.020 mm",
    "HUB34.GRV": "8.030 mm",
    "FORK12.PAD": "7.820 mm",
    "FORK34.PAD": "7.810 mm",
    "RVID.GRV": "8.020 mm",
    "FORKR.PAD": "7.820 mm",
    "BELL.BORE": "100.018 mm",
    "FCOV.SPG": "99.948 mm",
    "BELL.FKB": "18.030 mm",
    "CLFK.D": "17.975 mm",
}
NEW = ("INBRG", "MNBRG", "SEALF", "SEALR", "GASK", "NDLF", "NDLR", "THWF", "THWR", "CIRC")
WASHERS = (1.95, 2.05, 2.15, 2.20, 2.25, 2.30)


@dataclass
class Job:
    """The ticket with what tests ask of it."""

    ticket: Ticket
    examination: Examination
    cast: Cast

    def actor(self, name: str) -> Actor:
        return self.cast.actor(name)

    def piece(self, code: str) -> Piece:
        piece: Piece = Piece.objects.get(source__ticket=self.ticket, position__code=code)
        return piece

    def row(self, code: str) -> BuildRow:
        return BuildRow.objects.get(ticket=self.ticket, position_code=code, dropped_at__isnull=True)

    def read(self, feature: str, text: str, who: str = "technician") -> None:
        """Record a reading at each place of the check that measures the feature."""
        guide = guide_of(self.examination.revision)
        check = next(one for one in guide.guide.checks if one.kind == "measure" and one.feature == feature)
        sent = [
            SentReading(uuid4(), check.code, text, gauge="MIC", place=place, part_temperature="20 °C")
            for place in check.places or ("",)
        ]
        results = record_readings(examination=self.examination, readings=sent, by=self.actor(who))
        assert [one.problem for one in results if one.status != "recorded"] == []

    def stand_at(self, stage: str) -> Ticket:
        """Put the ticket at a stage as the rules of other rooms would, with its line in the log."""
        before = self.ticket.stage
        Ticket.objects.filter(pk=self.ticket.pk).update(stage=stage, stage_since=AT)
        StageChange.objects.create(ticket=self.ticket, before=before, after=stage, at=AT, by="program")
        self.ticket.refresh_from_db()
        return self.ticket


def washer(number: str, thickness: float, count: int = 2, cost_micro: int = 450_000) -> Lot:
    """A thrust washer on the shelf that fits both ends, ± 0.005 mm."""
    span = [round(thickness - 0.005, 3), round(thickness + 0.005, 3)]
    part = Part.objects.create(
        number=number, search_key=number.replace("-", ""), name=f"Thrust washer {thickness:.2f}"
    )
    part.features = {"THWF.T": span, "THWR.T": span}
    part.save(update_fields=["features"])
    for code in ("THWF", "THWR"):
        PartFit.objects.create(part=part, position=Position.objects.get(family__code="H4", code=code))
    bin_, _made = Bin.objects.get_or_create(code="C4")
    return receive_lot(
        part=part, bin=bin_, quantity=count, cost_micro=cost_micro, key=f"stock {number}", by=PROGRAM, at=AT
    )


def agreed_job(cast: Cast, variant: str = "FC") -> Job:
    """A ticket at the stage agreed: the rear bore is to be sleeved, wearing parts are new, the rest stays."""
    revision = publish_guide(text=GUIDE.read_text(), by=PROGRAM, at=AT)
    Gauge.objects.create(
        code="MIC", name="Bench micrometers", expanded_um=2, calibration_um=1, resolution_um=1
    )
    ticket = open_ticket(
        family=revision.family,
        variant=Variant.objects.get(family=revision.family, code=variant),
        customer=Customer.objects.create(name="Alma Harrow (invented)"),
        vehicle="Lorry, invented",
        by=cast.actor("front_desk"),
        at=AT,
    )
    examination = open_examination(ticket=ticket, by=cast.actor("technician"), at=AT)
    ticket.refresh_from_db()
    job = Job(ticket, examination, cast)
    for feature, text in READ.items():
        job.read(feature, text)
    lots = {
        f"TW-{thickness * 100:.0f}": washer(f"TW-{thickness * 100:.0f}", thickness) for thickness in WASHERS
    }
    planned = {"THWF": lots["TW-215"], "THWR": lots["TW-215"]}
    for position in guide_of(revision).positions_of(variant):
        _row(job, position.code, position.name, planned.get(position.code))
    job.stand_at("agreed")
    return job


def _row(job: Job, code: str, name: str, lot: Lot | None) -> None:
    remedies = ["SLEEVE-LSR"] if code == "CASE" else []
    way = "new" if code in NEW else "reworked" if remedies else "own"
    BuildRow.objects.create(
        ticket=job.ticket,
        position_code=code,
        way=way,
        label=f"{name}: {'new' if way == 'new' else 'own piece'}"[:200],
        piece=None if way == "new" else job.piece(code),
        part=lot.part if lot else None,
        lot=lot,
        remedies=remedies,
        features={"CASE.LSR": [26.0, 26.0105, 26.021]} if remedies else {},
    )
