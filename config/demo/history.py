"""Two seasons of an invented shop, told forward in time: people ask, come, collect and are called back.

Whatever happens is put in a queue and done at its own moment through the shop's services. At the turn of each
eventful day the worker gets a chance to plan and to send, as it would have had at the time.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from datetime import datetime, time, timedelta
from functools import partial
from itertools import count
from random import Random
from zoneinfo import ZoneInfo

from bookings.models import Visit
from bookings.rules.transitions import WrongState
from bookings.rules.types import VisitState
from bookings.services.diary import HoldLapsed
from config.demo.course import Course
from config.demo.guests import Guest, guests
from config.demo.rounds import Rounds
from reminders.models import Recall
from reminders.services import recall

SEED = 20_241
# No fewer than it takes to make the present look lived in: see LATELY and UNCONFIRMED.
BIKES, FEWEST_BIKES = 40, 16
SEASONS = timedelta(days=730)
# How the year's first requests fall on its months: most before and during winter, some in spring.
MONTH_WEIGHTS = (3, 3, 4, 4, 2, 2, 1, 1, 3, 6, 7, 4)
OF_TIER = {"winter-rinse": 3, "bright-metal": 2, "season-guard": 4, "paint-seal": 2, "full-treatment": 5}
PLAN_AT = time(10, 0)
SEND_AT = time(16, 5)
# Requests that make the present look lived in: days before now, hour of that day, tier, days until it is wanted.
LATELY = (
    (12, 18, "full-treatment", 10),
    (10, 12, "season-guard", 9),
    (9, 18, "full-treatment", 8),
    (8, 12, "season-guard", 8),
    (7, 20, "full-treatment", 7),
    (6, 9, "winter-rinse", 6),
    (5, 13, "full-treatment", 6),
    (4, 19, "season-guard", 6),
    (4, 11, "bright-metal", 7),
    (3, 17, "full-treatment", 5),
    (3, 9, "winter-rinse", 4),
    (2, 10, "paint-seal", 9),
)
# Requests nobody has confirmed yet: hours before now, tier, source, days until wanted.
UNCONFIRMED = ((19, "full-treatment", "online", 6), (7, "winter-rinse", "online", 4), (2, "season-guard", "phone", 9))


class History:
    """The invented past; what is due is planned and sent by `rounds` at each moment."""

    def __init__(self, *, present: datetime, zone: ZoneInfo, rounds: Rounds, bikes: int = BIKES) -> None:
        self.present = present
        self.zone = zone
        self.rounds = rounds
        self.chance = Random(SEED)
        self.course = Course(self, self.chance)
        self.began = present - SEASONS
        self._queue: list[tuple[datetime, int, Callable[[datetime], None]]] = []
        self._order = count()
        self._answered: set[int] = set()
        self.spared: set[int] = set()
        self.heard: Callable[[], None] = lambda: None
        everybody = guests(bikes, SEED)
        self._fill(everybody)
        self._daily(self.began)

    def at(self, moment: datetime, act: Callable[[datetime], None]) -> None:
        """Put something in the queue."""
        heapq.heappush(self._queue, (moment, next(self._order), act))

    def advance(self, until: datetime) -> None:
        """Do everything that happens up to and including `until`."""
        while self._queue and self._queue[0][0] <= until:
            moment, _, act = heapq.heappop(self._queue)
            act(moment)
            # What this caused is on its way before the next thing happens, as it would have been at the time.
            self.rounds.deliver(moment)
            self.heard()

    @property
    def told_until(self) -> datetime:
        """The moment of the next event; a measure of how far the tale has come."""
        return min(self._queue[0][0] if self._queue else self.present, self.present)

    def _fill(self, everybody: list[Guest]) -> None:
        recent = everybody[-len(UNCONFIRMED) :]
        for guest in everybody[: -len(UNCONFIRMED)]:
            for moment in self._requests_of(guest):
                self.at(moment, partial(self._ask, guest, self._tier(), "", self.chance.randrange(4, 16)))
        regulars = self.chance.sample(everybody[: -len(UNCONFIRMED)], len(LATELY))
        for guest, (days, hour, tier, wanted) in zip(regulars, LATELY, strict=True):
            moment = self._local(self.present - timedelta(days=days), time(hour, 20))
            self.at(moment, partial(self._ask, guest, tier, "online", wanted, certain=True))
        for guest, (hours, tier, source, wanted) in zip(recent, UNCONFIRMED, strict=True):
            moment = self.present - timedelta(hours=hours, minutes=7)
            self.at(moment, partial(self._ask_only, guest, tier, source, wanted))

    def _requests_of(self, guest: Guest) -> list[datetime]:
        """One to three requests over the two seasons, at hours people have time."""
        days = range(2, SEASONS.days - 12)
        weights = [MONTH_WEIGHTS[(self.began + timedelta(days=day)).month - 1] for day in days]
        chosen = sorted(self.chance.choices(days, weights, k=self.chance.choice([1, 1, 2, 2, 3])))
        apart = [day for before, day in zip([-200, *chosen], chosen, strict=False) if day - before > 90]
        return [
            self._local(self.began + timedelta(days=day), time(self.chance.choice([8, 12, 18, 20, 21]), 10))
            for day in apart
        ]

    def _tier(self) -> str:
        return self.chance.choices(list(OF_TIER), list(OF_TIER.values()))[0]

    def _ask(
        self, guest: Guest, tier: str, source: str, wanted_in_days: int, now: datetime, certain: bool = False
    ) -> None:
        source = source or ("online" if self.chance.random() < 0.65 else "phone")
        visit = self.course.ask(guest, tier, source, now, wanted_in_days)
        if visit is None:
            return
        if self.chance.random() < 0.05 and not certain:
            return  # never confirmed: the hold lapses
        called = self._local(now + timedelta(days=now.astimezone(self.zone).hour > 16), time(17, 20))
        self.at(max(called, now + timedelta(minutes=10)), partial(self.course.confirm, visit, certain=certain))

    def _ask_only(self, guest: Guest, tier: str, source: str, wanted_in_days: int, now: datetime) -> None:
        self.course.ask(guest, tier, source, now, wanted_in_days)

    def _daily(self, day: datetime) -> None:
        """Put the day's two rounds of the worker in the queue, and the next day's after them."""
        self.at(self._local(day, PLAN_AT), self._morning)
        self.at(self._local(day, SEND_AT), self._afternoon)

    def _morning(self, now: datetime) -> None:
        # Quiet days are skipped: nothing would be found to do on them.
        if now.astimezone(self.zone).weekday() == 0 or self._something_happened(now):
            self.rounds.plan(now)
            self._recalled(now)

    def _afternoon(self, now: datetime) -> None:
        self._daily(now + timedelta(days=1))

    def _something_happened(self, now: datetime) -> bool:
        """Whether the plan would find work: a hold to let go, a bike just gone home, one coming tomorrow."""
        day = timedelta(days=1)
        visits = Visit.objects.all()
        return (
            visits.filter(state=VisitState.PENCILLED, pencilled_until__lt=now).exists()
            or visits.filter(state=VisitState.COLLECTED, changed_at__gt=now - day).exists()
            or visits.filter(state=VisitState.CONFIRMED, starts_at__range=(now, now + 1.5 * day)).exists()
        )

    def _recalled(self, now: datetime) -> None:
        """Let riders who were proposed a day make up their minds; `spared` bikes answer for themselves."""
        for proposed in Recall.objects.filter(answer="").exclude(pk__in=self._answered).order_by("pk"):
            self._answered.add(proposed.pk)
            if proposed.bike_id in self.spared:
                continue
            when = now + timedelta(hours=self.chance.choice([3, 9, 27, 50]))
            answer = self.chance.random()
            if answer < 0.6:
                self.at(when, partial(self._accept, proposed))
            elif answer < 0.75:
                self.at(when, partial(self._decline, proposed))

    def _accept(self, proposed: Recall, now: datetime) -> None:
        try:
            self.course.expect(recall.accept(proposed, now=now))
        except (WrongState, HoldLapsed):
            return  # read too late: the day has been given away

    def _decline(self, proposed: Recall, now: datetime) -> None:
        recall.decline(proposed, Recall.Answer.NOT_THIS_YEAR, now=now)

    def _local(self, day: datetime, at: time) -> datetime:
        """A wall-clock time on the shop's own day, as an instant."""
        return datetime.combine(day.astimezone(self.zone).date(), at, self.zone).astimezone(day.tzinfo)
