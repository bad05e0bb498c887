"""Places for the protection tests. Invented, except in kind: no station's normals are copied here."""

from __future__ import annotations

from datetime import date

from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import Parameters
from reminders.protection.types import Climate, Coat, Forecast, Site, Use

# A mild maritime lowland of our own, rounded to half a degree and a whole percent, like the south-east of England.
MARITIME = Climate(
    temperature_c=(5.5, 6.0, 8.0, 10.5, 14.0, 17.0, 19.0, 18.5, 16.0, 12.5, 8.5, 6.0),
    relative_humidity_percent=(86, 82, 75, 70, 68, 66, 65, 67, 73, 80, 86, 88),
    minimum_temperature_c=(2.5, 2.5, 4.0, 6.0, 9.0, 12.0, 14.0, 14.0, 11.5, 9.0, 5.5, 3.0),
    frost_days=(7, 6, 3, 1, 0, 0, 0, 0, 0, 0, 3, 7),
)
SUMMER, LONG_SUMMER, ALL_YEAR = frozenset(range(4, 10)), frozenset(range(3, 11)), frozenset(range(1, 13))
# The model as first published has no salt that stays on the bike.
NO_BRINE = DEFAULTS.with_values({"brine.half_life_days": 0.0})
# Annual means, as the corrosivity command takes them.
AIR = {
    "temperature_c": 15,
    "relative_humidity_percent": 70,
    "so2_deposition_mg_m2_day": 4,
    "chloride_deposition_mg_m2_day": 3,
}
DAYS_PER_MONTH = 365.25 / 12


def shifted(climate: Climate, months: int = 6) -> Climate:
    """The same climate on the other side of the Equator."""

    def roll(values: tuple[float, ...]) -> tuple[float, ...]:
        return values[-months:] + values[:-months]

    return Climate(
        roll(climate.temperature_c),
        roll(climate.relative_humidity_percent),
        roll(climate.minimum_temperature_c),
        roll(climate.frost_days) if climate.frost_days else None,
    )


def site(salt: RoadSalt = RoadSalt.NORMAL, climate: Climate = MARITIME) -> Site:
    """A place with the background of clean country air."""
    return Site(climate, salt, so2_deposition_mg_m2_day=5.0, chloride_deposition_mg_m2_day=3.0)


def use(
    storage: Storage = Storage.OUTSIDE, months: frozenset[int] = ALL_YEAR, km: float = 12_000, washes: float = 24
) -> Use:
    """A rider's habits: by default out all year and kept outside."""
    return Use(storage, months, km, washes)


def on_frame(
    where: Site,
    how: Use,
    applied_on: date = date(2024, 11, 1),
    parameters: Parameters = DEFAULTS,
    as_of: date | None = None,
) -> Forecast:
    """All kinds of coat on the frame, asked for on the day they went on unless told otherwise."""
    coats = [Coat(Zone.FRAME, kind, applied_on) for kind in CoatKind]
    return forecast(where, how, coats, as_of or applied_on, parameters)
