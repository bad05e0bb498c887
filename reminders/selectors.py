"""All reading of stages four to six."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from bookings import selectors as bookings
from bookings.models import Bike, ClimateMonth, CoatApplied, Job, Rider, Visit
from bookings.rules.errors import InputErrors
from bookings.rules.transitions import ENDED
from bookings.rules.types import VisitState
from reminders.models import CoatDue, Notice, Recall, RecallConsent, Schedule, Suppression
from reminders.protection.documents import read_request
from reminders.timing import QuietHours

MONTHS = 12
LATE_AFTER = timedelta(minutes=15)
# A bike treated so shortly before is as ready for the winter as it can be.
FRESH = timedelta(days=60)


def today(now: datetime) -> date:
    """The shop's own day at `now`."""
    return now.astimezone(bookings.require_shop().zone).date()


def start_day(visit: Visit) -> date:
    """The shop's own day on which the work on a visit starts."""
    return today(visit.starts_at)


def quiet_hours() -> QuietHours:
    """The shop's hours in which reminders wait."""
    shop = bookings.require_shop()
    return QuietHours(shop.zone, shop.quiet_from, shop.quiet_until)


def agrees_to_recall(rider: Rider) -> bool:
    """Whether the rider's yes to recall mail stands."""
    return RecallConsent.objects.filter(rider=rider, withdrawn_at__isnull=True).exists()


def suppressed(address: str) -> str:
    """Why no mail may go to an address, or an empty text."""
    found = Suppression.objects.filter(address=address.lower()).first()
    return found.reason or "suppressed" if found else ""


# Protection schedule


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


def forecast_input(visit: Visit, as_of: date) -> dict[str, Any]:
    """What the coats of a visit are forecast from, as the forecast command takes it; stored with each schedule.

    Without the shop's twelve months of climate the document lacks it, and reading it says so.
    """
    shop, bike = bookings.require_shop(), visit.bike
    return {
        "climate": _climate(),
        "road_salt": bike.road_salt,
        "so2_deposition_mg_m2_day": shop.so2_deposition_mg_m2_day,
        "chloride_deposition_mg_m2_day": shop.chloride_deposition_mg_m2_day,
        "storage": bike.storage,
        "riding_months": bike.riding_months,
        "km_per_year": bike.km_per_year if bike.riding_months else 0,
        "washes_per_year": bike.washes_per_year,
        "odometer": _odometer(bike, as_of),
        "coats": [_coat(coat, today(coat.applied_at)) for coat in coats_of(visit)],
        "as_of": as_of.isoformat(),
    }


def coats_of(visit: Visit) -> QuerySet[CoatApplied]:
    """Coats put on during a visit, always in the same order."""
    return CoatApplied.objects.filter(job__visit=visit).select_related("product").order_by("pk")


def _climate() -> dict[str, Any]:
    rows = list(ClimateMonth.objects.order_by("month"))
    names = ["temperature_c", "relative_humidity_percent", "minimum_temperature_c"]
    if rows and all(row.frost_days is not None for row in rows):
        names.append("frost_days")
    return {name: [getattr(row, name) for row in rows] for name in names}


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


def climate_obstacle() -> str:
    """Why no due date can be estimated at all, in words for staff; empty when it can."""
    known = ClimateMonth.objects.count()
    if known == MONTHS:
        return ""
    return f"The shop's climate has {known} of {MONTHS} months. Add the rest under Records, then due months follow."


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


# Recall


@dataclass(frozen=True)
class RecallCase:
    """A bike whose protection would not outlast the coming salt season, and the coat that says so."""

    bike: Bike
    worst: CoatDue
    season: str
    salt_from: date


def recall_cases(now: datetime) -> list[RecallCase]:
    """Bikes to be called back now: the notice day has come, the season has not, nothing is booked or said yet."""
    day = today(now)
    notice_before = day + timedelta(days=bookings.require_shop().recall_lead_days)
    booked = Visit.objects.filter(bike=OuterRef("schedule__bike")).exclude(state__in=ENDED)
    sold = Recall.objects.filter(bike=OuterRef("schedule__bike"), answer=Recall.Answer.SOLD)
    pressing = (
        CoatDue.objects.filter(act_by__lte=notice_before, schedule__salt_from__gt=day)
        .exclude(Exists(booked) | Exists(sold))
        .select_related("schedule__bike__rider", "coat")
        .order_by("act_by", "pk")
    )
    cases: dict[int, RecallCase] = {}
    for row in pressing:
        bike = row.schedule.bike
        if bike.pk not in cases and (case := _case(bike, row, now)):
            cases[bike.pk] = case
    return list(cases.values())


def _case(bike: Bike, row: CoatDue, now: datetime) -> RecallCase | None:
    schedule = row.schedule
    if schedule.salt_from is None or schedule.salt_to is None or now - row.coat.applied_at < FRESH:
        return None
    season = season_name(schedule.salt_from, schedule.salt_to)
    if Recall.objects.filter(bike=bike, season=season).exists():
        return None
    if row.pk not in {current.pk for current in coats_due(bike)}:
        return None  # a later visit has put something newer on that zone
    return RecallCase(bike, row, season, schedule.salt_from)


def season_name(salt_from: date, salt_to: date) -> str:
    """A winter's name: 2026-27, or 2026 where it lies within one year."""
    return f"{salt_from.year}-{salt_to.year % 100:02d}" if salt_to.year > salt_from.year else str(salt_from.year)


def recall_by_phone(now: datetime) -> list[RecallCase]:
    """Bikes due for recall whose riders said yes to a word before winter but cannot be mailed."""
    return [
        case
        for case in recall_cases(now)
        if agrees_to_recall(case.bike.rider) and (not case.bike.rider.email or suppressed(case.bike.rider.email))
    ]


# Messages


def notices_for(visit: Visit) -> QuerySet[Notice]:
    """Every notice about a visit, in the order they were owed."""
    return Notice.objects.filter(visit=visit).order_by("created_at", "pk")


def late(now: datetime) -> Q:
    """Notices that should have left a while ago."""
    return Q(state__in=(Notice.State.WAITING, Notice.State.SENDING), due_at__lt=now - LATE_AFTER)


def late_or_doubtful(now: datetime) -> QuerySet[Notice]:
    """Notices somebody should look at: late, in doubt or failed."""
    troubled = Q(state__in=(Notice.State.IN_DOUBT, Notice.State.FAILED))
    return notices().filter(late(now) | troubled).order_by("due_at", "pk")


def notices() -> QuerySet[Notice]:
    """Notices with what every list shows."""
    return Notice.objects.select_related("rider", "bike", "visit__tier")


def without_email(visits: Iterable[Visit]) -> list[Visit]:
    """Visits whose riders get no mail, so somebody has to ring them."""
    return [visit for visit in visits if not visit.bike.rider.email]
