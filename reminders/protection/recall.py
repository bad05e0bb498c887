"""On which day to call each bike back, so that the losses of all bikes together are least and no day is overfull.

A transportation problem: bikes to days, days with room, and "not invited" with room for all. Where every bike takes
as long as every other, the cheapest plan is found and proved; where lengths differ (a generalised assignment), it is
found for problems of a small shop's size and, beyond, approached; `Plan.optimal` says which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date
from fractions import Fraction
from math import isfinite, lcm

import numpy as np
from numpy.typing import NDArray

from reminders.protection import recall_flow, recall_packing

# No sum of differences of losses comes near it, and twice it still fits 64 bits.
FORBIDDEN = 2**60
WEIGHT_DECIMALS = 6


@dataclass(frozen=True)
class Day:
    """A day with room for `capacity` minutes of work, or for so many bikes where bikes count 1 each."""

    day: date
    capacity: int


@dataclass(frozen=True)
class Bike:
    """A bike to call back: not before `earliest`, best on `ideal`, dearer beyond `latest`."""

    id: str | int
    earliest: date
    ideal: date
    latest: date
    minutes: int = 1


@dataclass(frozen=True)
class Weights:
    """Loss per day early, late, past the latest day and past the first salt; and of a bike that is not invited.

    In days; judgement of the workshop, from 0 to a million, of up to six decimals.
    """

    early: float = 1
    late: float = 3
    past_latest: float = 6
    salted: float = 10
    uninvited: float = 2000

    def __post_init__(self) -> None:
        for field in fields(self):
            weight = getattr(self, field.name)
            if not (isfinite(weight) and 0 <= weight <= 1_000_000):
                raise ValueError(f"the weight {field.name} must lie between 0 and a million")


@dataclass(frozen=True)
class Plan:
    """An invite day per bike, None where it is not invited, in the order of the bikes; the loss in days."""

    invites: tuple[tuple[str | int, date | None], ...]
    total_loss: float
    optimal: bool


DEFAULT_WEIGHTS = Weights()


def plan(
    days: Sequence[Day], bikes: Sequence[Bike], salt_from: date | None, weights: Weights = DEFAULT_WEIGHTS
) -> Plan:
    """The cheapest plan; where several cost the same, bikes with the earlier ideal, then id, get the earlier days.

    The order of `days` and `bikes` makes no difference to anybody's day. Raises ValueError when a day or an id is
    listed twice, or a capacity is below 0 or minutes below 1.
    """
    _check(days, bikes)
    open_days = sorted(days, key=lambda day: day.day)
    turn = sorted(range(len(bikes)), key=lambda number: _turn(bikes[number]))
    queue = [bikes[number] for number in turn]
    rates, scale = _whole_rates(weights)
    cost = loss_table([day.day for day in open_days], queue, salt_from, rates)
    room = np.array([day.capacity for day in open_days], dtype=np.int64)
    minutes = np.array([bike.minutes for bike in queue], dtype=np.int64)
    if len(set(minutes.tolist())) <= 1:
        places = room // minutes[0] if len(queue) else room
        chosen, optimal = recall_flow.assign(cost, places), True
    else:
        chosen, optimal = recall_packing.pack(cost, minutes, room)
    loss = sum(int(value) for value in cost[np.arange(len(queue)), chosen])
    invited = {
        bike.id: open_days[number].day if number < len(open_days) else None
        for bike, number in zip(queue, chosen.tolist(), strict=True)
    }
    total = Fraction(loss, scale)
    return Plan(
        invites=tuple((bike.id, invited[bike.id]) for bike in bikes),
        total_loss=int(total) if total.denominator == 1 else float(total),
        optimal=optimal,
    )


def loss_table(
    days: Sequence[date], bikes: Sequence[Bike], salt_from: date | None, rates: tuple[int, int, int, int, int]
) -> NDArray[np.int64]:
    """Loss of each bike (row) on each day (column) and, last, uninvited; FORBIDDEN where it may not come.

    `rates` are the weights early, late, past_latest, salted and uninvited in whole units. A day dearer than not
    being invited at all is forbidden too, as no cheapest plan uses it.
    """
    early, late, past_latest, salted, uninvited = rates
    on = np.array([day.toordinal() for day in days], dtype=np.int64)[None, :]
    earliest, ideal, latest = (
        np.array([getattr(bike, name).toordinal() for bike in bikes], dtype=np.int64)[:, None]
        for name in ("earliest", "ideal", "latest")
    )
    loss = early * np.maximum(0, ideal - on) + late * np.maximum(0, on - ideal)
    loss += past_latest * np.maximum(0, on - latest)
    if salt_from is not None:
        loss += salted * np.maximum(0, on - salt_from.toordinal())
    loss[(on < earliest) | (loss > uninvited)] = FORBIDDEN
    return np.hstack([loss, np.full((len(bikes), 1), uninvited, dtype=np.int64)])


def _whole_rates(weights: Weights) -> tuple[tuple[int, int, int, int, int], int]:
    """The weights as whole numbers of one unit, and that unit's count per day: sums are then exact, ties true."""
    exact = [Fraction(f"{getattr(weights, field.name):.{WEIGHT_DECIMALS}f}") for field in fields(weights)]
    scale = lcm(*(rate.denominator for rate in exact))
    early, late, past_latest, salted, uninvited = (int(rate * scale) for rate in exact)
    return (early, late, past_latest, salted, uninvited), scale


def _turn(bike: Bike) -> tuple[date, bool, int, str]:
    named = isinstance(bike.id, str)
    return bike.ideal, named, 0 if named else int(bike.id), str(bike.id)


def _check(days: Sequence[Day], bikes: Sequence[Bike]) -> None:
    if len({day.day for day in days}) < len(days):
        raise ValueError("a day is listed twice")
    if len({bike.id for bike in bikes}) < len(bikes):
        raise ValueError("a bike's id is listed twice")
    if any(day.capacity < 0 for day in days) or any(bike.minutes < 1 for bike in bikes):
        raise ValueError("capacities are 0 or more, minutes 1 or more")
