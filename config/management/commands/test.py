"""``manage.py test [pytest arguments]``: bring what the tests need and run them on both engines."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from config import testbed


class Command(BaseCommand):
    help = "Bring what the tests need, then run pytest on PostgreSQL and on SQLite. Arguments go to pytest."

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand every argument to pytest as it is; Django's own parser would refuse those it does not know."""
        sys.exit(testbed.main(argv[2:]))

    def handle(self, *args: Any, **options: Any) -> None:
        sys.exit(testbed.main(list(args)))
