"""Load the demonstration shop, once, and say where it is, who may sign in and where the papers lie."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from estimates.demonstration import load_demonstration, sign_ins_path, told_job
from estimates.telling import JourneyFailed, papers_of
from shop.refusals import Refusal


class Command(BaseCommand):
    help = __doc__ or ""

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            for line in load_demonstration():
                self.stdout.write(f"  {line}")
        except (Refusal, JourneyFailed) as trouble:
            raise CommandError(f"The demonstration could not be loaded: {trouble}") from trouble
        ticket = told_job()
        if ticket is not None:
            self.stdout.write(f"\nPapers of {ticket}, which went through the whole job:")
            for title, place in papers_of(ticket):
                self.stdout.write(f"  {title}: {place}")
        self.stdout.write(f"\nSign in at {settings.ADDRESS} as (all invented, kept in {sign_ins_path()}):")
        if sign_ins_path().exists():
            self.stdout.write("".join(f"  {line}\n" for line in sign_ins_path().read_text().splitlines()))
