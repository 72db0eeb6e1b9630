"""The invented shop that a journey stands in: people, gauges, guide, stock and rates."""

import tomllib
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.contrib.auth.models import Group

from inspections.guides import publish_guide
from inspections.models import Gauge
from inventory.stocklist import load_stock_list
from shop.access import PROGRAM
from shop.models import ExchangeRate, User
from shop.money import MICRO

ROOT = Path(__file__).resolve().parent.parent


def open_house(*, journey: Mapping[str, Any], root: Path = ROOT) -> dict[str, User]:
    """People, gauges, guide, stock list and rates of the journey; what is there already stays."""
    head = journey["journey"]
    people = {one["code"]: _person(one) for one in journey["person"]}
    for one in journey["gauge"]:
        Gauge.objects.get_or_create(code=one["code"], defaults={k: v for k, v in one.items() if k != "code"})
    publish_guide(text=(root / head["guide"]).read_text(), by=PROGRAM)
    with (root / head["stock"]).open("rb") as file:
        load_stock_list(data=tomllib.load(file), by=PROGRAM)
    for currency, on, rate in head["rates"]:
        micro = int(Decimal(rate) * MICRO)
        ExchangeRate.objects.get_or_create(
            currency=currency, on=date.fromisoformat(on), defaults={"rate_micro": micro}
        )
    return people


def _person(row: Mapping[str, Any]) -> User:
    user, made = User.objects.get_or_create(username=row["code"], defaults={"display_name": row["name"]})
    if made:
        user.set_unusable_password()
        user.save()
        user.groups.add(Group.objects.get(name=row["role"]))
    return user
