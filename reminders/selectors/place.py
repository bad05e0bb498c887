"""What is known of the place, as the forecast command takes it: climate, salt and background pollution."""

from __future__ import annotations

from typing import Any

from bookings import selectors as bookings
from bookings.models import Bike, ClimateMonth

MONTHS = 12


def site_input(bike: Bike) -> dict[str, Any]:
    """Where a bike lives; a shop without twelve months gives no climate, and reading the document says so."""
    shop = bookings.require_shop()
    return {
        "climate": _climate(),
        "road_salt": bike.road_salt,
        "so2_deposition_mg_m2_day": shop.so2_deposition_mg_m2_day,
        "chloride_deposition_mg_m2_day": shop.chloride_deposition_mg_m2_day,
    }


def climate_obstacle() -> str:
    """Why no due date can be estimated at all, in words for staff; empty when it can."""
    known = ClimateMonth.objects.count()
    if known == MONTHS:
        return ""
    return f"The shop's climate has {known} of {MONTHS} months. Add the rest under Records, then due months follow."


def _climate() -> dict[str, Any]:
    rows = list(ClimateMonth.objects.order_by("month"))
    names = ["temperature_c", "relative_humidity_percent", "minimum_temperature_c"]
    if rows and all(row.frost_days is not None for row in rows):
        names.append("frost_days")
    return {name: [getattr(row, name) for row in rows] for name in names}
