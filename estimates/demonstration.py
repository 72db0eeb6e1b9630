"""The demonstration shop: one unit through the whole job, and others that stand at the Counter, on the bench
and before the customer, of three families. All invented. Loaded once; asked again it says what is there."""

import secrets
from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from estimates.journey import Journey
from estimates.opening_house import ROOT
from shop import clock
from shop.models import Once, Ticket, User

JOURNEYS = ROOT / "fixtures" / "journeys"
FILE = JOURNEYS / "harrow_h4.toml"
DROP_BOX, TRACTOR = JOURNEYS / "calderby_d2.toml", JOURNEYS / "wenfold_t3.toml"
MARK = {"principal": "program", "operation": "demonstration", "key": "loaded"}
STANDS: Sequence[tuple[Path, int, str, Mapping[str, Any]]] = (
    # file, days after its own date, last step, the customer and what is said of the unit
    (
        FILE,
        36,
        "send",
        {
            "customer": "B. Winstanley (invented)",
            "email": "winstanley@customer.invalid",
            "agreed_by": "B. Winstanley (invented)",
            "serial": "HX4-01204",
            "vehicle": "Tipper, 1961 (invented)",
            "promised": "2026-11-04",
        },
    ),
    (
        FILE,
        42,
        "examine",
        {
            "customer": "Lowmoor Haulage Museum (invented)",
            "email": "museum@customer.invalid",
            "agreed_by": "P. Lowe (invented)",
            "serial": "HX4-00077",
            "vehicle": "Recovery lorry, 1952 (invented)",
            "promised": "2026-11-13",
        },
    ),
    (DROP_BOX, 0, "examine", {}),
    (TRACTOR, 0, "examine", {}),
    (
        FILE,
        49,
        "counter",
        {
            "customer": "C. Ormerod (invented)",
            "email": "",
            "agreed_by": "C. Ormerod (invented)",
            "serial": "HX4-02233",
            "vehicle": "Flatbed, 1964 (invented)",
            "words": "Hard to select, leaks at the front.",
            "complaints": ["HARD", "LEAK-FRONT"],
            "promised": "2026-11-20",
        },
    ),
    (
        DROP_BOX,
        6,
        "counter",
        {
            "variant": "NB",
            "customer": "N. Fairclough (invented)",
            "email": "",
            "agreed_by": "N. Fairclough (invented)",
            "serial": "CD2-0118",
            "casting": "D2-201",
            "vehicle": "Four-wheel-drive crane, 1959 (invented)",
            "words": "Front drive stays in after the lever is out. Rumbles on the overrun.",
            "complaints": ["FRONT-DRIVE", "NOISY-COAST"],
            "missing": "",
            "promised": "2027-01-08",
        },
    ),
    (
        TRACTOR,
        5,
        "counter",
        {
            "variant": "NP",
            "customer": "Highfold Orchards (invented)",
            "email": "orchards@customer.invalid",
            "agreed_by": "S. Amery (invented)",
            "serial": "WT3-00207",
            "vehicle": "Orchard tractor, 1951 (invented)",
            "words": "Jumps out of second. Oil in the clutch housing.",
            "complaints": ["JUMPS-OUT", "LEAK-FRONT"],
            "missing": "Dipstick",
            "sources": [],
            "promised": "2027-01-22",
        },
    ),
)


def is_loaded() -> bool:
    return Once.objects.filter(**MARK).exists()


def load_demonstration() -> Iterator[str]:
    """Load what is not there and say each thing as it is done."""
    if is_loaded():
        yield "The demonstration shop is there."
        return
    first = Journey(FILE)
    for told in first.run():
        yield told.title
    houses = {FILE: first.people}
    for path, days, until, ticket in STANDS:
        journey = Journey(path, later=timedelta(days=days), ticket=ticket, people=houses.get(path))
        for _told in journey.run(until=until):
            pass
        houses[path] = journey.people
        journey.ticket.refresh_from_db()
        yield f"{journey.ticket} of {journey.ticket.customer}: {journey.ticket.stage}"
    give_sign_ins()
    with transaction.atomic():
        Once.objects.get_or_create(**MARK, defaults={"digest": "", "answer": True, "at": clock.now()})


def sign_ins_path() -> Path:
    return Path(settings.HOME) / "sign-ins.txt"


def give_sign_ins() -> None:
    """A random password for each person of the demonstration, kept where only the shop's account reads it."""
    lines = []
    for user in User.objects.filter(groups__isnull=False).order_by("pk").distinct():
        password = "-".join(secrets.token_hex(2) for _ in range(4))
        user.set_password(password)
        user.save(update_fields=["password"])
        role = ", ".join(user.groups.values_list("name", flat=True))
        lines.append(f"{user.username:<8} {password}   {user.display_name}, {role}")
    path = sign_ins_path()
    path.touch(mode=0o600)
    path.write_text("\n".join(lines) + "\n")


def told_job() -> Ticket | None:
    """The unit that went through the whole job."""
    return Ticket.objects.filter(stage="handed over").order_by("number").first()
