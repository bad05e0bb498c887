"""``manage.py bench [NAME] [--json]``: ratios of our computations to plain ones, measured side by side."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from rich.console import Console
from rich.table import Table

from config import bench
from config.bench_pair import AnswersDiffer
from config.benches import BENCHES


class Command(BaseCommand):
    help = "Measure our computations beside plain ones, in one run, and print the ratios."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="?", choices=sorted(BENCHES), help="one bench; all without it")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON document instead of a table")

    def handle(self, *args: Any, name: str | None, as_json: bool, **options: Any) -> None:
        facts = bench.machine()
        try:
            results = [bench.measure(each) for each in ([name] if name else BENCHES)]
        except AnswersDiffer as differ:
            sys.exit(str(differ))
        if as_json:
            self.stdout.write(json.dumps(bench.as_document(facts, results), ensure_ascii=False))
        else:
            _print(facts, results)


def _print(facts: dict[str, Any], results: list[bench.Result]) -> None:
    table = Table(title=f"{facts['processor']}, {facts['cores']} cores, Python {facts['python']}", title_justify="left")
    for heading in ("Bench", "What", "Beside", "Ours", "Plain", "Peak MB", "Times as fast (lowest to highest round)"):
        table.add_column(heading, overflow="fold")
    for row in results:
        ratio = f"{row.ratio:.2g} ({row.lowest_ratio:.2g} to {row.highest_ratio:.2g})"
        times = (f"{row.ours_seconds * 1000:.3g} ms", f"{row.plain_seconds * 1000:.3g} ms")
        memory = f"{row.ours_peak_mb:.3g}, plain {row.plain_peak_mb:.3g}"
        table.add_row(row.name, row.what, row.plain_way, *times, memory, ratio)
    console = Console(width=None if sys.stdout.isatty() else 120)
    console.print(table)
    console.print(f"Load of the machine before: {facts['load_before']}. Compare ratios, not times.", style="dim")
