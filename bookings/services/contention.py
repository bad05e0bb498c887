"""Writing in company: a transaction that lost a lock to another is tried again, for a moment."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction

from bookings.services.diary import DiaryRefusal

P = ParamSpec("P")
R = TypeVar("R")
TRIES = 5
FIRST_WAIT_SECONDS = 0.01
# PostgreSQL: deadlock, serialization failure, lock timeout (SQLSTATE, Appendix A of its manual).
PASSING = {"40P01", "40001", "55P03"}


class Busy(DiaryRefusal):
    """Others were writing all the while; nothing has been changed, and the same again may well go through."""


def transacted(service: Callable[P, R]) -> Callable[P, R]:
    """Run `service` in a transaction, again if it loses a lock. Raises Busy when it keeps losing.

    Inside a transaction of the caller's it runs once: only the outermost one can be begun anew.
    """

    @wraps(service)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        if connection.in_atomic_block:
            with transaction.atomic():
                return service(*args, **kwargs)
        for turn in range(TRIES):
            try:
                with transaction.atomic():
                    return service(*args, **kwargs)
            except OperationalError as error:
                if not lost_a_lock(error):
                    raise
                # By chance, or two that met once would meet again.
                time.sleep(random.uniform(0, FIRST_WAIT_SECONDS * 2**turn))
        raise Busy("The diary is busy just now, and nothing has been changed. Please send it again.")

    return run


def lost_a_lock(error: OperationalError) -> bool:
    """Whether another transaction was in the way, and not something that will be so next time too."""
    return getattr(error.__cause__, "sqlstate", None) in PASSING or "database is locked" in str(error)
