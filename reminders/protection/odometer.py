"""Which of the readings told of one odometer can be true together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Noted:
    """What an odometer was said to read, in km; `at_drop_off` when the workshop itself wrote it down."""

    on: date
    km: int
    at_drop_off: bool


def sound_readings(noted: Iterable[Noted]) -> list[Noted]:
    """The readings that hold, by date, one a day, never falling.

    Readings at drop-off outweigh others. When they fall, the clock was changed, and only what was read from then on
    counts. Any other reading that does not fit between its neighbours is set aside.
    """
    by_day: dict[date, Noted] = {}
    # Sorted so that the last written of a day stays: at drop-off before all others, then the larger figure.
    for reading in sorted(noted, key=lambda reading: (reading.on, reading.at_drop_off, reading.km)):
        by_day[reading.on] = reading
    newest_first = sorted(by_day.values(), key=lambda reading: reading.on, reverse=True)
    ceilings: list[Noted] = []
    lowest: int | None = None
    for reading in newest_first:
        fits = lowest is None or reading.km <= lowest
        if reading.at_drop_off:
            if not fits:
                break  # the clock was changed after this day
            lowest = reading.km
        if fits:
            ceilings.append(reading)
    return _rising(ceilings[::-1])


def _rising(readings: list[Noted]) -> list[Noted]:
    """Without those that fall below a reading kept before."""
    kept: list[Noted] = []
    for reading in readings:
        if not kept or reading.km >= kept[-1].km:
            kept.append(reading)
    return kept
