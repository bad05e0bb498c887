"""``manage.py ordeal [--kills N] [--seed N] [--json]``: the outbox under fire, on a database of its own."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from bookings.clock import moment
from config.study.findings import Findings
from config.study.ordeal import Plan, run


class Command(BaseCommand):
    help = (
        "Kill workers, beats and broker at random while a mail server misbehaves, and count what arrives. "
        "Works on a new database beside the configured one, with a broker and mail server of its own."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        plain = Plan()
        words = {
            "notices": "service notices that fall due",
            "recalls": "recall notices besides",
            "dead": "notices to addresses that do not exist besides",
            "kills": "processes killed",
            "seed": "seed of all chance",
            "haste": "what every wait of the product is divided by",
        }
        for name, what in words.items():
            default = getattr(plain, name)
            parser.add_argument(f"--{name}", type=int, default=default, help=f"{what} (default %(default)s)")
        parser.add_argument("--interval", type=float, default=plain.interval_seconds, help="mean seconds between kills")
        parser.add_argument("--json", action="store_true", dest="as_json", help="one JSON document instead of a table")

    def handle(self, *args: Any, as_json: bool, interval: float, **options: Any) -> None:
        plan = Plan(
            **{name: options[name] for name in ("notices", "recalls", "dead", "kills", "seed", "haste")},
            interval_seconds=interval,
        )
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
        with Progress(*columns, console=Console(stderr=True)) as progress:
            bar = progress.add_task("setting up", total=plan.kills)
            findings = run(
                plan, moment(), lambda number, what: progress.update(bar, completed=number, description=what)
            )
        if as_json:
            self.stdout.write(json.dumps({"plan": asdict(plan)} | asdict(findings), ensure_ascii=False))
        else:
            _print(findings)
        sys.exit(bool(findings.broken))


def _print(findings: Findings) -> None:
    table = Table(title=f"Seed {findings.seed}, {findings.seconds:.0f} seconds", title_justify="left")
    table.add_column("What")
    table.add_column("How many", justify="right")
    for name, figure in findings.figures.items():
        table.add_row(name, f"{figure:,}")
    console = Console(width=None if sys.stdout.isatty() else 120)
    console.print(table)
    for line in findings.broken:
        console.print(f"Broken: {line}", style="bold")
    console.print("A promise was broken." if findings.broken else "Every promise was kept.")
