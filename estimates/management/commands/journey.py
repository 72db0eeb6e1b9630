"""Run one job from a file through the same rules that the pages use, and print each step with its figures."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from estimates.journey import Journey
from estimates.telling import JourneyFailed, Told, papers_of
from shop.refusals import Refusal


def table(told: Told) -> str:
    """The step as a ruled table of plain text."""
    lines = [told.head, *told.rows]
    widths = [max(len(line[at]) for line in lines) for at in range(len(told.head))]
    text = [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]
    text.insert(1, "  " + "  ".join("─" * width for width in widths))
    if told.below:
        text += ["", *(f"  {line}" for line in told.below.splitlines())]
    return "\n".join(text)


class Command(BaseCommand):
    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--fresh", action="store_true", help="in a temporary shop of its own")
        parser.add_argument("--json", action="store_true", help="the figures alone, for a script")
        parser.add_argument("--papers", type=Path, help="a folder to which the PDFs are copied")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        if not path.is_file():
            raise CommandError(f"There is no file {path}.")
        if options["fresh"]:
            self.in_a_temporary_shop(path, options)
        else:
            self.run_here(path, options)

    def in_a_temporary_shop(self, path: Path, options: dict[str, Any]) -> None:
        """The same command in a shop below a temporary folder, which is removed; the papers are kept."""
        papers = options["papers"] or Path(settings.HOME) / "papers" / path.stem
        with tempfile.TemporaryDirectory(prefix="layshaft-journey-") as home:
            clean = {
                key: value
                for key, value in os.environ.items()
                if key not in {"REDIS_URL", "LAYSHAFT_SECRET_KEY"}
            }
            environment = {
                **clean,
                "LAYSHAFT_HOME": home,
                "DATABASE_URL": f"sqlite:///{home}/shop.sqlite3",
                "EMAIL_URL": os.environ.get("EMAIL_URL", ""),
            }
            manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
            subprocess.run([*manage, "migrate", "--verbosity", "0"], env=environment, check=True)  # noqa: S603
            words = [
                *manage,
                "journey",
                str(path),
                "--papers",
                str(papers),
                *(["--json"] if options["json"] else []),
            ]
            ended = subprocess.run(words, env=environment, check=False)  # noqa: S603
        if ended.returncode:
            raise CommandError("The journey failed.", returncode=ended.returncode)

    def run_here(self, path: Path, options: dict[str, Any]) -> None:
        journey = Journey(path)
        quiet = options["json"]
        figures: dict[str, Any] = {}
        try:
            for number, told in enumerate(journey.run(), 1):
                figures.update(told.figures)
                if not quiet:
                    self.stdout.write(f"\n{number}. {told.title}\n\n{table(told)}")
        except (Refusal, JourneyFailed) as trouble:
            raise CommandError(f"The journey failed: {trouble}") from trouble
        papers = [
            (title, self.copied(place, options["papers"])) for title, place in papers_of(journey.ticket)
        ]
        figures["papers"] = [str(place) for _title, place in papers]
        if quiet:
            self.stdout.write(json.dumps(figures, ensure_ascii=False, indent=2))
            return
        self.stdout.write("\nPapers\n")
        for title, place in papers:
            self.stdout.write(f"  {title}: {place}")

    def copied(self, place: Path, to: Path | None) -> Path:
        if to is None:
            return place
        to.mkdir(parents=True, exist_ok=True)
        return Path(shutil.copy(place, to / place.name))
