"""A hundred thousand coats over forty sites: beside the bare array operations, and beside a loop over days.

The bare side is given everything but its own two operations: float64 arrays of daily wear, one row for every site,
storage, riding pattern, zone and kind of coat that occurs, and each coat's start and three budgets. It adds them up
and searches them, habit by habit into one buffer: of the ways tried (all rows at once, with and without a ready
buffer) the fastest. Our side starts from climates and habits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from importlib import import_module

import numpy as np

from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, RoadSalt, Storage
from config.bench_pair import Pair
from reminders.protection.bulk import KINDS, Coats, Habit, due_days
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import Parameters
from reminders.protection.types import Climate, Coat, Site, Use
from reminders.protection.wear import band_log_sd, load, wear_by_cause

SEED = 7
COATS, SITES, LOOPED = 100_000, 40, 50
AS_OF = date(2025, 9, 1)
OLDEST_DAYS, AHEAD_DAYS = 730, round(5 * 365.25)
RIDERS = ((frozenset(range(1, 13)), 12_000.0, 24.0), (frozenset(range(4, 10)), 5_000.0, 8.0))
NO_SALT_STAYS = DEFAULTS.with_values({"brine.half_life_days": 0.0})


@dataclass(frozen=True)
class World:
    """Habits and coats, all invented; `days` is the grid both sides reckon on."""

    habits: list[Habit]
    coats: Coats
    days: np.ndarray


def world() -> World:
    """Seeded: climates around a mild maritime one, every storage, two riders to each, coats of the last two years."""
    chance = np.random.default_rng(SEED)
    habits = [
        Habit(site, Use(storage, *rider))
        for site in (_site(number, chance) for number in range(SITES))
        for storage in Storage
        for rider in RIDERS
    ]
    coats = Coats(
        chance.integers(len(habits), size=COATS),
        chance.integers(len(COATED_ZONES), size=COATS),
        chance.integers(len(KINDS), size=COATS),
        np.datetime64(AS_OF) - chance.integers(0, OLDEST_DAYS + 1, size=COATS),
        np.full(COATS, np.nan),
        np.zeros(COATS),
        np.full(COATS, np.nan),
    )
    days = np.arange(coats.applied_on.min(), np.datetime64(AS_OF) + AHEAD_DAYS + 1)
    return World(habits, coats, days)


def _site(number: int, chance: np.random.Generator) -> Site:
    warmer, moister = chance.uniform(-6, 6), chance.uniform(-8, 6)
    means = np.array([5.0, 5.5, 7.5, 10.0, 13.5, 16.5, 18.5, 18.0, 15.5, 12.0, 8.0, 5.5]) + warmer
    humid = np.clip(np.array([86, 83, 78, 73, 71, 70, 69, 71, 76, 81, 86, 88]) + moister, 40, 100)
    frosts = np.clip(np.array([8, 7, 5, 1.5, 0.5, 0, 0, 0, 0, 0.5, 4, 7]) - warmer, 0, 28)
    climate = Climate(*(tuple(column.tolist()) for column in (means, humid, means - 3.5, frosts)))
    return Site(climate, tuple(RoadSalt)[number % len(RoadSalt)], 5.0, 3.0)


def _bare(made: World, parameters: Parameters) -> tuple[Callable[[], np.ndarray], np.ndarray]:
    """The two operations on ready arrays, and which coats went on bikes whose salt makes no difference to them."""
    coats = made.coats
    wears_alike = (coats.habit * len(COATED_ZONES) + coats.zone) * len(KINDS) + coats.kind
    order = np.argsort(wears_alike, kind="stable")
    start = ((coats.applied_on - made.days[0]).astype(np.int64))[order]
    scatter = np.array([band_log_sd(kind, parameters) for kind in KINDS])[coats.kind[order]]
    budgets = np.exp(np.array([-1.0, 0.0, 1.0]) * parameters["band.z"] * scatter[:, None])
    rows, edges = [], []
    salt_free = np.empty(len(order), dtype=bool)
    bounds = np.searchsorted(coats.habit[order], np.arange(len(made.habits) + 1))
    for habit, low, high in zip(made.habits, bounds[:-1], bounds[1:], strict=True):
        acting = load(habit.site, habit.use, made.days, AS_OF, parameters)
        firsts = low + np.flatnonzero(np.diff(wears_alike[order[low:high]], prepend=-1))
        pairs = ((COATED_ZONES[coats.zone[coat]], KINDS[coats.kind[coat]]) for coat in order[firsts])
        rows.append(np.array([wear_by_cause(acting, zone, kind).sum(axis=0) for zone, kind in pairs]))
        edges.append(np.append(firsts, high))
        left = acting.salt_left
        salt_free[order[low:high]] = left is None or left.next_peak()[start[low:high]] == start[low:high]
    # The day by whose end a budget is used up counts from the sum before the coat's first day: 0 on the grid's own.
    before = start - 1
    buffer = np.empty((max(len(block) for block in rows), len(made.days)))

    def run() -> np.ndarray:
        reached = np.empty(budgets.shape, dtype=np.int64)
        for block, edge in zip(rows, edges, strict=True):
            total = np.cumsum(block, axis=1, out=buffer[: len(block)])
            for line, low, high in zip(total, edge[:-1], edge[1:], strict=True):
                begun = np.where(before[low:high] >= 0, line[before[low:high]], 0.0)
                reached[low:high] = line.searchsorted(begun[:, None] + budgets[low:high])
        answer = np.empty_like(reached)
        answer[order] = reached
        return answer

    return run, salt_free


def _reached(made: World, parameters: Parameters) -> np.ndarray:
    """Our answers as indices of days, the number of days where none."""
    due = due_days(made.habits, made.coats, AS_OF, parameters)
    days = np.stack([due.early, due.likely, due.late], axis=1)
    return np.where(np.isnat(days), len(made.days), (days - made.days[0]).astype(np.int64))


def _beside_bare(parameters: Parameters, what: str) -> Pair:
    made = world()
    bare, compared = _bare(made, parameters)
    return Pair(
        f"early, likely and late day of {COATS:,} coats, {SITES} sites, {len(made.habits)} habits; {what} "
        f"({compared.mean():.0%} of answers compared)",
        "cumsum and searchsorted alone, on ready arrays of daily wear",
        lambda: _reached(made, parameters)[compared].tobytes(),
        lambda: bare()[compared].tobytes(),
    )


def beside_bare_dry() -> Pair:
    """No salt stays on the bike: the bare arrays hold for every coat."""
    return _beside_bare(NO_SALT_STAYS, "no salt stays on")


def beside_bare_salted() -> Pair:
    """Salt stays on: the bare arrays hold where treatment found none that mattered; ours follows the others too."""
    return _beside_bare(DEFAULTS, "salt stays on and treatment cleans it off")


def beside_loop() -> Pair:
    """One loop over days for each coat, on a sample of them."""
    made = world()
    loop = import_module("tests.properties.protection_loop")
    sample = np.arange(0, COATS, COATS // LOOPED)
    last = AS_OF + timedelta(days=AHEAD_DAYS)

    def looped(number: int) -> list[date | None]:
        columns = made.coats
        habit = made.habits[columns.habit[number]]
        zone, kind = COATED_ZONES[columns.zone[number]], CoatKind(KINDS[columns.kind[number]])
        coat = Coat(zone, kind, columns.applied_on[number].astype(date))
        found: list[date | None] = loop.due_days(habit.site, habit.use, coat, AS_OF, DEFAULTS, last)
        return found

    def ours() -> list[list[date | None]]:
        due = due_days(made.habits, made.coats, AS_OF, DEFAULTS)
        return [list(days) for days in np.stack([due.early, due.likely, due.late], axis=1)[sample].tolist()]

    return Pair(
        f"early, likely and late day of {COATS:,} coats, {SITES} sites, {len(made.habits)} habits",
        f"one loop over the days for each coat, timed on {LOOPED} of them",
        ours,
        lambda: [looped(int(number)) for number in sample],
        plain_share=LOOPED / COATS,
    )
