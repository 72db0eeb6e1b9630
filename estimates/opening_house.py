"""The invented shop that a journey stands in: people, gauges, guide, stock and rates."""

import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.contrib.auth.models import Group

from inspections.gauging.registering import add_gauge
from inspections.gauging.zeroing import zero_gauge
from inspections.guiding.guides import publish_guide
from inspections.models import Gauge
from inventory.stocklist import load_stock_list
from shop.access import PROGRAM, actor_for
from shop.models import ExchangeRate, User
from shop.money import MICRO

ROOT = Path(__file__).resolve().parent.parent


def read_journey(path: Path, root: Path = ROOT) -> dict[str, Any]:
    """A journey's file. One that names a ``house`` has the people, gauges and rates of that."""
    data: dict[str, Any] = tomllib.loads(path.read_text())
    if "house" in data["journey"]:
        house = tomllib.loads((root / data["journey"]["house"]).read_text())
        data["journey"] = {"rates": house["journey"]["rates"], "price_files": []} | data["journey"]
        data = {"person": house["person"], "gauge": house["gauge"]} | data
    return data


def open_house(*, journey: Mapping[str, Any], root: Path = ROOT) -> dict[str, User]:
    """People, gauges, guide, stock list and rates of the journey; what is there already stays."""
    head = journey["journey"]
    people = {one["code"]: _person(one) for one in journey["person"]}
    for one in journey["gauge"]:
        _gauge(one)
    for number, one in enumerate(journey.get("zeroing", ()), 1):
        zero_gauge(
            gauge=Gauge.objects.get(code=one["gauge"]),
            master=one["master"],
            off=one.get("off", ""),
            key=f"journey {head['code']} {number}",
            by=actor_for(people[one["by"]]),
            at=datetime.fromisoformat(one["at"]),
        )
    publish_guide(text=(root / head["guide"]).read_text(), by=PROGRAM)
    for name in head["stock"]:
        load_stock_list(data=tomllib.loads((root / name).read_text()), by=PROGRAM)
    for currency, on, rate in head["rates"]:
        micro = int(Decimal(rate) * MICRO)
        ExchangeRate.objects.get_or_create(
            currency=currency, on=date.fromisoformat(on), defaults={"rate_micro": micro}
        )
    return people


def _gauge(row: Mapping[str, Any]) -> Gauge:
    """A gauge as the journey's file says it; a chain names its two gauges by code, which stand before it."""
    code = row["code"]
    found = Gauge.objects.filter(code=code).first()
    if found is not None:
        return found
    figures = {key: value for key, value in row.items() if key not in {"first", "second"}}
    parts: dict[str, Any] = {
        name: Gauge.objects.get(code=row[name]) for name in ("first", "second") if name in row
    }
    return add_gauge(by=PROGRAM, **figures, **parts)


def _person(row: Mapping[str, Any]) -> User:
    user, made = User.objects.get_or_create(username=row["code"], defaults={"display_name": row["name"]})
    if made:
        user.set_unusable_password()
        user.save()
        user.groups.add(Group.objects.get(name=row["role"]))
    return user
