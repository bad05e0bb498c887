"""The course of one visit through the shop's own services, each step at its own moment."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from math import exp
from random import Random
from typing import Protocol
from uuid import UUID

from bookings import selectors
from bookings.models import Bike, BookingRequest, Job, Product, Rider, Tier, Visit
from bookings.rules import durations, safety
from bookings.rules.types import BikeKind, Condition, Method, VisitState, Zone
from bookings.services import bookings, jobs, requests
from bookings.services.requests import RiderFacts
from config.demo.guests import Guest
from config.demo.shop import read

STAFF = ("morgan", "robin")
# What this shop really takes, against its own first table, in natural logarithms: a little longer, ordinary scatter.
LOG_BIAS, LOG_SCATTER = 0.05, 0.13


def free_hook(chance: Random) -> str:
    """A hook no key hangs on."""
    taken = selectors.keys_in_the_house()
    return chance.choice([str(hook) for hook in range(1, 31) if str(hook) not in taken])


def true_minutes(visit: Visit, chance: Random) -> float:
    """What the job really takes: drawn around the first table, or each estimate would feed on the one before."""
    table = durations.prior({tier.code: tier.usual_minutes for tier in Tier.objects.all()})
    features = durations.Features(
        visit.tier.code,
        BikeKind(visit.bike.kind),
        Condition(visit.request.condition_told),
        selectors.icy(visit.starts_at),
    )
    return table.estimate(features).median_minutes * exp(chance.gauss(LOG_BIAS, LOG_SCATTER))


class Queue(Protocol):
    """Where the next step of a visit is put."""

    def at(self, moment: datetime, act: Step) -> None:
        """Call `act` with the moment once it has come."""


class Step(Protocol):
    """One step; it is told what time it is."""

    def __call__(self, now: datetime) -> None: ...


@dataclass
class Course:
    """Takes visits from request to collection. `chance` decides what people do."""

    queue: Queue
    chance: Random
    odometers: dict[int, int] = field(default_factory=dict)
    riders: dict[RiderFacts, Rider] = field(default_factory=dict)
    bikes: dict[Guest, Bike] = field(default_factory=dict)
    coats: dict[str, list[list[str]]] = field(default_factory=lambda: read("catalogue")["usual_coats"])

    def ask(self, guest: Guest, tier_code: str, source: str, now: datetime, wanted_in_days: int) -> Visit | None:
        """A request, and the first time on or after the wanted day; None when nothing is free for weeks."""
        tier = Tier.objects.get(code=tier_code)
        condition = self._condition(guest, now)
        offers = selectors.offers(
            tier=tier,
            kind=guest.bike.kind,
            condition=condition,
            now=now,
            from_day=(now + timedelta(days=wanted_in_days)).date(),
        )
        if not offers:
            return None
        request = requests.receive(
            submission_key=UUID(int=self.chance.getrandbits(128), version=4),
            source=BookingRequest.Source(source),
            rider=self.riders.get(guest.rider, guest.rider),
            bike=self.bikes.get(guest, guest.bike),
            tier=tier,
            condition=condition,
            recall_agreed=guest.wants_recall,
            taken_by="" if source == "online" else STAFF[0],
            now=now,
        )
        self.riders[guest.rider], self.bikes[guest] = request.bike.rider, request.bike
        self.odometers.setdefault(request.bike_id, guest.odometer_km)
        start = self.chance.choice(offers[:6]).start
        actor = guest.rider.name if source == "online" else STAFF[0]
        return bookings.pencil(request=request, start=start, now=now, actor=actor)

    def confirm(self, visit: Visit, now: datetime, certain: bool = False) -> None:
        """Staff ring, the rider says yes, and the visit takes its course."""
        bookings.confirm(visit=visit, now=now, actor=STAFF[0], reason="by phone")
        self.expect(visit, certain)

    def expect(self, visit: Visit, certain: bool = False) -> None:
        """Put the drop-off of a confirmed visit in the queue; unless `certain`, some riders call off or forget."""
        visit.refresh_from_db()
        fate = 1.0 if certain else self.chance.random()
        if fate < 0.04:
            self.queue.at(visit.starts_at - timedelta(hours=26), partial(self._call_off, visit))
        elif fate < 0.07:
            self.queue.at(visit.starts_at + timedelta(hours=2), partial(self._miss, visit))
        else:
            self.queue.at(visit.starts_at - timedelta(minutes=10), partial(self._drop_off, visit))

    def _call_off(self, visit: Visit, now: datetime) -> None:
        bookings.call_off(visit=visit, now=now, actor="rider, online", reason="away that week")

    def _miss(self, visit: Visit, now: datetime) -> None:
        bookings.miss(visit=visit, now=now, actor=STAFF[0], reason="did not come, no answer on the phone")

    def _drop_off(self, visit: Visit, now: datetime) -> None:
        visit.refresh_from_db()
        if visit.state != VisitState.CONFIRMED:
            return
        facts = jobs.DropOffFacts(
            odometer_km=self._odometer(visit.bike, now),
            key_tag=free_hook(self.chance),
            condition_seen=Condition(visit.request.condition_told),
            damage_notes=self.chance.choice(["", "", "", "stone chips on the front mudguard", "left mirror cracked"]),
            may_remove_fasteners=self.chance.random() < 0.7,
            collector_name=visit.bike.rider.name,
        )
        jobs.drop_off(visit=visit, facts=facts, now=now, actor=STAFF[0])
        self.queue.at(visit.starts_at, partial(self._work, visit))

    def _work(self, visit: Visit, now: datetime) -> None:
        """Start the clock, then spread ticks and coats over the minutes the job really takes."""
        job = jobs.start_work(visit=visit, now=now, actor=STAFF[0])
        longest = visit.booked_minutes * 1.2
        minutes = min(longest, true_minutes(visit, self.chance))
        steps = list(visit.tier.steps.all())
        for number, step in enumerate(steps, start=1):
            moment = now + timedelta(minutes=minutes * 0.9 * number / len(steps))
            self.queue.at(moment, partial(self._tick, job, step.pk))
        coated = now + timedelta(minutes=minutes * 0.92)
        self.queue.at(coated, partial(self._coat, job, visit.tier.code))
        self.queue.at(now + timedelta(minutes=minutes), partial(self._finish, visit))

    def _tick(self, job: Job, step: int, now: datetime) -> None:
        jobs.tick_step(job=job, step=job.visit.tier.steps.get(pk=step), now=now, actor=STAFF[0])

    def _coat(self, job: Job, tier_code: str, now: datetime) -> None:
        if job.may_remove_fasteners and self.chance.random() < 0.5:
            jobs.note_fasteners(job=job, removed=True, now=now, actor=STAFF[0])
        for zone, product, method in self.coats[tier_code]:
            jobs.record_coat(
                job=job,
                zone=Zone(zone),
                product=Product.objects.get(name=product),
                batch=f"{now:%y%m}-{self.chance.randrange(1, 5)}",
                method=Method(method),
                now=now,
                actor=STAFF[0],
            )

    def _finish(self, visit: Visit, now: datetime) -> None:
        job = jobs.finish_work(visit=visit, now=now, actor=STAFF[0])
        for item in safety.required_items(job.fasteners_removed):
            jobs.sign_off(job=job, item=item, now=now + timedelta(minutes=5), actor=STAFF[1])
        cured = max(job.cured_at or now, now + timedelta(minutes=20))
        self.queue.at(_when_open(cured), partial(self._ready, visit))

    def _ready(self, visit: Visit, now: datetime) -> None:
        jobs.make_ready(visit=visit, now=now, actor=STAFF[0])
        later = _when_open(now + timedelta(hours=self.chance.choice([1, 2, 3, 20])))
        self.queue.at(later, partial(self._hand_over, visit))

    def _hand_over(self, visit: Visit, now: datetime) -> None:
        jobs.hand_over(visit=visit, collected_by=visit.bike.rider.name, now=now, actor=STAFF[0])

    def _odometer(self, bike: Bike, now: datetime) -> int:
        days = (now - bike.created_at) / timedelta(days=1)
        return self.odometers.get(bike.pk, 10_000) + round(bike.km_per_year * days / 365.25)

    @staticmethod
    def _condition(guest: Guest, now: datetime) -> Condition:
        """Winter leaves a crust on what is ridden through it."""
        rides_in_winter = {12, 1, 2} <= set(guest.bike.riding_months)
        if rides_in_winter and now.month in (11, 12, 1, 2, 3) and guest.condition is not Condition.CORRODED:
            return Condition.CRUSTED
        return guest.condition if guest.condition is not Condition.CRUSTED else Condition.DIRTY


def _when_open(moment: datetime) -> datetime:
    """The moment itself, or a quarter past the next opening."""
    diary = selectors.diary(moment.date(), 5)
    stamp = moment.timestamp()
    for opens, closes in diary.open_seconds:
        if stamp < closes:
            return max(moment, datetime.fromtimestamp(opens, moment.tzinfo) + timedelta(minutes=15))
    raise ValueError("the shop does not open for days")
