"""The sweep: claim what is due, hand it over, write down how it went. Safe to run any number of times at once.

Before the hand-over begins a lost worker costs a notice nothing but time. Once it has begun, the notice is in doubt:
a service notice goes out once more with the same bytes and Message-ID, a recall notice is parked for staff.

Service notices are handed over in windows that are marked together before and settled together after, and a window is
settled in the commit that marks the next. A window is as long as a twentieth of a second lets through, so a slow server
gets one notice at a time; a recall notice, and one that was in doubt before, always goes by itself and is marked when
all but the final dot is said.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from itertools import count
from time import monotonic

from celery import current_app
from django.conf import settings
from django.db import transaction

from reminders.mailer import Answer, Mailer, Outcome, Parcel, Phase
from reminders.models import Notice
from reminders.services import claiming, limits, outcomes, preparing
from reminders.services.claiming import LEASE
from reminders.services.composing import letter_of, sender_address
from reminders.services.fitness import reasons_to_drop
from reminders.services.outcomes import Done
from reminders.services.preparing import LeaseLost

log = logging.getLogger(__name__)
FIRST_CLAIM = 20
SWEEP_SECONDS = 20.0 / settings.HASTE
# Past this a claimed notice is given back rather than begun: its lease must not run out in the conversation.
CLAIM_SECONDS = LEASE.total_seconds() / 3
LONGEST_WINDOW = 32
WINDOW_SECONDS = 0.05


def sweep(*, now: datetime) -> int:
    """Hand over every notice that is due at `now`, over one connection; gives how many were taken."""
    outcomes.recover(now=now)
    if not claiming.due(now).exists():
        return 0  # an idle tick takes no write lock
    with Mailer() as mailer:
        shift = Shift(mailer, now)
        for number in count():
            most = claiming.BATCH if number else FIRST_CLAIM
            batch = claiming.claim(now=now, most=most)
            if number == 0 and len(batch) == most:
                wake(now)  # there is work for another
            if not batch or not shift.hand_over(batch):
                return shift.taken
            if shift.seconds > SWEEP_SECONDS:
                break
    wake(now)
    return shift.taken


def wake(now: datetime) -> None:
    """Poke a worker once the transaction has committed; a poke that fails is no harm, the next tick comes anyway."""
    transaction.on_commit(partial(_poke, now.isoformat()), robust=True)


def _poke(passed_now: str) -> None:
    try:
        current_app.send_task("reminders.sweep", kwargs={"now": passed_now}, retry=False)
    except Exception as error:  # whatever a broker that is down may raise
        log.info("no worker was woken, the next tick will: %s", error)


class Shift:
    """One worker's time at one connection to the mail server."""

    def __init__(self, mailer: Mailer, now: datetime) -> None:
        self.mailer, self.now = mailer, now
        self.taken = 0
        self._began = monotonic()
        self._window = 1
        self._sender = sender_address()
        self._unsettled: list[Done] = []

    @property
    def seconds(self) -> float:
        """How long it has lasted."""
        return monotonic() - self._began

    def hand_over(self, batch: Sequence[Notice]) -> bool:
        """Hand claimed notices over, one after the other; False when the server serves nobody, the rest given back."""
        doubtful = preparing.doubtful(batch)
        preparing.readdress([notice for notice in batch if notice.pk not in doubtful])
        left = self._fitting(batch)
        ready = preparing.ready_bytes(left, doubtful) if self.mailer.takes_bytes else {}
        while left:
            if self.seconds > CLAIM_SECONDS:
                break
            alone = left[0].is_recall or left[0].pk in doubtful or not self.mailer.takes_bytes
            if alone:
                self._settle()
                notice = left.pop(0)
                goes_on = self._alone(notice, ready.get(notice.pk))
            else:
                window = self._next_window(left, doubtful)
                tried, goes_on = self._together(window, ready)
                left = left[tried:]
            if not goes_on:
                break
        self._settle()
        claiming.release(left)
        return not left

    def _fitting(self, batch: Sequence[Notice]) -> list[Notice]:
        reasons = reasons_to_drop(batch, now=self.now)
        fitting = []
        for notice in batch:
            if reason := reasons.get(notice.pk):
                outcomes.drop(notice, reason=reason, now=self.now)
            elif until := limits.wait_until(notice, now=self.now):
                outcomes.postpone(notice, until=until)
            else:
                fitting.append(notice)
        return fitting

    # One by one: marked when all but the final dot is said.

    def _alone(self, notice: Notice, content: bytes | None) -> bool:
        mark = partial(self._mark_alone, notice)

        def deliver() -> Answer:
            if self.mailer.takes_bytes:
                return self.mailer.post(self._parcel(notice, content or self._written(notice)), mark)
            if notice.composed_at is None:
                preparing.freeze(notice, now=self.now)
            return self.mailer.deliver(letter_of(notice), mark)

        answer = self._guarded(notice, deliver)
        if answer is None:
            return True
        outcomes.settle(notice, answer, now=self.now)
        self.taken += answer.outcome is Outcome.SENT
        return answer.outcome is not Outcome.NO_SERVICE  # the rest would only wait for the same closed door

    def _mark_alone(self, notice: Notice) -> None:
        if not claiming.owned([notice]).update(handed_over_at=self.now):
            raise LeaseLost
        notice.handed_over_at = self.now

    # Many at once: marked together before the first, settled together after the last.

    def _next_window(self, left: Sequence[Notice], doubtful: set[int]) -> list[Notice]:
        window = left[: self._window]
        ends = (number for number, notice in enumerate(window) if notice.is_recall or notice.pk in doubtful)
        return list(window[: next(ends, len(window))])

    def _together(self, window: Sequence[Notice], ready: dict[int, bytes]) -> tuple[int, bool]:
        """How many of the window are done with, and whether to go on."""
        if any(notice.pk not in ready for notice in window):
            self._settle()  # writing takes its time; what has left is recorded first
        parcels = [(notice, parcel) for notice in window if (parcel := self._guarded_parcel(notice, ready))]
        with transaction.atomic():  # one commit for the end of a window and the beginning of the next
            self._settle()
            parcels = self._mark_together(parcels)
        began, tried, trouble, goes_on = monotonic(), 0, False, True
        for notice, parcel in parcels:
            answer = self._guarded(notice, partial(self.mailer.post, parcel))
            assert answer is not None
            tried += 1
            self._unsettled.append((notice, answer))
            goes_on = answer.outcome is not Outcome.NO_SERVICE
            trouble = answer.outcome in (Outcome.NO_SERVICE, Outcome.IN_DOUBT)
            if trouble:
                break
        self._fit_window(monotonic() - began, trouble)
        untried = [notice for notice, _ in parcels[tried:]]
        if trouble:
            self._settle()
            claiming.owned(untried).update(handed_over_at=None)
        return len(window) - len(untried), goes_on

    def _settle(self) -> None:
        done, self._unsettled = self._unsettled, []
        if done:
            outcomes.settle_all(done, now=self.now)
            self.taken += sum(answer.outcome is Outcome.SENT for _, answer in done)

    def _mark_together(self, parcels: list[tuple[Notice, Parcel]]) -> list[tuple[Notice, Parcel]]:
        notices = [notice for notice, _ in parcels]
        if claiming.owned(notices).update(handed_over_at=self.now) != len(notices):
            log.warning("the lease on some of %s notices was lost, those are not handed over", len(notices))
            kept = set(claiming.owned(notices).values_list("pk", flat=True))
            parcels = [(notice, parcel) for notice, parcel in parcels if notice.pk in kept]
        for notice, _ in parcels:
            notice.handed_over_at = self.now
        return parcels

    def _fit_window(self, seconds: float, trouble: bool) -> None:
        if trouble:
            self._window = 1
        elif seconds < WINDOW_SECONDS:
            self._window = min(2 * self._window, LONGEST_WINDOW)
        elif seconds > 2 * WINDOW_SECONDS:
            self._window = max(1, self._window // 2)

    # What both need.

    def _guarded_parcel(self, notice: Notice, ready: dict[int, bytes]) -> Parcel | None:
        """None when the notice cannot be written, which is noted, or is no longer ours."""
        found: list[Parcel] = []

        def write() -> Answer | None:
            found.append(self._parcel(notice, ready.get(notice.pk) or self._written(notice)))
            return None

        answer = self._guarded(notice, write)
        if answer is not None:
            outcomes.settle(notice, answer, now=self.now)
        return found[0] if found else None

    def _written(self, notice: Notice) -> bytes:
        if notice.composed_at is None or preparing.is_stale(notice):
            preparing.freeze(notice, now=self.now)
        return preparing.keep_bytes(notice)

    def _parcel(self, notice: Notice, content: bytes) -> Parcel:
        return Parcel(self._sender, notice.recipient, content)

    @staticmethod
    def _guarded(notice: Notice, work: Callable[[], Answer | None]) -> Answer | None:
        """One notice that cannot be written or answered must not hold up the others."""
        try:
            return work()
        except LeaseLost:
            log.warning("notice %s: the lease was lost, nothing was handed over", notice.pk)
            return None
        except Exception as error:
            log.exception("notice %s could not be handed over", notice.pk)
            began = notice.handed_over_at is not None
            outcome, phase = (Outcome.IN_DOUBT, Phase.AFTER_DOT) if began else (Outcome.LATER, Phase.CONNECTING)
            return Answer(outcome, phase, words=f"{type(error).__name__}: {error}"[:300])
