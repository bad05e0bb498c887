"""What was told of a bike and still stands, and what of it is used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

from django.db.models import QuerySet

from bookings.models import Bike, CoatApplied, Job
from reminders.models import OdometerReading, Told, Tour, Wash, ZoneFinding
from reminders.models.readings import STANDS
from reminders.protection.odometer import Noted, sound_readings
from reminders.selectors.days import today

# A younger coat has hardly been worn, so what is found on it tells of something else. Judgement.
YOUNGEST_TO_GRADE = timedelta(days=14)

Row = TypeVar("Row", bound=Told)


@dataclass(frozen=True)
class OdometerLine:
    """One reading for a page: `row` is None for those of the job record; `holds` when the estimate uses it."""

    noted: Noted
    row: OdometerReading | None
    holds: bool


def standing(kind: type[Row], bike: Bike) -> QuerySet[Row]:
    """Rows of one kind told of a bike and not taken back, oldest first."""
    return kind._default_manager.filter(STANDS, bike=bike)


def odometer_lines(bike: Bike, until: date) -> list[OdometerLine]:
    """Every reading of a bike's odometer up to a day, newest first, drop-offs among them."""
    jobs = Job.objects.filter(visit__bike=bike).order_by("dropped_off_at", "pk")
    told: list[tuple[Noted, OdometerReading | None]] = [
        (Noted(today(job.dropped_off_at), job.odometer_km, at_drop_off=True), None) for job in jobs
    ]
    told += [(Noted(row.on, row.km, at_drop_off=False), row) for row in standing(OdometerReading, bike)]
    told = [(noted, row) for noted, row in told if noted.on <= until]
    sound = set(sound_readings(noted for noted, _ in told))
    lines = [OdometerLine(noted, row, noted in sound) for noted, row in told]
    return sorted(lines, key=lambda line: (line.noted.on, line.noted.at_drop_off), reverse=True)


def odometer(bike: Bike, until: date) -> list[Noted]:
    """The readings the estimate uses, oldest first, one a day."""
    held = {line.noted for line in odometer_lines(bike, until) if line.holds}
    return sorted(held, key=lambda noted: noted.on)


def tours(bike: Bike) -> list[Tour]:
    """Tours that stand, the latest first."""
    return list(standing(Tour, bike).order_by("-first_day", "-pk"))


def washed_on(bike: Bike) -> list[Wash]:
    """Washes that stand, the latest first."""
    return list(standing(Wash, bike).order_by("-on", "-pk"))


def findings(bike: Bike) -> list[ZoneFinding]:
    """Findings that stand, the latest first."""
    rows = standing(ZoneFinding, bike).select_related("coat__product", "coat__job__visit__bike")
    return list(rows.order_by("-on", "coat__zone", "pk"))


def coats_to_grade(bike: Bike, on: date) -> dict[str, list[CoatApplied]]:
    """The coats a bike came with on a day, by zone: of each the newest that had left the house long enough before."""
    rows = CoatApplied.objects.filter(job__visit__bike=bike, job__collected_at__isnull=False)
    newest: dict[str, list[CoatApplied]] = {}
    for coat in rows.select_related("product", "job__visit__bike").order_by("-job__collected_at", "zone", "pk"):
        if on - today(coat.applied_at) < YOUNGEST_TO_GRADE:
            continue
        known = newest.setdefault(coat.zone, [])
        if not known or known[0].job_id == coat.job_id:
            known.append(coat)
    return newest
