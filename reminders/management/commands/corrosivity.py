"""ISO 9223 first-year losses of a place from its annual means."""

from __future__ import annotations

from typing import Any

from bookings.management.json_command import JsonCommand
from reminders.protection.documents import corrosivity_document, read_corrosivity


class Command(JsonCommand):
    help = "Print first-year corrosion losses and categories of an open-air place (JSON in, JSON out)."

    def answer(self, document: Any) -> dict[str, Any]:
        return corrosivity_document(read_corrosivity(document))
