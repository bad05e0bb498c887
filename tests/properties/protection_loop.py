"""The protection model as a plain loop over days and scalars, written for clarity alone: the referee of the array code.

Also the slow side of the forecast benchmark. It reads the same parameter table and knows tours and recorded washes,
but no odometer and no observed weather.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import date, timedelta
from math import exp, sqrt

from bookings.rules.types import RoadSalt, Storage
from reminders.protection.parameters import Parameters
from reminders.protection.types import Coat, Site, Use

MONTH_DAYS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def vapour_pressure(celsius: float) -> float:
    return 6.1094 * exp(17.625 * celsius / (celsius + 243.04))


def within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def steel(celsius: float, humidity: float, so2: float, chloride: float) -> float:
    """ISO 9223 carbon steel, inputs held in its range."""
    celsius, humidity = within(celsius, -17.1, 28.7), within(humidity, 34.0, 93.0)
    so2, chloride = within(so2, 0.7, 150.4), within(chloride, 0.4, 760.5)
    bend = 0.150 * (celsius - 10) if celsius <= 10 else -0.054 * (celsius - 10)
    return 1.77 * so2**0.52 * exp(0.020 * humidity + bend) + 0.102 * chloride**0.62 * exp(
        0.033 * humidity + 0.040 * celsius
    )


def on_day(monthly: list[float], day: date) -> float:
    offset = (day.day - 0.5) / monthrange(day.year, day.month)[1] - 0.5
    here = monthly[day.month - 1]
    there = monthly[(day.month - 2) % 12 if offset < 0 else day.month % 12]
    return here + abs(offset) * (there - here)


def wet_share(celsius: float, humidity: float, limit: float) -> float:
    return 0.0 if celsius <= -10 else 1 / (1 + exp(6.82 - 0.087 * (humidity + 80 - limit)))


def places(celsius: float, humidity: float, storage: Storage, p: Parameters) -> list[tuple[float, float, float, float]]:
    """(°C, %, share of SO2, share of chloride) from outside to the place of storage."""
    vapour = humidity / 100 * vapour_pressure(celsius)
    chain = [(celsius, humidity, 1.0, 1.0)]
    if storage is Storage.OUTSIDE:
        return chain
    chain.append((celsius, humidity, p["storage.covered.so2_share"], p["storage.covered.chloride_share"]))
    if storage is Storage.COVERED:
        return chain
    warm = celsius + p["storage.unheated.warming_c"]
    inside = min(100.0, 100 * vapour / vapour_pressure(warm))
    chain.append((warm, inside, p["storage.unheated.so2_share"], p["storage.unheated.chloride_share"]))
    if storage is Storage.UNHEATED:
        return chain
    warm = max(celsius + p["storage.heated.warming_c"], p["storage.heated.floor_c"])
    inside = min(100.0, 100 * (vapour + p["storage.heated.added_vapour_hpa"]) / vapour_pressure(warm))
    chain.append((warm, inside, p["storage.heated.so2_share"], p["storage.heated.chloride_share"]))
    return chain


def salting(site: Site, day: date, p: Parameters) -> float:
    assert site.climate.frost_days is not None and site.salt_season is None
    nights = [frost * p["salt.gritting_per_frost"] for frost in site.climate.frost_days]
    return on_day([min(1.0, count / p["salt.saturating_nights"]) for count in nights], day)


def riding_and_salt(site: Site, use: Use, day: date, p: Parameters) -> tuple[float, float]:
    """Kilometres and road chloride of one day."""
    deposition = 0.0 if site.road_salt is RoadSalt.NONE else p[f"salt.{site.road_salt}.deposition"]
    tours = [tour for tour in use.tours if tour.from_ <= day <= tour.to]
    if tours:
        km = sum(tour.km / ((tour.to - tour.from_).days + 1) for tour in tours)
        abroad = deposition or p["salt.normal.deposition"]
        return km, abroad * (1 - p["salt.rinsed_share"]) if any(tour.salted for tour in tours) else 0.0
    if day.month not in use.riding_months or not use.km_per_year:
        return 0.0, 0.0
    km = use.km_per_year / sum(MONTH_DAYS[month - 1] for month in use.riding_months)
    salt = deposition * salting(site, day, p) if deposition else 0.0
    return km, salt * (1 - p["salt.rinsed_share"])


def exposure(site: Site, use: Use, day: date, road: float, kept: float, p: Parameters) -> float:
    """Relative exposure: the least along the chain of places."""
    celsius = on_day(list(site.climate.temperature_c), day)
    humidity = on_day(list(site.climate.relative_humidity_percent), day)
    rates = []
    for warm, humid, so2_share, chloride_share in places(celsius, humidity, use.storage, p):
        drawing = p["brine.hygroscopic_share"]
        wet = (1 - drawing) * wet_share(warm, humid, p["brine.sodium_deliquescence"])
        wet += drawing * wet_share(warm, humid, p["brine.magnesium_deliquescence"])
        chloride = site.chloride_deposition_mg_m2_day * chloride_share + max(road, kept * wet)
        rates.append(steel(warm, humid, site.so2_deposition_mg_m2_day * so2_share, chloride))
    return min(rates) / steel(10, 75, 5, 3)


def washed(use: Use, day: date, as_of: date) -> float:
    if use.washed_on and min(use.washed_on) <= day <= as_of:
        return float(use.washed_on.count(day))
    return use.washes_per_year / 365.25


def due_days(site: Site, use: Use, coat: Coat, as_of: date, p: Parameters, last: date) -> list[date | None]:
    """Early, likely and late due day of a coat, one day after the other."""
    kind, spray = coat.kind, p[f"zone.{coat.zone}.spray"]
    life = coat.nominal_life_days or p[f"coat.{kind}.nominal_life_days"]
    age_share = p[f"coat.{kind}.age_share"]
    spread = sqrt(((1 - age_share) * p["band.exposure_log_sd"]) ** 2 + p["band.product_log_sd"] ** 2)
    budgets = [exp(-p["band.z"] * spread), 1.0, exp(p["band.z"] * spread)]
    found: list[date | None] = []
    worn, kept, day = 0.0, 0.0, coat.applied_on
    while day <= last and len(found) < 3:
        km, road = riding_and_salt(site, use, day, p)
        half_life = p["brine.half_life_days"]
        left = kept * 0.5 ** (1 / half_life) if half_life else 0.0
        kept = max(road, left * (1 - p["brine.washed_off_share"]) ** use.washed_on.count(day)) if half_life else 0.0
        exposed = exposure(site, use, day, road * spray, kept * spray, p)
        worn += (age_share * p[f"zone.{coat.zone}.heat"] + (1 - age_share) * exposed) / life
        worn += km / p[f"coat.{kind}.life_km"] * (0.5 + 0.5 * spray)
        worn += washed(use, day, as_of) / p[f"coat.{kind}.life_washes"]
        while len(found) < 3 and worn >= budgets[len(found)]:
            found.append(day)
        day += timedelta(days=1)
    return found + [None] * (3 - len(found))
