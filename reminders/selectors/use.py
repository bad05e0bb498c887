"""What is known of a bike and its coats, as the forecast command takes it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet

from bookings.models import Bike, CoatApplied, Visit
from reminders.protection.inspection import Learnt
from reminders.selectors import readings
from reminders.selectors.days import today


def use_input(bike: Bike, first: date, as_of: date) -> dict[str, Any]:
    """How a bike is kept and ridden: its habits, and from `first` on what has been told in their place."""
    washed = [row.on for row in reversed(readings.washed_on(bike))]
    toured = reversed(readings.tours(bike))
    return {
        "storage": bike.storage,
        "riding_months": bike.riding_months,
        "km_per_year": bike.km_per_year if bike.riding_months else 0,
        "washes_per_year": bike.washes_per_year,
        "odometer": [{"on": noted.on.isoformat(), "km": noted.km} for noted in readings.odometer(bike, as_of)],
        "tours": [
            {"from": row.first_day.isoformat(), "to": row.last_day.isoformat(), "km": row.km, "salted": row.salted}
            for row in toured
            if row.last_day >= first
        ],
        # Each treatment begins the record of washes anew: until one is told, the habit counts.
        "washed_on": [day.isoformat() for day in washed if first <= day <= as_of],
    }


def coats_input(visit: Visit, learnt: Learnt | None) -> list[dict[str, Any]]:
    """The coats of a visit, in the order of `coats_of`, each with what findings have taught, if anything."""
    return [_coat(coat, visit.bike_id, learnt) for coat in coats_of(visit)]


def coats_of(visit: Visit) -> QuerySet[CoatApplied]:
    """Coats put on during a visit, always in the same order."""
    return CoatApplied.objects.filter(job__visit=visit).select_related("product").order_by("pk")


def _coat(coat: CoatApplied, bike: int, learnt: Learnt | None) -> dict[str, Any]:
    facts: dict[str, Any] = {"zone": coat.zone, "coat": coat.kind, "applied_on": today(coat.applied_at).isoformat()}
    if coat.product.nominal_life_days:
        facts["nominal_life_days"] = coat.product.nominal_life_days
    if learnt and (bike in learnt.bikes or coat.product_id in learnt.products):
        rate = learnt.rate(bike, coat.product_id)
        facts |= {"log_rate": rate.mean, "log_rate_sd": rate.sd}
    return facts
