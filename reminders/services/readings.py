"""Readings, washes and tours told of a bike take the place of its habits in the estimate."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from bookings.models import Bike
from bookings.rules.errors import FieldError
from reminders import selectors
from reminders.models import OdometerReading, Told, Tour, Wash
from reminders.protection.odometer import Noted
from reminders.services.schedules import renew_bike
from reminders.services.telling import Teller, day_errors, keep, lock, refuse, strike

# Nobody rides further, day after day; more is a slip of a digit. Judgement: long-distance riders' records aside.
MOST_KM_PER_DAY = 2000
MOST_KM = 2_000_000
LONGEST_TOUR = timedelta(days=366)


@transaction.atomic
def note_odometer(*, bike: Bike, on: date, km: int, teller: Teller, now: datetime) -> OdometerReading:
    """What the odometer read on a day. A second word on the same day corrects the first. Raises InputErrors.

    A rider cannot correct what the workshop said; the workshop can correct both.
    """
    lock(bike)
    today = selectors.today(now)
    standing = selectors.standing(OdometerReading, bike)
    earlier = standing.filter(on=on).first()
    if earlier and earlier.km == km:
        return earlier
    refuse(day_errors("on", on, today) or _odometer_errors(bike, on, km, today))
    if earlier:
        refuse(_correction_errors(earlier, teller))
        strike(earlier, teller, now)
    kept = keep(OdometerReading, bike, teller, now, on=on, km=km)
    renew_bike(bike, now=now)
    return kept


@transaction.atomic
def note_wash(*, bike: Bike, on: date, teller: Teller, now: datetime) -> Wash:
    """A day on which the bike was washed. Raises InputErrors."""
    lock(bike)
    known = selectors.standing(Wash, bike).filter(on=on).first()
    if known:
        return known
    refuse(day_errors("on", on, selectors.today(now)))
    kept = keep(Wash, bike, teller, now, on=on)
    renew_bike(bike, now=now)
    return kept


@transaction.atomic
def note_tour(
    *, bike: Bike, first_day: date, last_day: date, km: int, salted: bool, teller: Teller, now: datetime
) -> Tour:
    """So many km between two days, both included. Raises InputErrors."""
    lock(bike)
    facts = {"first_day": first_day, "last_day": last_day, "km": km, "salted": salted}
    known = selectors.standing(Tour, bike).filter(**facts).first()
    if known:
        return known
    today = selectors.today(now)
    errors = [*day_errors("first_day", first_day, today), *day_errors("last_day", last_day, today)]
    refuse(errors or _tour_errors(bike, first_day, last_day, km))
    kept = keep(Tour, bike, teller, now, **facts)
    renew_bike(bike, now=now)
    return kept


def _correction_errors(earlier: OdometerReading, teller: Teller) -> list[FieldError]:
    if teller.is_rider and earlier.teller != Told.Teller.RIDER:
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
    return number_format(km, use_l10n=True, force_grouping=True)
