"""The due days of very many coats at once: those `due.forecast` names coat by coat, without a loop over coats."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from bookings.rules.errors import FieldError
from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, Storage
from reminders.protection.bounds import LIFE_DAYS, LOG_RATE, LOG_RATE_SD, Array, refuse
from reminders.protection.bulk_search import Wearing, days_reaching
from reminders.protection.climate import Days
from reminders.protection.due import LATEST_COAT_DAYS, OLDEST_COAT_DAYS, span_errors, use_errors
from reminders.protection.exposure import surroundings
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.salt_left import Indices
from reminders.protection.types import Coat, Site, Use
from reminders.protection.wear import Load, band_log_sd, load

KINDS = tuple(CoatKind)


@dataclass(frozen=True)
class Habit:
    """How and where a bike, or any number of like bikes, is kept; all days on which it is known to be cleaned.

    The treatment of each coat cleans the bike whether listed or not; list those of a bike's other coats.
    """

    site: Site
    use: Use
    cleaned_on: tuple[date, ...] = ()


@dataclass(frozen=True, eq=False)
class Coats:
    """Columns, one entry per coat: index of its habit, of its zone in COATED_ZONES, of its kind in KINDS, its day.

    NaN stands for the kind's own nominal life and for nothing learnt about the scatter.
    """

    habit: Indices
    zone: Indices
    kind: Indices
    applied_on: NDArray[np.datetime64]
    nominal_life_days: Array
    log_rate: Array
    log_rate_sd: Array

    @classmethod
    def of(cls, coats: Iterable[tuple[int, Coat]]) -> Coats:
        """From (index of its habit, coat) pairs."""
        rows = list(coats)
        return cls(
            np.array([habit for habit, _ in rows], dtype=np.int64),
            np.array([COATED_ZONES.index(coat.zone) for _, coat in rows], dtype=np.int64),
            np.array([KINDS.index(coat.kind) for _, coat in rows], dtype=np.int64),
            np.array([coat.applied_on for _, coat in rows], dtype="datetime64[D]"),
            np.array([coat.nominal_life_days or np.nan for _, coat in rows]),
            np.array([coat.log_rate for _, coat in rows]),
            np.array([np.nan if coat.log_rate_sd is None else coat.log_rate_sd for _, coat in rows]),
        )

    def errors(self, habits: int, as_of: date) -> Iterator[FieldError]:
        """What `Coat` and `forecast` would refuse, a line per column."""
        age = (self.applied_on - np.datetime64(as_of, "D")).astype(np.int64)
        bounds = {
            "habit": (self.habit, 0, habits - 1),
            "zone": (self.zone, 0, len(COATED_ZONES) - 1),
            "kind": (self.kind, 0, len(KINDS) - 1),
            "applied_on": (age, -OLDEST_COAT_DAYS, LATEST_COAT_DAYS),
            "nominal_life_days": (self.nominal_life_days, *LIFE_DAYS),
            "log_rate": (self.log_rate, *LOG_RATE),
            "log_rate_sd": (self.log_rate_sd, *LOG_RATE_SD),
        }
        for name, (column, low, high) in bounds.items():
            if len(column) != len(self.habit):
                yield FieldError(name, f"has {len(column)} entries, not {len(self.habit)}")
            elif (wrong := np.flatnonzero((column < low) | (column > high))).size:
                yield FieldError(f"{name}[{wrong[0]}]", f"and {wrong.size - 1} others lie beyond {low:g} to {high:g}")
        if np.isnan(self.log_rate).any() or np.isnat(self.applied_on).any():
            yield FieldError("coats", "a day or a log rate is missing")


@dataclass(frozen=True, eq=False)
class DueDays:
    """By coat, in the order they came; NaT past the horizon."""

    early: NDArray[np.datetime64]
    likely: NDArray[np.datetime64]
    late: NDArray[np.datetime64]


def due_days(
    habits: Sequence[Habit],
    coats: Coats,
    as_of: date,
    parameters: Mapping[str, float] = DEFAULTS,
    horizon_years: int = 5,
) -> DueDays:
    """Early, likely and late due day of every coat. Raises InputErrors."""
    refuse(span_errors(as_of, horizon_years))
    refuse([*_habit_errors(habits, as_of), *coats.errors(len(habits), as_of)])
    first = np.append(coats.applied_on, np.datetime64(as_of, "D")).min()
    days = np.arange(first, np.datetime64(as_of + timedelta(days=round(horizon_years * 365.25)), "D") + 1)
    wearing = _wearing(coats, first, parameters)
    order = np.argsort(wearing.row)
    wearing = wearing.taken(order)
    bounds = np.searchsorted(coats.habit[order], np.arange(len(habits) + 1))
    reached = np.empty((len(order), 3), dtype=np.int64)
    for index, acting in _loads(habits, np.flatnonzero(np.diff(bounds)), days, as_of, parameters):
        mine = slice(bounds[index], bounds[index + 1])
        reached[order[mine]] = days_reaching(acting, wearing.taken(mine))
    return DueDays(*np.where(reached < len(days), first + reached, np.datetime64("NaT")).T)


def _loads(
    habits: Sequence[Habit], wanted: Iterable[int], days: Days, as_of: date, parameters: Mapping[str, float]
) -> Iterator[tuple[int, Load]]:
    """Each wanted habit with what acts by day; those that differ in storage alone follow each other and share it."""
    sites: dict[Site, dict[Habit, list[int]]] = {}
    for index in wanted:
        habit = habits[index]
        riding = replace(habit, use=replace(habit.use, storage=Storage.HEATED))
        sites.setdefault(habit.site, {}).setdefault(riding, []).append(index)
    for site, ridings in sites.items():
        around = surroundings(site, days, parameters)
        for riding, members in ridings.items():
            acting = load(site, riding.use, days, as_of, parameters, riding.cleaned_on, around)
            for index in members:
                yield index, acting.stored(habits[index].use.storage)


def _habit_errors(habits: Sequence[Habit], as_of: date) -> Iterator[FieldError]:
    for index, habit in enumerate(habits):
        for error in use_errors(habit.use, as_of):
            yield FieldError(f"habits[{index}].{error.field}", error.message)


def _wearing(coats: Coats, first: np.datetime64, parameters: Mapping[str, float]) -> Wearing:
    """What each coat is worn by, from tables over kinds and zones; coats that wear alike share a row."""

    def of_kind(name: str) -> Array:
        return np.array([parameters[f"coat.{kind}.{name}"] for kind in KINDS])[coats.kind]

    def of_zone(name: str) -> Array:
        return np.array([parameters[f"zone.{zone}.{name}"] for zone in COATED_ZONES])[coats.zone]

    own_life = np.isfinite(coats.nominal_life_days)
    life = np.where(own_life, coats.nominal_life_days, of_kind("nominal_life_days"))
    age_share, spray = of_kind("age_share"), of_zone("spray")
    scatter = np.fmin(coats.log_rate_sd, np.array([band_log_sd(kind, parameters) for kind in KINDS])[coats.kind])
    sides = np.array([-1.0, 0.0, 1.0]) * parameters["band.z"]
    lives, life_index = np.unique(life, return_inverse=True)
    row = (coats.habit * len(COATED_ZONES) + coats.zone) * len(KINDS) + coats.kind
    return Wearing(
        by_age=age_share * of_zone("heat") / life,
        by_exposure=(1.0 - age_share) / life,
        by_km=(0.5 + 0.5 * spray) / of_kind("life_km"),
        by_wash=1.0 / of_kind("life_washes"),
        spray=spray,
        budgets=np.exp(sides * scatter[:, None] - coats.log_rate[:, None]),
        row=row * len(lives) + life_index,
        start=(coats.applied_on - first).astype(np.int64),
    )
