"""What riders and staff tell of a bike: checked, kept with who said it and when, and the estimate made again at once.

A mistake is taken back and stays on record; what is told twice is kept once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from bookings.models import Bike
from bookings.rules.errors import FieldError, InputErrors
from reminders import selectors
from reminders.models import OdometerReading, Told, Tour, Wash
from reminders.protection.odometer import Noted
from reminders.services.schedules import renew_bike

# Nobody rides further, day after day; more is a slip of a digit. Judgement: long-distance riders' records aside.
MOST_KM_PER_DAY = 2000
MOST_KM = 2_000_000
OLDEST = timedelta(days=3 * 366)
MOST_TOLD = 500
LONGEST_TOUR = timedelta(days=366)

Row = TypeVar("Row", bound=Told)


@dataclass(frozen=True)
class Teller:
    """Who speaks: the rider through their private page, or a member of staff."""

    kind: Told.Teller
    name: str


@transaction.atomic
def note_odometer(*, bike: Bike, on: date, km: int, teller: Teller, now: datetime) -> OdometerReading:
    """What the odometer read on a day. A second word on the same day corrects the first. Raises InputErrors.

    A rider cannot correct what the workshop said; the workshop can correct both.
    """
    _lock(bike)
    today = selectors.today(now)
    standing = selectors.standing(OdometerReading, bike)
    earlier = standing.filter(on=on).first()
    if earlier and earlier.km == km:
        return earlier
    _refuse(_day_errors("on", on, today) or _odometer_errors(bike, on, km, today))
    if earlier:
        _refuse(_correction_errors(earlier, teller))
        _strike(earlier, teller, now)
    return _keep(OdometerReading, bike, teller, now, on=on, km=km)


@transaction.atomic
def note_wash(*, bike: Bike, on: date, teller: Teller, now: datetime) -> Wash:
    """A day on which the bike was washed. Raises InputErrors."""
    _lock(bike)
    known = selectors.standing(Wash, bike).filter(on=on).first()
    if known:
        return known
    _refuse(_day_errors("on", on, selectors.today(now)))
    return _keep(Wash, bike, teller, now, on=on)


@transaction.atomic
def note_tour(
    *, bike: Bike, first_day: date, last_day: date, km: int, salted: bool, teller: Teller, now: datetime
) -> Tour:
    """So many km between two days, both included. Raises InputErrors."""
    _lock(bike)
    facts = {"first_day": first_day, "last_day": last_day, "km": km, "salted": salted}
    known = selectors.standing(Tour, bike).filter(**facts).first()
    if known:
        return known
    today = selectors.today(now)
    errors = [*_day_errors("first_day", first_day, today), *_day_errors("last_day", last_day, today)]
    _refuse(errors or _tour_errors(bike, first_day, last_day, km))
    return _keep(Tour, bike, teller, now, **facts)


@transaction.atomic
def take_back(*, row: Told, teller: Teller, now: datetime) -> bool:
    """Strike out what was told by mistake; False when it was struck out already, or is not the teller's to strike."""
    _lock(row.bike)
    fresh = selectors.standing(type(row), row.bike).filter(pk=row.pk).first()
    if fresh is None or (teller.kind == Told.Teller.RIDER and fresh.teller != Told.Teller.RIDER):
        return False
    _strike(fresh, teller, now)
    renew_bike(row.bike, now=now)
    return True


def _lock(bike: Bike) -> None:
    # Two people may tell of one bike at once; keys that other rows refer to stay free for them.
    Bike.objects.select_for_update(no_key=True).get(pk=bike.pk)


def _keep(kind: type[Row], bike: Bike, teller: Teller, now: datetime, **facts: object) -> Row:
    if selectors.standing(kind, bike).count() >= MOST_TOLD:
        _refuse(
            [FieldError("", _("So much is on record for this bike that no more can be added here. Please ring us."))]
        )
    row = kind._default_manager.create(bike=bike, teller=teller.kind, told_by=teller.name[:150], told_at=now, **facts)
    renew_bike(bike, now=now)
    return row


def _strike(row: Told, teller: Teller, now: datetime) -> None:
    row.taken_back_at, row.taken_back_by = now, teller.name[:150]
    row.save(update_fields=["taken_back_at", "taken_back_by"])


def _refuse(errors: Iterable[FieldError]) -> None:
    if found := list(errors):
        raise InputErrors(found)


def _day_errors(field: str, day: date, today: date) -> list[FieldError]:
    if day > today:
        return [FieldError(field, _("This day is still to come. Tell us once it is past."))]
    if day < today - OLDEST:
        return [FieldError(field, _("This day is too long ago to matter now: give one within the last three years."))]
    return []


def _correction_errors(earlier: OdometerReading, teller: Teller) -> list[FieldError]:
    if teller.kind == Told.Teller.RIDER and earlier.teller != Told.Teller.RIDER:
        said = _("We noted %(km)s km on that day. If that is wrong, please ring us.") % {"km": _figure(earlier.km)}
        return [FieldError("km", said)]
    return []


def _odometer_errors(bike: Bike, on: date, km: int, today: date) -> list[FieldError]:
    """Why a reading cannot be true beside those around it; one corrected on the same day does not count."""
    if not 0 <= km <= MOST_KM:
        return [FieldError("km", _("That is no reading of an odometer."))]
    others = [noted for noted in selectors.odometer(bike, today) if noted.on != on or noted.at_drop_off]
    before = max((noted for noted in others if noted.on <= on), key=lambda noted: noted.on, default=None)
    after = min((noted for noted in others if noted.on > on), key=lambda noted: noted.on, default=None)
    if before and before.on == on:
        return (
            [] if before.km == km else [FieldError("km", _("We read %(km)s km on that day ourselves.") % _said(before))]
        )
    if before and km < before.km:
        words = _(
            "That is less than on %(day)s, when it read %(km)s km. After a change of the clock, tell us at your visit."
        )
        return [FieldError("km", words % _said(before))]
    if after and km > after.km:
        return [FieldError("km", _("That is more than on %(day)s, when it read %(km)s km.") % _said(after))]
    for other in (before, after):
        if other and abs(km - other.km) > MOST_KM_PER_DAY * abs((on - other.on).days):
            words = _(
                "From %(km)s km on %(day)s that is more than anybody rides. Is there a digit too many or too few?"
            )
            return [FieldError("km", words % _said(other))]
    return []


def _tour_errors(bike: Bike, first_day: date, last_day: date, km: int) -> list[FieldError]:
    if last_day < first_day:
        return [FieldError("last_day", _("The last day lies before the first."))]
    if last_day - first_day > LONGEST_TOUR:
        return [FieldError("last_day", _("Tell of a tour of more than a year in parts."))]
    if km > MOST_KM_PER_DAY * ((last_day - first_day).days + 1):
        return [FieldError("km", _("That is more than anybody rides in these days."))]
    for other in selectors.tours(bike):
        # One may end on the day on which the next begins.
        if min(other.last_day, last_day) > max(other.first_day, first_day):
            words = _(
                "From %(first)s to %(last)s another tour is noted already. Take that one back first, if it was wrong."
            )
            said = {"first": date_format(other.first_day, "j F Y"), "last": date_format(other.last_day, "j F Y")}
            return [FieldError("first_day", words % said)]
    return []


def _said(noted: Noted) -> dict[str, str]:
    return {"km": _figure(noted.km), "day": date_format(noted.on, "j F Y")}


def _figure(km: int) -> str:
    return f"{km:,}"
