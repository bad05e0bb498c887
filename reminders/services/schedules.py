"""The protection schedule: computed once the bike has gone home, and again when a salt season is behind it."""

from __future__ import annotations

import logging
from datetime import datetime

from django.db import transaction

from bookings.models import Bike, CoatApplied, Visit
from bookings.rules.errors import InputErrors
from reminders import selectors
from reminders.models import CoatDue, Schedule
from reminders.protection.documents import forecast_document, read_request
from reminders.protection.due import forecast
from reminders.protection.types import Forecast
from reminders.services import findings

log = logging.getLogger(__name__)
# A schedule takes some hundredths of a second; so many leave a run of the plan well under its tick.
RENEWED_PER_RUN = 100


def schedule_collected(*, now: datetime) -> int:
    """Give every collected bike with coats its schedule; gives how many were made.

    What stands in the way of one is told on the notices page by `selectors.schedule_obstacle`.
    """
    if selectors.climate_obstacle():
        return 0
    return _schedule_all(list(selectors.collected_without_schedule()), now)


def renew_outlived(*, now: datetime) -> int:
    """Ask again for bikes whose salt season is over, with what the odometer has said since; gives how many."""
    if selectors.climate_obstacle():
        return 0
    return _schedule_all([outlived.visit for outlived in selectors.schedules_outlived(selectors.today(now))], now)


def renew_outdated(*, now: datetime, most: int = RENEWED_PER_RUN) -> int:
    """Ask again where the numbers, the model, the weather or what was learnt have changed; at most `most` a run.

    Safe to run any number of times: a schedule asked on the present basis is not asked again. One that is refused
    keeps its answer, says why, and holds up nobody.
    """
    if selectors.climate_obstacle() or not findings.reckon_outdated(now=now):
        return 0
    basis = selectors.knowledge().basis
    return _schedule_all([outdated.visit for outdated in selectors.schedules_outdated(basis)[:most]], now)


def renew_bike(bike: Bike, *, now: datetime) -> int:
    """Ask again at once, because more is known of a bike than before; gives how many schedules were made."""
    if selectors.climate_obstacle():
        return 0
    findings.reckon_bike(bike, now=now)
    live = selectors.live_schedules().filter(bike=bike).order_by("pk")
    return _schedule_all([schedule.visit for schedule in live], now)


def _schedule_all(visits: list[Visit], now: datetime) -> int:
    if not visits:
        return 0
    known = selectors.knowledge()
    return sum(_schedule(visit, known, now) for visit in visits)


@transaction.atomic
def _schedule(visit: Visit, known: selectors.Knowledge, now: datetime) -> bool:
    # One at a time writes a visit's schedule, and reads what was told of the bike only then: a plan that began before
    # a rider told something can therefore not put an older answer in place of a newer one. Older knowledge of all
    # bikes leaves its older basis, and the next run of the plan asks again.
    Visit.objects.select_for_update().get(pk=visit.pk)
    day = selectors.today(now)
    inputs = selectors.forecast_input(visit, day, known.learnt)
    try:
        asked = read_request(inputs)
        answer = forecast(asked.site, asked.use, asked.coats, asked.as_of, known.parameters)
    except InputErrors as refused:
        log.warning("visit %s has no schedule: %s", visit.pk, refused)
        Schedule.objects.filter(visit=visit).update(basis=known.basis, refusal=str(refused)[:300])
        return False
    season = answer.salt_season
    schedule, _ = Schedule.objects.update_or_create(
        visit=visit,
        defaults={
            "bike": visit.bike,
            "computed_at": now,
            "as_of": day,
            "model_version": answer.model_version,
            "inputs": inputs,
            "parameters": dict(known.parameters),
            "basis": known.basis,
            "refusal": "",
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
