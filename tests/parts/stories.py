"""Visits played through the real services, as far as a test needs them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

from bookings import selectors
from bookings.models import Bike, BookingRequest, Product, Tier, Visit
from bookings.rules import safety
from bookings.rules.types import BikeKind, CoatKind, Condition, Method, RoadSalt, Storage, Zone
from bookings.services import bookings, jobs, requests
from bookings.services.jobs import DropOffFacts
from bookings.services.requests import BikeFacts, RiderFacts

# A Monday morning in autumn.
MORNING = datetime(2026, 10, 5, 9, 0, tzinfo=UTC)
STAFF = "Morgan"
COMMUTER = BikeFacts(
    description="Grey twin",
    registration="TE57 ING",
    storage=Storage.OUTSIDE,
    km_per_year=12_000,
    washes_per_year=24,
    road_salt=RoadSalt.NORMAL,
)
COATS = (
    (Zone.FRAME, CoatKind.CLEAR_FILM, Method.MIST),
    (Zone.FASTENERS, CoatKind.HEAVY_FILM, Method.BRUSH),
    (Zone.PAINT, CoatKind.CERAMIC, Method.MACHINE),
)


def pencilled(
    now: datetime = MORNING,
    *,
    name: str = "Ines Halloway",
    email: str = "ines@example.org",
    phone: str = "+447700900123",
    tier: str = "full-treatment",
    bike: BikeFacts | Bike = COMMUTER,
    recall_agreed: bool = True,
) -> Visit:
    """Booked online and given the first free time."""
    package = Tier.objects.get(code=tier)
    request = requests.receive(
        submission_key=uuid4(),
        source=BookingRequest.Source.ONLINE,
        rider=RiderFacts(name, email, phone),
        bike=bike,
        tier=package,
        condition=Condition.CRUSTED,
        recall_agreed=recall_agreed,
        now=now,
    )
    length = selectors.length_for(package, BikeKind(request.bike.kind), Condition.CRUSTED)
    start = selectors.free_starts(minutes=length.promised_minutes + 60, now=now, limit=1)[0].start
    return bookings.pencil(request=request, start=start, now=now, actor=name)


def confirmed(now: datetime = MORNING, **facts: object) -> Visit:
    """Pencilled, then confirmed over the phone an hour later."""
    visit = pencilled(now, **facts)  # type: ignore[arg-type]
    return bookings.confirm(visit=visit, now=now + timedelta(hours=1), actor=STAFF)


def ready(now: datetime = MORNING, **facts: object) -> tuple[Visit, datetime]:
    """Worked on, signed off and cured; with the moment it became ready."""
    visit = confirmed(now, **facts)
    moment = visit.starts_at
    job = jobs.drop_off(visit=visit, facts=DropOffFacts(21_500, "7"), now=moment, actor=STAFF)
    jobs.start_work(visit=visit, now=moment, actor=STAFF)
    for zone, kind, method in COATS:
        product = Product.objects.filter(coat_kind=kind).first()
        assert product is not None
        jobs.record_coat(job=job, zone=zone, product=product, method=method, now=moment, actor=STAFF)
    for item in safety.open_items([], False):
        jobs.sign_off(job=job, item=item, now=moment, actor=STAFF)
    job = jobs.finish_work(visit=visit, now=moment + timedelta(hours=3), actor=STAFF)
    assert job.cured_at is not None
    jobs.make_ready(visit=visit, now=job.cured_at, actor=STAFF)
    visit.refresh_from_db()
    return visit, job.cured_at


def collected(now: datetime = MORNING, **facts: object) -> tuple[Visit, datetime]:
    """Gone home an hour after it was ready; with that moment."""
    visit, moment = ready(now, **facts)
    jobs.hand_over(visit=visit, collected_by="Ines Halloway", now=moment + timedelta(hours=1), actor=STAFF)
    visit.refresh_from_db()
    return visit, moment + timedelta(hours=1)
