"""What is known of a bike and its coats, as the forecast command takes it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet

from bookings.models import Bike, CoatApplied, Job, Visit
from reminders.selectors.days import today


def use_input(bike: Bike, as_of: date) -> dict[str, Any]:
    """How a bike is kept and ridden, with what its odometer has said."""
    return {
        "storage": bike.storage,
        "riding_months": bike.riding_months,
        "km_per_year": bike.km_per_year if bike.riding_months else 0,
        "washes_per_year": bike.washes_per_year,
        "odometer": _odometer(bike, as_of),
    }


def coats_input(visit: Visit) -> list[dict[str, Any]]:
    """The coats of a visit, in the order of `coats_of`."""
    return [_coat(coat, today(coat.applied_at)) for coat in coats_of(visit)]


def coats_of(visit: Visit) -> QuerySet[CoatApplied]:
    """Coats put on during a visit, always in the same order."""
    return CoatApplied.objects.filter(job__visit=visit).select_related("product").order_by("pk")


def _coat(coat: CoatApplied, applied_on: date) -> dict[str, Any]:
    facts: dict[str, Any] = {"zone": coat.zone, "coat": coat.kind, "applied_on": applied_on.isoformat()}
    if coat.product.nominal_life_days:
        facts["nominal_life_days"] = coat.product.nominal_life_days
    return facts


def _odometer(bike: Bike, as_of: date) -> list[dict[str, Any]]:
    """Readings at drop-off, one a day; those before a change of clock, seen as a fall, are left out."""
    jobs = Job.objects.filter(visit__bike=bike).order_by("dropped_off_at")
    readings: dict[date, int] = {}
    for job in jobs:
        day = today(job.dropped_off_at)
        if readings and job.odometer_km < list(readings.values())[-1]:
            readings.clear()
        if day <= as_of:
            readings[day] = job.odometer_km
    return [{"on": day.isoformat(), "km": km} for day, km in readings.items()]
