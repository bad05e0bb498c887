"""Riders by the thousand with a visit tomorrow each, all invented, and the notices they are owed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction

from bookings.models import Bay, Bike, BookingRequest, Rider, Tier, Visit
from bookings.rules.types import VisitState
from config.demo.shop import open_shop
from reminders.models import Notice
from reminders.services.outbox import owe

SPACE = UUID("5a1d0f4e-51b6-4a6f-9d0c-0f3a5f6f7c10")


@transaction.atomic
def book(count: int, now: datetime) -> list[Visit]:
    """`count` confirmed visits on the day after `now`, one of each of as many riders; no bay is held."""
    open_shop()
    tiers, bay = list(Tier.objects.all()), Bay.objects.first()
    assert bay is not None
    riders = Rider.objects.bulk_create(
        Rider(name=f"Rider No. {number}", email=f"rider{number}@example.org", created_at=now) for number in range(count)
    )
    bikes = Bike.objects.bulk_create(
        Bike(rider=rider, description="Grey twin", registration=f"RB{number:05d}", created_at=now)
        for number, rider in enumerate(riders)
    )
    requests = BookingRequest.objects.bulk_create(
        BookingRequest(
            submission_key=uuid5(SPACE, str(number)), source="online", bike=bike, tier=tiers[0], created_at=now
        )
        for number, bike in enumerate(bikes)
    )
    start = datetime(now.year, now.month, now.day, 9, tzinfo=UTC) + timedelta(days=1)
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


@transaction.atomic
def owe_all(visits: list[Visit], kind: Notice.Kind, due_at: datetime, now: datetime) -> None:
    """One notice of `kind` for each visit, all due at one moment."""
    cycles = {Notice.Kind.DAY_BEFORE: lambda visit: visit.starts_at.date().isoformat()}
    for visit in visits:
        owe(
            kind=kind,
            rider=visit.bike.rider,
            subject_key=f"visit:{visit.pk}",
            cycle=cycles.get(kind, lambda visit: str(visit.calendar_sequence))(visit),
            due_at=due_at,
            not_after=visit.starts_at - timedelta(hours=1),
            now=now,
            bike=visit.bike,
            visit=visit,
        )
