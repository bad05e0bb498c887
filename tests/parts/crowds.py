"""Many at the same moment, each on a database connection of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar

from django.db import connections

Answer = TypeVar("Answer")


def all_at_once(presses: Sequence[Callable[[], Answer]]) -> list[Answer]:
    """Answers of presses that wait for each other before they begin; what one of them raises is raised here."""
    ready = Barrier(len(presses))

    def press(one: Callable[[], Answer]) -> Answer:
        try:
            ready.wait(10)
            return one()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(presses)) as pool:
        return list(pool.map(press, presses))
