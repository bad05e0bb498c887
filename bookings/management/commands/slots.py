"""`manage.py slots -`: every free start for a job, from one JSON document to another."""

from __future__ import annotations

from typing import Any

from bookings.management.json_command import JsonCommand
from bookings.rules import slot_request


class Command(JsonCommand):
    help = "Print every start at which a job fits into the diary, earliest first."

    def answer(self, document: Any) -> dict[str, Any]:
        return slot_request.answer(slot_request.read(document))
