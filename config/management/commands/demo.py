"""``manage.py demo [--once] [--port N]``: play the whole story on embedded parts, then keep the site up."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from config.demo import stage


class Command(BaseCommand):
    help = "Play the whole story on embedded parts and print what happened; without --once keep the site up."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="stop when the story has been told")
        parser.add_argument("--port", type=int, default=8000, help="where the site listens (default %(default)s)")

    def handle(self, *args: Any, once: bool, port: int, **options: Any) -> None:
        if not 0 <= port <= 65535:
            sys.exit(f"A port is a number from 0 (any free one) to 65535, not {port}.")
        sys.exit(stage.show(port=port, once=once))
