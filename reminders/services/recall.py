"""Calling bikes back before winter: each gets a day the shop really has, held for it, and one word about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import NAMESPACE_URL, UUID, uuid5

from django.db import IntegrityError, transaction

from bookings import selectors as bookings
from bookings.models import Bike, BookingRequest, Tier, Visit
from bookings.rules.slots import Slot
from bookings.rules.types import BikeKind, Condition, VisitState
from bookings.services.bookings import call_off, confirm, pencil
from bookings.services.diary import SlotTaken
from bookings.services.requests import receive
from reminders import selectors
from reminders.models import Notice, Recall
from reminders.protection import recall as levelling
from reminders.selectors import RecallCase
from reminders.services.outbox import owe

ACTOR = "Rimebook"
RIDER = "rider"
# People need a few days to arrange a ride home; and past the first salt a late day is still better than none.
SHORTEST_NOTICE = timedelta(days=3)
PAST_SALT = timedelta(days=14)
HOLD = timedelta(days=10)
SHORTEST_HOLD = timedelta(days=1)
FREE_AGAIN_BEFORE = timedelta(days=2)


def call_back(*, now: datetime) -> int:
    """Propose a day to every bike whose notice day has come and whose rider agreed to it; gives how many."""
    cases = [case for case in selectors.recall_cases(now) if _may_be_mailed(case.bike)]
    tiers = {case.bike.pk: _tier_for(case.bike) for case in cases}
    called = 0
    for case, day in _levelled([case for case in cases if tiers[case.bike.pk]], tiers, now):
        tier = tiers[case.bike.pk]
        if day is not None and tier is not None and _propose(case, tier, day, now):
            called += 1
    return called


def accept(recall: Recall, *, now: datetime) -> Visit:
    """Take the proposed day. Raises WrongState or HoldLapsed when it has been let go; twice is once."""
    with transaction.atomic():
        fresh = Recall.objects.select_for_update(of=("self",)).select_related("visit").get(pk=recall.pk)
        if fresh.visit is None:
            raise ValueError("a recall without a proposed day cannot be accepted")
        if fresh.answer == Recall.Answer.ACCEPTED:
            return fresh.visit
        visit = fresh.visit
        if visit.state != VisitState.CONFIRMED:  # staff may have booked it on the phone meanwhile
            visit = confirm(visit=visit, now=now, actor=RIDER)
        _answer(fresh, Recall.Answer.ACCEPTED, now)
        return visit


def decline(recall: Recall, answer: Recall.Answer, *, now: datetime) -> None:
    """Not this year, or never again because the bike is sold; frees the day. The first answer stands."""
    with transaction.atomic():
        fresh = Recall.objects.select_for_update(of=("self",)).select_related("visit").get(pk=recall.pk)
        if fresh.answer:
            return
        _answer(fresh, answer, now)
        if fresh.visit is not None and fresh.visit.state == VisitState.PENCILLED:
            call_off(visit=fresh.visit, now=now, actor=RIDER, reason=str(answer.label))


def _answer(recall: Recall, answer: Recall.Answer, now: datetime) -> None:
    recall.answer, recall.answered_at = answer, now
    recall.save(update_fields=["answer", "answered_at"])


def _may_be_mailed(bike: Bike) -> bool:
    rider = bike.rider
    return bool(rider.email) and selectors.agrees_to_recall(rider) and not selectors.suppressed(rider.email)


def _tier_for(bike: Bike) -> Tier | None:
    """What was done last time, if it is still offered, else the shop's first tier."""
    last = (
        Visit.objects.filter(bike=bike, state=VisitState.COLLECTED, tier__offered=True).order_by("-starts_at").first()
    )
    return last.tier if last else bookings.tiers().first()


def _minutes(bike: Bike, tier: Tier) -> int:
    return bookings.length_for(tier, BikeKind(bike.kind), Condition.DIRTY).promised_minutes


def _levelled(
    cases: Sequence[RecallCase], tiers: dict[int, Tier | None], now: datetime
) -> list[tuple[RecallCase, date | None]]:
    """Spread the bikes over the days the diary really has free, so that the losses of all together are least."""
    if not cases:
        return []
    first = selectors.today(now) + SHORTEST_NOTICE
    salt_from = min(case.salt_from for case in cases)
    days = (max(case.salt_from for case in cases) + PAST_SALT - first).days
    longest = max(_minutes(case.bike, tier) for case in cases if (tier := tiers[case.bike.pk]))
    free = bookings.free_starts(minutes=longest, now=now, from_day=first, days=max(days, 1))
    bikes = [levelling.Bike(case.bike.pk, first, *_window(case, first)) for case in cases]
    plan = levelling.plan(_days(free), bikes, salt_from)
    invites = dict(plan.invites)
    return [(case, invites[case.bike.pk]) for case in cases]


def _window(case: RecallCase, first: date) -> tuple[date, date]:
    """Ideal and latest day of a bike; an ideal that has passed is as soon as possible."""
    ideal = max(case.worst.act_by or first, first)
    return ideal, max(ideal, case.salt_from - timedelta(days=1))


def _days(free: Sequence[Slot]) -> list[levelling.Day]:
    """How many whole jobs each day still takes: starts that do not overlap, bay by bay."""
    taken_until: dict[int, datetime] = {}
    room: Counter[date] = Counter()
    for slot in free:
        if slot.start >= taken_until.get(slot.resource, slot.start):
            taken_until[slot.resource] = slot.end
            room[selectors.today(slot.start)] += 1
    return [levelling.Day(day, count) for day, count in sorted(room.items())]


def _propose(case: RecallCase, tier: Tier, day: date, now: datetime) -> bool:
    """Recall, pencilled visit and notice, all or nothing; False when a twin was faster or the day has filled up."""
    starts = bookings.free_starts(minutes=_minutes(case.bike, tier), now=now, from_day=day, days=1, limit=1)
    if not starts:
        return False
    try:
        with transaction.atomic():
            _write(case, tier, starts[0].start, now)
    except (IntegrityError, SlotTaken):
        return False
    return True


def _write(case: RecallCase, tier: Tier, start: datetime, now: datetime) -> None:
    bike = case.bike
    ideal, latest = _window(case, selectors.today(now) + SHORTEST_NOTICE)
    recall = Recall.objects.create(
        bike=bike,
        schedule=case.worst.schedule,
        season=case.season,
        earliest=selectors.today(now) + SHORTEST_NOTICE,
        ideal=ideal,
        latest=latest,
        created_at=now,
    )
    request = receive(
        submission_key=_key(bike, case.season),
        source=BookingRequest.Source.RECALL,
        bike=bike,
        tier=tier,
        condition=Condition.DIRTY,
        now=now,
    )
    hold = max(min(HOLD, start - now - FREE_AGAIN_BEFORE), SHORTEST_HOLD)
    minutes = int(hold / timedelta(minutes=1))
    recall.visit = pencil(request=request, start=start, now=now, actor=ACTOR, hold_minutes=minutes)
    recall.save(update_fields=["visit"])
    owe(
        kind=Notice.Kind.RECALL,
        rider=bike.rider,
        subject_key=f"bike:{bike.pk}",
        cycle=case.season,
        due_at=selectors.quiet_hours().after(now),
        not_after=recall.visit.pencilled_until,
        now=now,
        bike=bike,
        visit=recall.visit,
    )


def _key(bike: Bike, season: str) -> UUID:
    """The same bike and winter make the same request, whoever plans it."""
    return uuid5(NAMESPACE_URL, f"rimebook:recall:{bike.pk}:{season}")
