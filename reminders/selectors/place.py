"""What is known of the place, as the forecast command takes it: climate, weather, salt and background pollution."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Max, Min

from bookings import selectors as bookings
from bookings.models import Bike, ClimateMonth
from reminders.models import WeatherDay
from reminders.protection.types import Observation

MONTHS = 12
# A forecast shows the salt season of the winter before, and nights before a day count towards its roads.
LOOK_BACK = timedelta(days=431)
MEASURED = ("temperature_c", "minimum_temperature_c", "relative_humidity_percent")


def site_input(bike: Bike, first: date, as_of: date) -> dict[str, Any]:
    """Where a bike lives, for coats from `first` on; of a shop without twelve months, reading the document says so."""
    return {**shop_climate(), "road_salt": bike.road_salt, **_observed(min(first, as_of) - LOOK_BACK, as_of)}


def shop_climate() -> dict[str, Any]:
    """What is the same for every bike of the shop."""
    shop = bookings.require_shop()
    season = {"from": shop.salt_season_from, "to": shop.salt_season_to}
    return {
        # Left out where the shop names none, so that naming one is a change and nothing else is.
        **({"salt_season": season} if shop.salt_season_from else {}),
        "climate": _climate(),
        "so2_deposition_mg_m2_day": shop.so2_deposition_mg_m2_day,
        "chloride_deposition_mg_m2_day": shop.chloride_deposition_mg_m2_day,
    }


def climate_obstacle() -> str:
    """Why no due date can be estimated at all, in words for staff; empty when it can."""
    known = ClimateMonth.objects.count()
    if known == MONTHS:
        return ""
    return f"The shop's climate has {known} of {MONTHS} months. Add the rest under Estimate, then due months follow."


def weather_span() -> dict[str, Any]:
    """How many days were observed, the first and the last of them; None where there is none."""
    return WeatherDay.objects.aggregate(days=Count("pk"), first=Min("day"), last=Max("day"))


def known_weather(days: Iterable[date]) -> dict[date, Observation]:
    """What is known already of these days."""
    wanted = set(days)
    if not wanted:
        return {}
    rows = WeatherDay.objects.filter(day__gte=min(wanted), day__lte=max(wanted)).values("day", *MEASURED)
    return {row["day"]: Observation(on=row.pop("day"), **row) for row in rows if row["day"] in wanted}


def climate_months() -> list[ClimateMonth]:
    """The months known, January first."""
    return list(ClimateMonth.objects.order_by("month"))


def _climate() -> dict[str, Any]:
    rows = climate_months()
    names = ["temperature_c", "relative_humidity_percent", "minimum_temperature_c"]
    if rows and all(row.frost_days is not None for row in rows):
        names.append("frost_days")
    return {name: [getattr(row, name) for row in rows] for name in names}


def _observed(first: date, last: date) -> dict[str, Any]:
    rows = list(WeatherDay.objects.filter(day__gte=first, day__lte=last).values_list("day", *MEASURED))
    if not rows:
        return {}
    days, *columns = zip(*rows, strict=True)
    measured = dict(zip(MEASURED, map(list, columns), strict=True))
    return {"observed": {"on": [day.isoformat() for day in days], **measured}}
