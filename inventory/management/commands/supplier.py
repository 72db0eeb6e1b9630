"""``manage.py supplier CODE NAME CURRENCY``: add a supplier with the user that its price files come from."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.stocklist import add_supplier
from shop.access import PROGRAM
from shop.refusals import Refusal


class Command(BaseCommand):
    help = (
        "Adds a supplier and its user. Once it is there, `manage.py token --supplier CODE` makes its token."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", help="short and without spaces, such as TARN")
        parser.add_argument("name", help='such as "Tarn Gear Supply"')
        parser.add_argument("currency", help="three letters: what it asks in, unless its file says otherwise")
        parser.add_argument("--lead-days", type=int, default=3, help="days until a delivery; 3 unless said")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = add_supplier(
                code=options["code"],
                name=options["name"],
                currency=options["currency"],
                lead_days=options["lead_days"],
                by=PROGRAM,
            )
        except Refusal as trouble:
            raise CommandError(trouble.message) from None
        self.stdout.write(f"{made.code} {made.name} is added, asking in {made.currency}.")
        self.stdout.write(f"Its token: python manage.py token --supplier {made.code}")
