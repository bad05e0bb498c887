"""Protection schedules: those there are, those that are wanted, and what stands in the way of one."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from bookings.models import Bike, CoatApplied, Visit
from bookings.rules.errors import InputErrors
from bookings.rules.types import VisitState
from reminders.models import CoatDue, Schedule
from reminders.protection.documents import Request, read_request
from reminders.protection.due import forecast
from reminders.protection.inspection import Learnt
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import Parameters
from reminders.protection.types import Forecast
from reminders.selectors.days import today
from reminders.selectors.place import climate_obstacle, site_input
from reminders.selectors.use import coats_input, use_input


def latest_schedule(bike: Bike) -> Schedule | None:
    """The newest schedule of a bike."""
    return Schedule.objects.filter(bike=bike).order_by("-visit__starts_at", "-pk").first()


def coats_due(bike: Bike) -> list[CoatDue]:
    """The estimate of every coat still on a bike: on each zone, those of the newest visit that coated it."""
    rows = CoatDue.objects.filter(schedule__bike=bike).select_related("coat__product", "coat__job__visit", "schedule")
    newest: dict[str, int] = {}
    current = []
    for row in rows.order_by("-coat__job__visit__starts_at", "coat__zone", "pk"):
        if newest.setdefault(row.coat.zone, row.coat.job_id) == row.coat.job_id:
            current.append(row)
    return sorted(current, key=lambda row: (row.due_likely is None, row.due_likely or date.max, row.coat.zone))


def forecast_input(visit: Visit, as_of: date, learnt: Learnt | None = None) -> dict[str, Any]:
    """What the coats of a visit are forecast from, as the forecast command takes it; stored with each schedule.

    Without `learnt` it is what the table alone says of them.
    """
    bike, coats = visit.bike, coats_input(visit, learnt)
    first = min((date.fromisoformat(coat["applied_on"]) for coat in coats), default=as_of)
    known = {**site_input(bike, first, as_of), **use_input(bike, first, as_of), "coats": coats}
    return {**known, "as_of": as_of.isoformat()}


def derived(schedule: Schedule) -> tuple[Request, Forecast, Parameters]:
    """A stored schedule computed again from what is stored with it and nothing else."""
    asked, parameters = read_request(schedule.inputs), DEFAULTS.fitting(schedule.parameters)
    return asked, forecast(asked.site, asked.use, asked.coats, asked.as_of, parameters), parameters


def live_schedules() -> QuerySet[Schedule]:
    """Schedules of coats still on a bike: no later visit has coated that zone anew."""
    later = CoatDue.objects.filter(
        schedule__bike=OuterRef("schedule__bike"),
        coat__zone=OuterRef("coat__zone"),
        schedule__visit__starts_at__gt=OuterRef("schedule__visit__starts_at"),
    )
    on_the_bike = CoatDue.objects.filter(schedule=OuterRef("pk")).exclude(Exists(later))
    return Schedule.objects.filter(Exists(on_the_bike)).select_related("visit__bike__rider")


def schedules_outdated(basis: str) -> QuerySet[Schedule]:
    """Live schedules asked with other numbers, another model or other weather, the longest standing first."""
    return live_schedules().exclude(basis=basis).order_by("computed_at", "pk")


def schedule_obstacle(visit: Visit, now: datetime) -> str:
    """Why the coats of one visit have no estimate, in words for staff; empty when the next plan will make one."""
    if reason := climate_obstacle():
        return reason
    try:
        read_request(forecast_input(visit, today(now)))
    except InputErrors as refused:
        return str(refused)
    return ""


def collected_without_schedule() -> QuerySet[Visit]:
    """Collected visits that left coats on a bike and have no schedule yet, oldest first."""
    return (
        Visit.objects.filter(state=VisitState.COLLECTED, schedule__isnull=True)
        .filter(Exists(CoatApplied.objects.filter(job__visit=OuterRef("pk"))))
        .select_related("bike__rider", "tier", "job")
        .order_by("job__collected_at", "pk")
    )


def schedules_outlived(day: date) -> QuerySet[Schedule]:
    """Schedules whose salt season is over: the next one asks for a new answer."""
    return Schedule.objects.filter(salt_to__lt=day).select_related("visit__bike__rider").order_by("pk")
