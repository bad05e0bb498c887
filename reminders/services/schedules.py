"""The protection schedule: computed once the bike has gone home, and again when a salt season is behind it."""

from __future__ import annotations

import logging
from datetime import datetime

from django.db import transaction

from bookings.models import CoatApplied, Visit
from bookings.rules.errors import InputErrors
from reminders import selectors
from reminders.models import CoatDue, Schedule
from reminders.protection.documents import forecast_document, read_request
from reminders.protection.due import forecast
from reminders.protection.types import Forecast

log = logging.getLogger(__name__)


def schedule_collected(*, now: datetime) -> int:
    """Give every collected bike with coats its schedule; gives how many were made.

    What stands in the way of one is told on the notices page by `selectors.schedule_obstacle`.
    """
    if selectors.climate_obstacle():
        return 0
    return sum(_schedule(visit, now) for visit in selectors.collected_without_schedule())


def renew_outlived(*, now: datetime) -> int:
    """Ask again for bikes whose salt season is over, with what the odometer has said since; gives how many."""
    if selectors.climate_obstacle():
        return 0
    return sum(_schedule(outlived.visit, now) for outlived in selectors.schedules_outlived(selectors.today(now)))


def _schedule(visit: Visit, now: datetime) -> bool:
    day = selectors.today(now)
    inputs = selectors.forecast_input(visit, day)
    try:
        asked = read_request(inputs)
        answer = forecast(asked.site, asked.use, asked.coats, asked.as_of)
    except InputErrors as refused:
        log.warning("visit %s has no schedule: %s", visit.pk, refused)
        return False
    with transaction.atomic():
        # One plan at a time writes a visit's schedule; a twin finds it written and writes the same again.
        Visit.objects.select_for_update().get(pk=visit.pk)
        season = answer.salt_season
        schedule, _ = Schedule.objects.update_or_create(
            visit=visit,
            defaults={
                "bike": visit.bike,
                "computed_at": now,
                "as_of": day,
                "model_version": answer.model_version,
                "inputs": inputs,
                "salt_from": season.from_ if season else None,
                "salt_to": season.to if season else None,
            },
        )
        _write_coats(schedule, list(selectors.coats_of(visit)), answer)
    return True


def _write_coats(schedule: Schedule, coats: list[CoatApplied], answer: Forecast) -> None:
    document = forecast_document(answer)["coats"]
    CoatDue.objects.filter(schedule=schedule).delete()
    CoatDue.objects.bulk_create(
        CoatDue(
            schedule=schedule,
            coat=coat,
            protection_left=estimate.protection_left,
            due_early=estimate.due_early,
            due_likely=estimate.due_likely,
            due_late=estimate.due_late,
            act_by=estimate.act_by,
            wear_share=written["wear_share"],
            extrapolated=estimate.extrapolated,
        )
        for coat, estimate, written in zip(coats, answer.coats, document, strict=True)
    )
