"""``manage.py guide FILE``: check a guide and publish it; prints each problem with its line."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.guides import GuideRefused, problems_of, publish_guide
from shop.access import PROGRAM


class Command(BaseCommand):
    help = "Check a guide's TOML file and publish it as the family's next revision."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path = options["file"]
        try:
            text = file.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as trouble:
            raise CommandError(f"{file} cannot be read: {trouble}") from None
        for one in problems_of(text):
            self.stderr.write(f"{file}:{one.line}: {one.severity}: {one.key}: {one.message}")
        try:
            revision = publish_guide(text=text, by=PROGRAM)
        except GuideRefused as trouble:
            raise CommandError(f"Not published: {len(trouble.problems)} refused.") from None
        self.stdout.write(f"{revision}, {len(revision.document['check'])} checks.")
