"""``manage.py guide FILE``: check a guide and publish it; prints each problem with its line.

``--check`` publishes nothing and asks no database.
"""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.guiding.guides import GuideRefused, problems_of, publish_guide
from shop.access import PROGRAM


class Command(BaseCommand):
    help = "Check a guide's TOML file and publish it as the family's next revision."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="only check; publish nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path = options["file"]
        try:
            text = file.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as trouble:
            raise CommandError(f"{file} cannot be read: {trouble}") from None
        problems = problems_of(text)
        for one in problems:
            self.stderr.write(f"{file}:{one.line}: {one.severity}: {one.key}: {one.message}")
        if options["check"]:
            self._only_check([one.severity for one in problems])
            return
        try:
            revision = publish_guide(text=text, by=PROGRAM)
        except GuideRefused as trouble:
            raise CommandError(f"Not published: {len(trouble.problems)} refused.") from None
        self.stdout.write(f"{revision}, {len(revision.document['check'])} checks.")

    def _only_check(self, severities: list[str]) -> None:
        refused = severities.count("refused")
        if refused:
            raise CommandError(f"Cannot be published: {refused} refused.")
        count = len(severities)
        self.stdout.write(f"Can be published; {count} warning{'' if count == 1 else 's'}.")
