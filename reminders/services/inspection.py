"""What staff found on a returning bike, zone by zone, kept beside what the table had made of those coats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from bookings.models import Bike, CoatApplied
from bookings.rules.errors import FieldError
from bookings.rules.types import Zone
from reminders import selectors
from reminders.models import ZoneFinding
from reminders.protection.types import CoatForecast
from reminders.services.findings import expected, worn_by
from reminders.services.schedules import renew_bike
from reminders.services.telling import Teller, day_errors, keep, lock, refuse, strike


@dataclass(frozen=True)
class ZoneFound:
    """One zone as graded: ISO 10289 rating 0–10 of the corroded area, and the share of film left if anybody looked."""

    zone: Zone
    rating: int
    film_left: float | None = None


@transaction.atomic
def note_findings(*, bike: Bike, on: date, found: Sequence[ZoneFound], teller: Teller, now: datetime) -> int:
    """Keep what was found on one day; a second grading of a zone on that day corrects the first. Gives how many.

    Raises InputErrors with `on` or the zone as field, and without a climate, for then nothing was expected.
    """
    lock(bike)
    today = selectors.today(now)
    refuse(day_errors("on", on, today))
    coats = selectors.coats_to_grade(bike, on)
    words = _("There was no coat on it, or too young a one, on that day.")
    refuse(FieldError(one.zone, words) for one in found if one.zone not in coats)
    parameters = selectors.parameters_in_force()
    estimates: dict[int, CoatForecast] = {}
    for visit in {coat.job.visit for one in found for coat in coats[one.zone]}:
        estimates |= expected(visit, parameters, today=today)
    for one in found:
        coat = min(coats[one.zone], key=lambda coat: (worn_by(estimates[coat.pk], on), coat.pk))
        _keep(bike, on, one, coat, worn_by(estimates[coat.pk], on), teller, now)
    renew_bike(bike, now=now)
    return len(found)


def _keep(
    bike: Bike, on: date, found: ZoneFound, coat: CoatApplied, worn: float, teller: Teller, now: datetime
) -> None:
    earlier = selectors.standing(ZoneFinding, bike).filter(on=on, coat__zone=coat.zone).first()
    if earlier and (earlier.rating, earlier.film_left) == (found.rating, found.film_left):
        return
    if earlier:
        strike(earlier, teller, now)
    facts = {"coat": coat, "rating": found.rating, "film_left": found.film_left}
    keep(ZoneFinding, bike, teller, now, on=on, forecast_worn=worn, **facts)
