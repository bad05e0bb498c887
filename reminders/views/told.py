"""What was told of a bike as rows of a table: when, what, and who said so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from bookings.models import Bike
from reminders import selectors
from reminders.models import Told

MOST_SHOWN = 60


@dataclass(frozen=True)
class ToldRow:
    """One thing told. `row` is the key to take it back with, None where that is not for the reader to do."""

    on: date
    what: str
    who: str
    kind: str
    row: int | None
    remark: str = ""


def told_rows(bike: Bike, today: date, *, by_rider: bool) -> list[ToldRow]:
    """Everything told of a bike that stands, the latest first, as the rider or the workshop may see it."""
    rows = [*_odometer(bike, today, by_rider), *_washes(bike, by_rider), *_tours(bike, by_rider)]
    return sorted(rows, key=lambda row: row.on, reverse=True)[:MOST_SHOWN]


def _odometer(bike: Bike, today: date, by_rider: bool) -> Iterator[ToldRow]:
    for line in selectors.odometer_lines(bike, today):
        what = _("Odometer %(km)s km") % {"km": _figure(line.noted.km)}
        remark = "" if line.holds else _("not used: it does not fit the readings at drop-off, or the clock was changed")
        if line.row is None:
            yield ToldRow(line.noted.on, what, _("read at drop-off"), "odometer", None, remark)
        else:
            yield _row(line.row, line.noted.on, what, "odometer", by_rider, remark)


def _washes(bike: Bike, by_rider: bool) -> Iterator[ToldRow]:
    for wash in selectors.washed_on(bike):
        yield _row(wash, wash.on, _("Washed"), "wash", by_rider)


def _tours(bike: Bike, by_rider: bool) -> Iterator[ToldRow]:
    for tour in selectors.tours(bike):
        roads = _("on salted roads") if tour.salted else _("on roads without salt")
        said = {"km": _figure(tour.km), "roads": roads, "last": date_format(tour.last_day, "j F Y")}
        yield _row(tour, tour.first_day, _("%(km)s km %(roads)s, until %(last)s") % said, "tour", by_rider)


def _row(row: Told, on: date, what: str, kind: str, by_rider: bool, remark: str = "") -> ToldRow:
    own = row.teller == Told.Teller.RIDER
    if by_rider:
        who = _("you") if own else _("the workshop")
    else:
        who = _("%(name)s, the rider") % {"name": row.told_by} if own else row.told_by
    return ToldRow(on, what, who, kind, row.pk if own or not by_rider else None, remark)


def _figure(number: int) -> str:
    return number_format(number, use_l10n=True, force_grouping=True)
