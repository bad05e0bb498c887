"""Stage one: somebody asks for work on a bike."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from bookings import signals
from bookings.models import Bike, BookingRequest, Rider, Tier
from bookings.rules.types import BikeKind, Condition, RoadSalt, Storage
from bookings.services.contention import transacted


@dataclass(frozen=True)
class RiderFacts:
    """Who asks; email, phone or both."""

    name: str
    email: str = ""
    phone_e164: str = ""


@dataclass(frozen=True)
class BikeFacts:
    """The bike and how it lives."""

    description: str
    registration: str = ""
    kind: BikeKind = BikeKind.BARE
    storage: Storage = Storage.UNHEATED
    riding_months: tuple[int, ...] = tuple(range(1, 13))
    km_per_year: int = 6000
    washes_per_year: int = 12
    road_salt: RoadSalt = RoadSalt.NORMAL


@transacted
def receive(
    *,
    submission_key: UUID,
    source: BookingRequest.Source,
    tier: Tier,
    now: datetime,
    rider: RiderFacts | Rider | None = None,
    bike: BikeFacts | Bike,
    condition: Condition = Condition.DIRTY,
    remarks: str = "",
    recall_agreed: bool = False,
    taken_by: str = "",
) -> BookingRequest:
    """Keep a request; the same `submission_key` a second time gives the first request back, unchanged."""
    known = BookingRequest.objects.filter(submission_key=submission_key).first()
    if known is not None:
        return known
    try:
        # A twin of this submit may be writing too: the savepoint takes its rider and bike back along with it.
        with transaction.atomic():
            request = BookingRequest.objects.create(
                submission_key=submission_key,
                source=source,
                bike=bike if isinstance(bike, Bike) else _bike(_rider(rider, now), bike, now),
                tier=tier,
                condition_told=condition,
                remarks=remarks,
                recall_agreed=recall_agreed,
                taken_by=taken_by,
                created_at=now,
            )
    except IntegrityError:
        twin = BookingRequest.objects.filter(submission_key=submission_key).first()
        if twin is None:
            raise  # not a second submit: the facts themselves were refused
        return twin
    signals.request_received.send(BookingRequest, request=request, now=now)
    return request


def _rider(facts: RiderFacts | Rider | None, now: datetime) -> Rider:
    """The rider these facts name. Known only when email and phone both agree: a stranger who types somebody's
    address must neither see nor change what is kept about them."""
    if isinstance(facts, Rider):
        return facts
    if facts is None:
        raise ValueError("a request needs a rider or a known bike")
    if facts.email and facts.phone_e164:
        known = Rider.objects.filter(email__iexact=facts.email, phone_e164=facts.phone_e164).first()
        if known is not None:
            return known
    return Rider.objects.create(name=facts.name, email=facts.email, phone_e164=facts.phone_e164, created_at=now)


def _bike(rider: Rider, facts: BikeFacts, now: datetime) -> Bike:
    """The rider's bike, with its habits brought up to date when it has been here before."""
    habits = asdict(facts) | {"riding_months": sorted(facts.riding_months)}
    plate = _bare_plate(facts.registration)
    known = next((bike for bike in rider.bikes.all() if plate and _bare_plate(bike.registration) == plate), None)
    if known is None:
        return Bike.objects.create(rider=rider, created_at=now, **habits)
    for name, value in habits.items():
        setattr(known, name, value)
    known.save(update_fields=list(habits))
    return known


def _bare_plate(registration: str) -> str:
    """A registration without what people leave out or put in as they please."""
    return registration.translate(str.maketrans("", "", " -·.")).casefold()
