"""When the coats of one bike are due again."""

from __future__ import annotations

from typing import Any

from bookings.management.json_command import JsonCommand
from reminders.management.station_files import shop_station
from reminders.protection.documents import forecast_document, read_request
from reminders.protection.due import forecast


class Command(JsonCommand):
    help = "Estimate when each coat of a bike is due again (JSON in, JSON out); an estimate, not a promise."

    def answer(self, document: Any) -> dict[str, Any]:
        asked = read_request(document, shop_station)
        return forecast_document(forecast(asked.site, asked.use, asked.coats, asked.as_of))
