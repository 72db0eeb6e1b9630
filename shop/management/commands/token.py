"""``manage.py token NAME``: make an API token and print it, the only time it can be seen."""

from argparse import ArgumentParser
from typing import Any

from django.apps import apps
from django.core.management.base import BaseCommand, CommandError

from shop.access import make_token
from shop.models import User


class Command(BaseCommand):
    help = "Makes an API token for a person, or for a supplier's own user, and prints it once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="?", default="", help="user name; not needed with --supplier")
        parser.add_argument("--supplier", metavar="CODE", help="make it for the user of this supplier")
        parser.add_argument("--label", default="", help="what the token is for")

    def handle(self, *args: Any, **options: Any) -> None:
        user, label = self._whose(options["name"], options["supplier"], options["label"])
        if not user.is_active:
            raise CommandError(f"{user.get_username()} is not active: a token would open nothing.")
        self.stdout.write(make_token(user=user, label=label[:80]))

    def _whose(self, name: str, code: str | None, label: str) -> tuple[User, str]:
        if code is None:
            user = User.objects.filter(username=name).first()
            if user is None:
                raise CommandError(f"Nobody signs in as {name}. Write the user name, or --supplier CODE.")
            return user, label
        suppliers = apps.get_model("inventory", "Supplier")  # by name: the room above is not imported
        supplier = suppliers._default_manager.select_related("user").filter(code=code).first()
        if supplier is None or supplier.user is None:
            raise CommandError(
                f"There is no supplier {code}. Add it first: python manage.py supplier {code} NAME CURRENCY"
            )
        if name and name not in {code, supplier.user.get_username()}:
            raise CommandError(f"{name} is not the user of supplier {code}. Leave the name out.")
        return supplier.user, label
