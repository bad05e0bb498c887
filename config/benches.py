"""What `manage.py bench` measures: each of our computations beside the plain way of getting the same answer.

The plain ways are the referees of the tests (tests/properties), or a library's bare solver. Both sides get the same
seeded input and must give the same answer before any time is taken.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from importlib import import_module
from random import Random
from zoneinfo import ZoneInfo

import numpy as np
from scipy.optimize import linear_sum_assignment

from bookings.rules.slots import Diary, free_starts, quarters
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from config import bench_forecast, bench_outbox
from config.bench_pair import Pair
from reminders.protection import recall
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Climate, Coat, Site, Use

SEED = 7


def slots() -> Pair:
    """All free starts of a quarter of a year, three bays about half full."""
    loops = import_module("tests.properties.slots_reference")
    chance = Random(SEED)
    first = date(2026, 3, 1)  # a clock change lies inside
    hours = {weekday: (time(8), time(18)) for weekday in range(7)}
    diary = Diary(hours, frozenset({first + timedelta(days=9)}), ZoneInfo("Europe/London"), first, 90)
    busy: dict[int, list[tuple[int, int]]] = {1: [], 2: [], 3: []}
    for bay in busy:
        for day in range(90):
            begin = datetime(2026, 3, 1, chance.randrange(8, 14), tzinfo=UTC) + timedelta(days=day)
            span = quarters(begin, begin + timedelta(minutes=15 * chance.randrange(8, 20)))
            busy[bay].append((span.start, span.stop))
    return Pair(
        "free starts of 4¼ hours in 90 days, 3 bays about half full",
        "nested loops over days, quarters, bays and cells",
        lambda: free_starts(diary, busy, 255),
        lambda: loops.nested_loops(diary, busy, 255),
    )


def forecasts() -> Pair:
    """Due days of every coat of one bike, from one load."""
    loop = import_module("tests.properties.protection_loop")
    climate = Climate(
        temperature_c=(5.0, 5.2, 7.1, 9.4, 12.6, 15.6, 17.8, 17.5, 15.0, 11.5, 7.9, 5.5),
        relative_humidity_percent=(86, 83, 79, 75, 74, 73, 72, 74, 78, 82, 86, 87),
        minimum_temperature_c=(2.3, 2.2, 3.3, 4.8, 7.8, 10.7, 12.7, 12.6, 10.4, 7.7, 4.7, 2.7),
        frost_days=(8.0, 7.5, 4.8, 1.5, 0.2, 0, 0, 0, 0, 0.6, 3.9, 7.4),
    )
    site = Site(climate, RoadSalt.NORMAL, 5.0, 3.0)
    use = Use(Storage.COVERED, frozenset(range(1, 13)), 9_000, 12)
    day = date(2026, 11, 2)
    places = (Zone.EXHAUST, Zone.SPROCKET, Zone.SPOKES, Zone.FASTENERS, Zone.ENGINE_CASES, Zone.FRAME)
    coats = [Coat(zone, kind, day) for zone in places for kind in CoatKind]
    last = day + timedelta(days=round(5 * 365.25))

    def ours() -> list[list[date | None]]:
        answer = forecast(site, use, coats, day)
        return [[coat.due_early, coat.due_likely, coat.due_late] for coat in answer.coats]

    return Pair(
        f"early, likely and late due day of {len(coats)} coats, five years ahead",
        "one loop over the days for each coat",
        ours,
        lambda: [loop.due_days(site, use, coat, day, DEFAULTS, last) for coat in coats],
    )


def recalls() -> Pair:
    """Recall days of a shop's autumn, spread so that all losses together are least."""
    chance = Random(SEED)
    first = date(2026, 9, 1)
    days = [recall.Day(first + timedelta(days=number), chance.randrange(0, 3)) for number in range(60)]
    bikes = []
    for number in range(200):
        ideal = first + timedelta(days=chance.randrange(20, 40))
        latest = ideal + timedelta(days=chance.randrange(0, 20))
        bikes.append(recall.Bike(number, first + timedelta(days=chance.randrange(0, 10)), ideal, latest))
    salt_from = first + timedelta(days=50)

    def bare() -> float:
        rates = (1, 3, 6, 10, 2000)
        table = recall.loss_table([day.day for day in days], bikes, salt_from, rates)
        columns = [number for number, day in enumerate(days) for _ in range(day.capacity)]
        costs = np.hstack([table[:, columns], np.repeat(table[:, -1:], len(bikes), axis=1)])
        rows, chosen = linear_sum_assignment(np.minimum(costs, 10**9))
        return float(costs[rows, chosen].sum())

    return Pair(
        f"recall days of {len(bikes)} bikes over {len(days)} days, least total loss, ties by turn",
        "scipy's assignment on every single place, ties left to chance",
        lambda: float(recall.plan(days, bikes, salt_from).total_loss),
        bare,
    )


BENCHES: dict[str, Callable[[], Pair]] = {
    "slots": slots,
    "forecast": forecasts,
    "forecast-loop": bench_forecast.beside_loop,
    "forecast-bare": bench_forecast.beside_bare_dry,
    "forecast-bare-salt": bench_forecast.beside_bare_salted,
    "recall": recalls,
    "outbox": bench_outbox.beside_smtplib,
}
