"""One job run from a file through the rules that the pages use, each step told as a table with its figures.

The steps, in order: the house, price files, the counter, the bench, findings, plans, the quote and its
answer, the stores, rework, the build sheet, build and test, hand-over and reminder, the office.
A step that fails raises: nothing after it is told.
"""

import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings

from estimates.accepting import accept_quote
from estimates.links import customer_of
from estimates.margins import margin_of
from estimates.models import Plan, Quote
from estimates.opening_house import ROOT, open_house, read_journey
from estimates.quoting import make_plan, make_quote, send_quote
from estimates.telling import JourneyFailed, Told, filled_in, float_words, torque_words
from inspections.building.building import finish_build, finish_test, record_box, sign_inside
from inspections.building.reworking import record_rework
from inspections.building.sheets import make_sheet
from inspections.gauging.wrenches import BOX as WRENCH_BOX
from inspections.gauging.wrenches import wrenches_for_step
from inspections.guiding.guides import guide_of
from inspections.models import BuildRow, BuildSheet, Examination, Reading
from inspections.readings.examining import finish_examination, open_examination
from inspections.readings.findings import judgement_of
from inspections.readings.recording import SentReading, record_readings
from inventory.feeds import take_in_file
from inventory.ledger import check_ledger
from inventory.models import Bin, Purchase, Supplier
from inventory.purchasing import order_purchase, receive_purchase
from shop import clock, outbox
from shop.access import Actor, actor_for
from shop.celery import insert_slots
from shop.models import Complaint, Customer, Family, Reminder, Ticket, User
from shop.money import parse_minor, show_minor
from shop.opening import open_ticket
from shop.stages import reach_stage
from shop.timesheets import book_time
from shop.warranty import hand_over


class Journey:
    """A journey in the shop of the present database."""

    def __init__(
        self,
        path: Path,
        *,
        root: Path = ROOT,
        later: timedelta = timedelta(0),
        ticket: Mapping[str, Any] | None = None,
        people: Mapping[str, User] | None = None,
    ) -> None:
        """``later`` moves every moment of the file; ``ticket`` overrides entries of its ticket. ``people``
        are those of a house that this file has opened before: it is not opened again."""
        self.root = root
        self.later = later
        self.data: dict[str, Any] = read_journey(path, root)
        self.data["ticket"] |= dict(ticket or {})
        self.head = self.data["journey"]
        self.people: dict[str, User] = dict(people or {})
        self.ticket: Ticket
        self.quote: Quote
        self.sheet: BuildSheet

    def actor(self, code: str) -> Actor:
        return actor_for(self.people[code])

    def moment(self, text: str) -> datetime:
        return datetime.fromisoformat(text).astimezone(UTC) + self.later

    def day(self, text: str) -> date:
        return date.fromisoformat(text) + self.later

    def run(self, until: str = "office") -> Iterator[Told]:
        """Do each step and tell it, as far as the step of that name or as far as the file goes."""
        steps: Sequence[tuple[str, str, Callable[[], Told]]] = (
            ("journey", "opened", self.house),
            ("journey", "opened", self.price_files),
            ("journey", "opened", self.counter),
            ("examination", "at", self.examine),
            ("examination", "finish_at", self.findings),
            ("quote", "at", self.plans),
            ("quote", "at", self.send),
            ("quote", "accepted_at", self.answer),
            ("parts", "ordered_at", self.parts),
            ("rework", "at", self.rework),
            ("build", "at", self.build_sheet),
            ("build", "at", self.build),
            ("test", "at", self.test),
            ("hand_over", "at", self.hand_over),
            ("hand_over", "at", self.remind),
            ("hand_over", "at", self.office),
        )
        for table, key, step in steps[2:] if self.people else steps:
            if key not in self.data.get(table, {}):
                return  # this file's job has come no further
            with clock.standing_at(self.moment(self.data[table][key])):
                told = step()
            yield told
            if step.__name__ == until:
                return

    # the steps ----------------------------------------------------------------------------------------------

    def house(self) -> Told:
        self.people = open_house(journey=self.data, root=self.root)
        family = Family.objects.get(code=self.data["ticket"]["family"])
        revision = family.guide_revisions.order_by("-number").first()
        assert revision is not None
        guide = guide_of(revision).guide
        rows = [(one["code"], one["name"], one["role"]) for one in self.data["person"]]
        return Told(
            "The house",
            ("sign-in", "person", "role"),
            tuple(rows),
            f"{revision}: {len(guide.positions)} positions, {len(guide.checks)} checks. {guide.note}",
            {"positions": len(guide.positions), "checks": len(guide.checks), "revision": revision.number},
        )

    def price_files(self) -> Told:
        files = []
        for code, name in self.head["price_files"]:
            supplier = Supplier.objects.get(code=code)
            data = (self.root / name).read_bytes()
            files.append(
                take_in_file(supplier=supplier, data=data, name=Path(name).name, by=actor_for(supplier.user))
            )
        self.deliver()
        rows, figures = [], {}
        for file in files:
            file.refresh_from_db()
            if file.status != "done":
                raise JourneyFailed(f"The price file of {file.supplier} is {file.status}: {file.trouble}")
            counts = (file.rows, file.new, file.changed, file.unchanged, file.refused_rows)
            rows.append((file.supplier.code, file.supplier.currency, *map(str, counts)))
            figures[file.supplier.code] = dict(
                zip(("rows", "new", "changed", "unchanged", "refused"), counts, strict=True)
            )
        head = ("supplier", "currency", "rows", "new", "changed", "unchanged", "refused")
        return Told("Price files, read by the worker's rule", head, tuple(rows), figures={"files": figures})

    def counter(self) -> Told:
        row = self.data["ticket"]
        family = Family.objects.get(code=row["family"])
        customer, _made = Customer.objects.get_or_create(
            name=row["customer"], defaults={"email": row["email"], "phone": row["phone"]}
        )
        self.ticket = open_ticket(
            family=family,
            variant=family.variants.get(code=row["variant"]),
            customer=customer,
            vehicle=row["vehicle"],
            complaints=list(Complaint.objects.filter(family=family, code__in=row["complaints"])),
            complaint_words=row["words"],
            missing_words=row["missing"],
            oil_in=row["oil_in"],
            declared_value_minor=parse_minor(row["value"]),
            examination_fee_minor=parse_minor(row["fee"]),
            deposit_minor=parse_minor(row["deposit"]),
            on_no=row["on_no"],
            storage_words=row["storage"],
            agreed_by=row["agreed_by"],
            promised_on=self.day(row["promised"]),
            serial=row["serial"],
            casting_numbers=row["casting"],
            more_sources=[(kind, words) for kind, words in row["sources"]],
            by=self.actor(row["by"]),
        )
        self.deliver()
        ticket = self.ticket
        rows = (
            ("ticket", str(ticket.number)),
            ("unit", f"{ticket.family}, {ticket.variant}, {row['serial']}"),
            ("customer", str(ticket.customer)),
            ("complaints", ", ".join(str(one) for one in ticket.complaints.all())),
            ("sources", ", ".join(one.kind for one in ticket.sources.all())),
            ("examination fee", show_minor(ticket.examination_fee_minor, sign=True)),
            ("promised", f"{ticket.promised_on:%d %b %Y}"),
        )
        return Told("Counter: the ticket is opened, its tag printed", ("what", "said"), rows,
                    figures={"ticket": ticket.number})  # fmt: skip

    def examine(self) -> Told:
        row = self.data["examination"]
        examination = open_examination(ticket=self.ticket, by=self.actor(row["by"]))
        before = [one for one in self.data["sitting"] if not one.get("after")]
        rows = self.sittings(examination, before)
        for one in self.data.get("withdrawal", ()):
            self.withdraw(examination, one)
        return Told(
            "Bench: readings as typed",
            ("who", "when", "readings", "gauges"),
            tuple(rows),
            f"{len(self.data.get('withdrawal', ()))} withdrawn with a reason and read again.",
            {"readings": Reading.objects.filter(examination=examination).count()},
        )

    def findings(self) -> Told:
        row = self.data["examination"]
        examination = self.examination()
        judgement = judgement_of(examination)
        rows = []
        for position in judgement.guide.positions_of(judgement.variant):
            status = judgement.status[position.code]
            verdicts = [one for one in judgement.verdicts if one.position == position.code]
            because = "; ".join(reason for one in verdicts for reason in one.because)
            if status != "serviceable":
                rows.append((str(position.number), position.name, status, because[:90]))
        disputes = [one for one in judgement.findings if one.dispute is not None]
        open_ones = [one for one in disputes if one.dispute is not None and one.dispute.open]
        if open_ones:
            raise JourneyFailed(f"Still in dispute: {', '.join(one.check for one in open_ones)}")
        finish_examination(ticket=self.ticket, by=self.actor(row["finish_by"]))
        self.ticket.refresh_from_db()
        codes = [one.complaint.code for one in self.ticket.complaints.select_related("complaint")]
        explained = judgement.complaints_explained(codes)
        below = "; ".join(
            f"{code} explained by {', '.join(found) or 'nothing yet'}" for code, found in explained.items()
        )
        settled = "; ".join(one.decided_by for one in disputes)
        return Told(
            "Findings: positions that are not serviceable",
            ("No.", "position", "verdict", "because"),
            tuple(rows),
            f"{below}. Disagreements settled: {len(disputes)} ({settled}).",
            {
                "verdicts": dict(judgement.status),
                "disputes": [one.check for one in disputes],
                "explained": {code: list(found) for code, found in explained.items()},
            },
        )

    def plans(self) -> Told:
        row = self.data["quote"]
        rows, figures = [], {}
        for aim in row["aims"]:
            plan = make_plan(ticket=self.ticket, aim=aim, by=self.actor(row["by"]))
            figures[aim] = {
                "cost_minor": plan.cost_minor,
                "days": plan.days,
                "minutes": plan.minutes,
                "choices": {one["slot"]: one["code"] for one in plan.document["choices"]},
            }
            risk = f"{100 * plan.document['risk']:.1f} %"
            rows.append((aim, show_minor(plan.cost_minor), str(plan.days), str(plan.minutes), risk))
        chosen = Plan.objects.get(ticket=self.ticket, aim=row["aim"])
        below = []
        for one in chosen.document["choices"]:
            if one["way"] == "own" and not one["beat"]:
                continue
            best = one["beat"][0] if one["beat"] else None
            beat = f"; beat {best['label']}: {best['why']}" if best else ""
            if one["way"] != "own":
                below.append(f"{one['number']:>2} {one['label']}, {show_minor(one['cost_minor'])}{beat}")
        return Told(
            "Plans for three aims, the shop's own cost",
            ("aim", settings.CURRENCY, "days", "minutes", "risk"),
            tuple(rows),
            "\n".join(below),
            {"plans": figures},
        )

    def send(self) -> Told:
        row = self.data["quote"]
        plan = Plan.objects.filter(ticket=self.ticket, aim=row["aim"]).latest("number")
        self.quote = make_quote(plan=plan, by=self.actor(row["by"]))
        path = send_quote(quote=self.quote, by=self.actor(row["by"]))
        self.deliver()
        rows = [(one.kind, one.words, show_minor(one.amount_minor)) for one in self.quote.lines.all()]
        rows += [
            ("", "Net", show_minor(self.quote.net_minor)),
            ("", f"Tax {self.quote.tax_permille / 10:g} %", show_minor(self.quote.tax_minor)),
            ("", "Total", show_minor(self.quote.total_minor)),
        ]
        return Told(
            "Quote, sent with a signed link",
            ("kind", "line", settings.CURRENCY),
            tuple(rows),
            f"{settings.ADDRESS}{path}",
            {
                "net_minor": self.quote.net_minor,
                "tax_minor": self.quote.tax_minor,
                "total_minor": self.quote.total_minor,
            },
        )

    def answer(self) -> Told:
        row = self.data["quote"]
        self.quote = accept_quote(quote=self.quote, name=row["accepted_by"], by=customer_of(self.quote))
        self.deliver()
        self.ticket.refresh_from_db()
        held = self.ticket.reservations.filter(resolved_at__isnull=True)
        wanted = self.ticket.purchases.filter(state="wanted")
        rows = [(one.position_code, "reserved", str(one.lot or one.piece)) for one in held]
        rows += [(one.position_code, "to buy", str(one)) for one in wanted]
        if self.ticket.stage != "agreed":
            raise JourneyFailed(f"After the yes the ticket is {self.ticket.stage}.")
        return Told(
            "The customer's yes: reserved, wanted, build list written",
            ("position", "how", "what"),
            tuple(sorted(rows)),
            figures={
                "reserved": held.count(),
                "wanted": wanted.count(),
                "build_rows": BuildRow.objects.filter(ticket=self.ticket, dropped_at__isnull=True).count(),
            },
        )

    def parts(self) -> Told:
        row = self.data["parts"]
        by = self.actor(row["by"])
        shelf, _made = Bin.objects.get_or_create(code=row["bin"])
        rows = []
        for purchase in Purchase.objects.filter(ticket=self.ticket, state="wanted"):
            order_purchase(purchase=purchase, by=by)
        with clock.standing_at(self.moment(row["received_at"])):
            for purchase in Purchase.objects.filter(ticket=self.ticket, state="ordered"):
                lot = receive_purchase(purchase=purchase, bin=shelf, key=f"received:{purchase.pk}", by=by)
                cost = show_minor(purchase.cost_minor)
                rows.append((purchase.position_code, str(purchase), cost, lot.bin.code))
            self.ticket.refresh_from_db()
            self.ticket = reach_stage(ticket=self.ticket, to="parts complete", by=by)
        trouble = check_ledger()
        if trouble:
            raise JourneyFailed(f"The ledger does not add up: {'; '.join(trouble)}")
        return Told(
            "Stores: ordered, received, promised to this ticket; the ledger adds up",
            ("position", "line", settings.CURRENCY, "bin"),
            tuple(rows),
            figures={"received": len(rows)},
        )

    def rework(self) -> Told:
        row = self.data["rework"]
        by, lead = self.actor(row["by"]), self.actor(row["lead"])
        rows = []
        for built in BuildRow.objects.filter(ticket=self.ticket, dropped_at__isnull=True, way="reworked"):
            guide = guide_of(self.examination().revision)
            for code in built.remedies:
                assert built.piece is not None
                remedy = guide.remedy[code]
                record_rework(
                    ticket=self.ticket,
                    piece=built.piece,
                    remedy_code=code,
                    minutes=remedy.minutes,
                    good=True,
                    key=f"{self.ticket.number}:{built.piece.tag}:{code}",
                    by=lead if remedy.skill == "lead" else by,
                )
                rows.append((built.position_code, built.piece.tag, remedy.name, str(remedy.minutes)))
        after = [one for one in self.data["sitting"] if one.get("after") == "rework"]
        self.sittings(self.examination(), after)
        self.ticket.refresh_from_db()
        self.ticket = reach_stage(ticket=self.ticket, to="reworked", by=by)
        return Told(
            "Rework done, and what it changed measured again",
            ("position", "piece", "remedy", "minutes"),
            tuple(rows),
            f"{sum(len(one['readings']) for one in after)} new readings.",
            {"remedies": len(rows)},
        )

    def build_sheet(self) -> Told:
        row = self.data["build"]
        self.sheet = make_sheet(ticket=self.ticket, by=self.actor(row["by"]))
        self.deliver()
        rows, figures = [], {}
        for step in self.sheet.document["steps"]:
            said = [*torque_words(step["torque"]), *float_words(step["float"])]
            if step["torque"] and step["torque"].get("torque_nm"):
                figures[step["code"]] = step["torque"]["torque_nm"]
            if step["float"] and step["float"]["choice"]:
                washers = [one["code"] for one in step["float"]["choice"]]
                figures[step["code"]] = {"washers": washers, "float_mm": step["float"]["float_mm"]}
            rows.append((str(step["number"]), step["title"], "; ".join(said)))
        return Told(
            f"Build sheet, revision {self.sheet.letter}",
            ("step", "what", "computed"),
            tuple(rows),
            figures={"sheet": figures},
        )

    def build(self) -> Told:
        row = self.data["build"]
        by, second = self.actor(row["by"]), self.actor(row["second_person"])
        boxes = 0
        for step in self.sheet.document["steps"]:
            for box in step["boxes"]:
                text = filled_in(self.sheet.document, box, row["boxes"])
                if box == WRENCH_BOX and (wrenches := wrenches_for_step(step)):
                    text = wrenches[0].code
                record_box(sheet=self.sheet, step_code=step["code"], box=box, text=text, by=by)
                boxes += 1
        sign_inside(sheet=self.sheet, by=second)
        key = f"{self.ticket.number}:build"
        book_time(
            ticket=self.ticket,
            person=by.person,
            minutes=row["minutes"],
            work="build and test",
            key=key,
            by=by,
        )
        self.ticket = finish_build(ticket=self.ticket, by=by)
        fitted = BuildRow.objects.filter(ticket=self.ticket, dropped_at__isnull=True).count()
        rows = (("boxes filled in", str(boxes)), ("positions", str(fitted)))
        return Told("Built", ("what", "how many"), rows, figures={"boxes": boxes})

    def test(self) -> Told:
        self.ticket = finish_test(
            ticket=self.ticket,
            turns_freely=True,
            gears_hold=True,
            interlock_refuses=True,
            by=self.actor(self.data["test"]["by"]),
        )
        return Told("Tested", ("stage",), ((self.ticket.stage,),))

    def hand_over(self) -> Told:
        row = self.data["hand_over"]
        warranty = hand_over(
            ticket=self.ticket,
            fitted_on=self.day(row["fitted_on"]),
            months=row["months"],
            distance_km=row["distance_km"],
            conditions=row["conditions"],
            by=self.actor(row["by"]),
        )
        self.deliver()
        rows = [(one.kind, f"{one.due_on:%d %b %Y}") for one in warranty.reminders.all()]
        return Told("Handed over, warranty opened", ("reminder", "due"), tuple(rows),
                    f"Warranty ends {warranty.ends_on:%d %b %Y}.",
                    {"warranty_ends": warranty.ends_on.isoformat()})  # fmt: skip

    def remind(self) -> Told:
        """On the day of the first reminder beat's row finds it due, and it is mailed once."""
        reminder = Reminder.objects.filter(warranty__ticket=self.ticket).earliest("due_on")
        day = datetime.combine(reminder.due_on, time(12), UTC)
        with clock.standing_at(day):
            insert_slots()
            self.deliver()
            insert_slots(clock.now() + timedelta(hours=1))
            self.deliver()
        reminder.refresh_from_db()
        if reminder.sent_at is None:
            raise JourneyFailed(f"The reminder of {reminder.due_on} was not mailed.")
        sent = f"{reminder.sent_at:%d %b %Y}"
        return Told("Reminder found due by beat, mailed once", ("reminder", "due", "mailed"),
                    ((reminder.kind, f"{reminder.due_on:%d %b %Y}", sent),),
                    figures={"reminder": reminder.kind})  # fmt: skip

    def office(self) -> Told:
        self.ticket.refresh_from_db()
        margin = margin_of(self.ticket)
        rows = (
            ("quoted, net", show_minor(margin.quoted_minor)),
            ("expected cost", show_minor(margin.expected_minor)),
            ("cost of parts", show_minor(margin.parts_minor)),
            ("cost of time", show_minor(margin.labour_minor)),
            ("consumables, outside work", show_minor(margin.used_up_minor)),
            ("margin", show_minor(margin.margin_minor)),
        )
        return Told(
            "Office: quoted against cost",
            ("what", settings.CURRENCY),
            rows,
            f"The ticket is {self.ticket.stage}.",
            {"margin_minor": margin.margin_minor, "stage": self.ticket.stage},
        )

    # helpers ------------------------------------------------------------------------------------------------

    def examination(self) -> Examination:
        return Examination.objects.select_related("revision", "ticket", "ticket__variant").get(
            ticket=self.ticket
        )

    def deliver(self) -> None:
        """Have the outbox delivered as the worker does, and look for trouble."""
        from shop.models import Outbox

        outbox.run_due()
        if late := Outbox.objects.exclude(trouble="").filter(done_at__isnull=True).first():
            raise JourneyFailed(f"{late.key}: {late.trouble}")

    def sent(self, by: str, at: datetime, number: int, row: Sequence[str]) -> SentReading:
        check, text, gauge, place, temperature = [*row, "", "", ""][:5]
        name = f"{self.head['code']}/{self.ticket.number}/{by}/{at.isoformat()}/{number}"
        return SentReading(
            id=uuid.uuid5(uuid.NAMESPACE_URL, name),
            check=check,
            text=text,
            gauge=gauge,
            place=place,
            part_temperature=temperature,
            taken_at=at + timedelta(seconds=40 * number),
        )

    def sittings(
        self, examination: Examination, sittings: Sequence[Mapping[str, Any]]
    ) -> list[tuple[str, ...]]:
        rows: list[tuple[str, ...]] = []
        for sitting in sittings:
            at = self.moment(sitting["at"])
            readings = [self.sent(sitting["by"], at, n, row) for n, row in enumerate(sitting["readings"])]
            with clock.standing_at(at + timedelta(seconds=40 * len(readings))):
                results = record_readings(
                    examination=examination, readings=readings, by=self.actor(sitting["by"])
                )
            for result, reading in zip(results, readings, strict=True):
                if result.status != "recorded":
                    raise JourneyFailed(f"{reading.check} {reading.text}: {result.status}, {result.problem}")
            gauges = ", ".join(sorted({one.gauge for one in readings if one.gauge}))
            name = str(self.people[sitting["by"]])
            rows.append((name, f"{clock.local(at):%d %b %H:%M}", str(len(readings)), gauges))
        return rows

    def withdraw(self, examination: Examination, row: Mapping[str, Any]) -> None:
        """Take a reading back with its reason, and read again."""
        at, by = self.moment(row["at"]), self.actor(row["by"])
        old = Reading.objects.get(examination=examination, check_code=row["check"], text=row["text"])
        again = self.sent(row["by"], at, 1, row["again"])
        taken_back = SentReading(
            id=uuid.uuid5(uuid.NAMESPACE_URL, f"{old.pk}/withdrawn"),
            check=row["check"],
            text="",
            withdraws=old.pk,
            reason=row["reason"],
            taken_at=at,
        )
        with clock.standing_at(at):
            results = record_readings(examination=examination, readings=[taken_back, again], by=by)
        if trouble := [one.problem for one in results if one.status != "recorded"]:
            raise JourneyFailed("; ".join(trouble))
