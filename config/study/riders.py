"""Riders by the thousand with a visit tomorrow each, all invented, and the notices they are owed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction

from bookings.models import Bay, Bike, BookingRequest, Rider, Tier, Visit
from bookings.rules.types import VisitState
from config.demo.shop import open_shop
from config.study.sink import DEAD_DOMAIN
from reminders.models import Notice, RecallConsent
from reminders.services.outbox import owe

AHEAD = timedelta(days=9)
LIVING_DOMAIN = "@example.org"
SPACE = UUID("5a1d0f4e-51b6-4a6f-9d0c-0f3a5f6f7c10")


@transaction.atomic
def book(count: int, now: datetime, dead: int = 0) -> list[Visit]:
    """`count` confirmed visits of as many riders, too far ahead for the plan to remind of them; no bay is held.

    The addresses of the last `dead` riders do not exist.
    """
    open_shop()
    tiers, bay = list(Tier.objects.all()), Bay.objects.first()
    assert bay is not None
    bikes = _bikes(count, now, dead)
    requests = BookingRequest.objects.bulk_create(
        BookingRequest(
            submission_key=uuid5(SPACE, str(number)), source="online", bike=bike, tier=tiers[0], created_at=now
        )
        for number, bike in enumerate(bikes)
    )
    start = datetime(now.year, now.month, now.day, 9, tzinfo=UTC) + AHEAD
    return Visit.objects.bulk_create(
        Visit(
            request=request,
            bike=request.bike,
            tier=tiers[number % len(tiers)],
            bay=bay,
            state=VisitState.CONFIRMED,
            starts_at=start,
            promised_at=start + timedelta(hours=6),
            booked_minutes=300,
            usual_minutes=240,
            calendar_uid=f"study{number}@example.org",
            calendar_stamp=now,
            created_at=now,
            changed_at=now,
        )
        for number, request in enumerate(requests)
    )


def _bikes(count: int, now: datetime, dead: int) -> list[Bike]:
    riders = Rider.objects.bulk_create(
        Rider(
            name=f"Rider No. {number}",
            email=f"rider{number}{DEAD_DOMAIN if number >= count - dead else LIVING_DOMAIN}",
            created_at=now,
        )
        for number in range(count)
    )
    return Bike.objects.bulk_create(
        Bike(rider=rider, description="Grey twin", registration=f"RB{number:05d}", created_at=now)
        for number, rider in enumerate(riders)
    )


@transaction.atomic
def owe_all(visits: list[Visit], kind: Notice.Kind, due_at: datetime, now: datetime) -> None:
    """One notice of `kind` for each visit, all due at one moment."""
    for visit in visits:
        cycle = str(visit.calendar_sequence)
        owe(
            kind=kind,
            rider=visit.bike.rider,
            subject_key=f"visit:{visit.pk}",
            cycle=visit.starts_at.date().isoformat() if kind == Notice.Kind.DAY_BEFORE else cycle,
            due_at=due_at,
            not_after=visit.starts_at - timedelta(hours=1),
            now=now,
            bike=visit.bike,
            visit=visit,
        )


@transaction.atomic
def owe_recalls(visits: list[Visit], now: datetime) -> None:
    """A recall notice to each rider, who agrees to it, its words frozen already: they would need a forecast."""
    RecallConsent.objects.bulk_create(
        RecallConsent(rider=visit.bike.rider, given_at=now, wording="yes", source="study") for visit in visits
    )
    for visit in visits:
        owe(
            kind=Notice.Kind.RECALL,
            rider=visit.bike.rider,
            subject_key=f"bike:{visit.bike_id}",
            cycle="study",
            due_at=now,
            not_after=None,
            now=now,
            bike=visit.bike,
        )
    words = {"subject_line": "Before winter", "text_body": "A day before winter.\n", "html_body": "<p>A day.</p>"}
    Notice.objects.filter(kind=Notice.Kind.RECALL).update(composed_at=now, **words)
