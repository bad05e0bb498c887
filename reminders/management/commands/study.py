"""``manage.py study [--seeds N] [--bikes N] [--json] [--plot FILE]``: does inspection feedback teach the forecast?"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from rich.console import Console
from rich.progress import track

from reminders.management import study_report
from reminders.protection.study import TRUTHS, studies

ZONES_GRADED = (1, 3)


class Command(BaseCommand):
    help = "Send invented fleets with hidden rates through their visits, and tell whether the forecast gets better."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--seeds", type=int, default=5, help="runs of each study, seeded 1 to N (default %(default)s)"
        )
        parser.add_argument("--bikes", type=int, default=2000, help="bikes in a fleet (default %(default)s)")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON document instead of a table")
        parser.add_argument("--plot", type=Path, metavar="FILE", help="also draw the figures, as .svg or .png")

    def handle(self, *args: Any, seeds: int, bikes: int, as_json: bool, plot: Path | None, **options: Any) -> None:
        if seeds < 1 or bikes < 1:
            raise CommandError("--seeds and --bikes take whole numbers from 1 on.")
        if plot and plot.suffix not in (".svg", ".png"):
            raise CommandError(f"--plot takes a file that ends in .svg or .png, not {plot.name}.")
        runs = track(
            studies(range(1, seeds + 1), ZONES_GRADED, bikes),
            description="Fleets",
            total=len(TRUTHS) * len(ZONES_GRADED) * seeds,
            console=Console(stderr=True),
        )
        found = study_report.summaries(list(runs))
        if plot:
            try:
                study_report.draw(found, plot)
            except OSError as error:
                raise CommandError(f"{plot} cannot be written: {error.strerror}") from error
        if as_json:
            self.stdout.write(json.dumps(study_report.document(found, bikes), ensure_ascii=False))
        else:
            Console(width=None if sys.stdout.isatty() else 160).print(study_report.table(found))
