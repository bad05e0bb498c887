"""`manage.py recall -`: on which day to call each bike back, from one JSON document to another."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from bookings.management.json_command import JsonCommand
from reminders.protection import recall_request


class Command(JsonCommand):
    help = "Print an invite day per bike at the least total loss within each day's room."

    def answer(self, document: Any) -> dict[str, Any]:
        request = recall_request.read(document)
        with _native_output_aside():
            return recall_request.answer(request)


@contextmanager
def _native_output_aside() -> Iterator[None]:
    """Send what compiled code prints to standard error: HiGHS now and then writes a line past Python's stdout."""
    sys.stdout.flush()
    kept = os.dup(1)
    try:
        os.dup2(2, 1)
        yield
    finally:
        ctypes.CDLL(None).fflush(None)  # what compiled code printed still waits in the C library's buffer
        os.dup2(kept, 1)
        os.close(kept)
