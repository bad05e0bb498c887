"""Visits brought to any state, through the services; times are of the invented shop in November 2025."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

from bookings.models import BookingRequest, Claim, CoatApplied, Job, Product, SafetySignOff, Tier, Visit
from bookings.rules.safety import required_items
from bookings.rules.transitions import Action
from bookings.rules.types import Method, SafetyItem, VisitState, Zone
from bookings.services import bookings, jobs, requests

NOW = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)  # a Monday; the shop's clock shows the same
START = datetime(2025, 11, 4, 9, 0, tzinfo=UTC)
WHO = {"actor": "morgan"}


def ask(*, key: UUID | None = None, **facts: str) -> BookingRequest:
    rider = requests.RiderFacts(
        name=facts.get("name", "Ilka Thorne"),
        email=facts.get("email", "ilka@example.com"),
        phone_e164=facts.get("phone_e164", "+447700900111"),
    )
    bike = requests.BikeFacts(description="grey twin", registration=facts.get("registration", "RB11 AAA"))
    return requests.receive(
        submission_key=key or uuid4(),
        source=BookingRequest.Source.PHONE,
        rider=rider,
        bike=bike,
        tier=Tier.objects.get(code="season-guard"),
        now=NOW,
    )


def pencilled(start: datetime = START, registration: str = "RB11 AAA") -> Visit:
    return bookings.pencil(request=ask(registration=registration), start=start, now=NOW, actor="morgan")


def confirmed(start: datetime = START) -> Visit:
    return bookings.confirm(visit=pencilled(start), now=NOW, **WHO)


def dropped_off(may_remove_fasteners: bool = False) -> Job:
    known = jobs.DropOffFacts(odometer_km=41_200, key_tag="7", may_remove_fasteners=may_remove_fasteners)
    return jobs.drop_off(visit=confirmed(), facts=known, now=START, **WHO)


def in_work(may_remove_fasteners: bool = False) -> Job:
    return jobs.start_work(visit=dropped_off(may_remove_fasteners).visit, now=START, **WHO)


def coat(job: Job, zone: Zone = Zone.FRAME, kind: str = "clear_film", at: datetime = START) -> CoatApplied:
    product = Product.objects.get(coat_kind=kind)
    return jobs.record_coat(job=job, zone=zone, product=product, method=Method.MIST, batch="B-1", now=at, **WHO)


def sign_all(job: Job) -> None:
    for item in required_items(Job.objects.get(pk=job.pk).fasteners_removed):
        jobs.sign_off(job=job, item=item, now=START, **WHO)


def trail(visit: Visit) -> list[str]:
    return list(visit.events.values_list("action", flat=True))


def held(visit: Visit) -> list[int]:
    return list(Claim.objects.filter(visit=visit).order_by("quarter").values_list("quarter", flat=True))


WITH_JOB = {VisitState.DROPPED_OFF, VisitState.IN_WORK, VisitState.CURING, VisitState.READY, VisitState.COLLECTED}


def visit_in(state: VisitState) -> Visit:
    """A visit put into `state`, with a job record where such a visit has one, and all checks signed."""
    visit = pencilled()
    if state is not VisitState.PENCILLED:
        visit = bookings.confirm(visit=visit, now=NOW, **WHO)
    if state in WITH_JOB:
        job = Job.objects.create(visit=visit, dropped_off_at=START, odometer_km=1, key_tag="1", cured_at=START)
        for item in SafetyItem:
            SafetySignOff.objects.create(job=job, item=item, signed_at=START, signed_by="morgan")
    Visit.objects.filter(pk=visit.pk).update(state=state)
    return Visit.objects.get(pk=visit.pk)


def do(action: Action, visit: Visit) -> None:
    when = START + timedelta(hours=5)
    facts = jobs.DropOffFacts(odometer_km=1, key_tag="1")
    {
        Action.CONFIRM: lambda: bookings.confirm(visit=visit, now=NOW, **WHO),
        Action.MOVE: lambda: bookings.move(visit=visit, start=START + timedelta(days=1), now=NOW, reason="", **WHO),
        Action.CALL_OFF: lambda: bookings.call_off(visit=visit, now=NOW, reason="", **WHO),
        Action.MISS: lambda: bookings.miss(visit=visit, now=when, **WHO),
        Action.DROP_OFF: lambda: jobs.drop_off(visit=visit, facts=facts, now=when, **WHO),
        Action.START_WORK: lambda: jobs.start_work(visit=visit, now=when, **WHO),
        Action.FINISH_WORK: lambda: jobs.finish_work(visit=visit, now=when, **WHO),
        Action.MAKE_READY: lambda: jobs.make_ready(visit=visit, now=when, **WHO),
        Action.HAND_OVER: lambda: jobs.hand_over(visit=visit, collected_by="Ilka", now=when, **WHO),
    }[action]()
