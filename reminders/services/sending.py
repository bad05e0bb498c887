"""The sweep: claim what is due, hand it over, write down how it went. Safe to run any number of times at once.

A claim is a lease with a token and is committed before any mail is sent. A worker that dies leaves a lease that runs
out: before the hand-over began the notice waits again; after it, the notice is in doubt, and then a service notice
goes out once more with the same bytes and Message-ID, while a recall notice is parked for staff.
"""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from functools import partial
from uuid import uuid4

from celery import current_app
from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, QuerySet

from reminders.mailer import Answer, Mailer, Outcome, Phase
from reminders.models import Notice
from reminders.services import outcomes
from reminders.services.composing import compose, letter_of
from reminders.services.fitness import reasons_to_drop

log = logging.getLogger(__name__)
State = Notice.State
# Counted from the start of the sweep, so it must outlast the hard time limit of the task that sweeps (240 s).
LEASE = timedelta(minutes=5)
BATCH = 100


class LeaseLost(Exception):
    """Somebody else owns the notice by now; the server must not take it from us."""


def sweep(*, now: datetime) -> int:
    """Hand over every notice that is due at `now`, over one connection; gives how many were taken."""
    outcomes.recover(now=now)
    if not _due(now).exists():
        return 0  # an idle tick takes no write lock
    taken = 0
    with Mailer() as mailer:
        for _ in range(BATCH):
            notice = claim(now=now)
            if notice is None:
                return taken
            answer = _hand_over(notice, mailer, now)
            taken += answer is not None and answer.outcome is Outcome.SENT
            if answer is not None and answer.outcome is Outcome.NO_SERVICE:
                return taken  # the rest would only wait for the same closed door
    wake(now)
    return taken


def wake(now: datetime) -> None:
    """Poke a worker once the transaction has committed; a poke that fails is no harm, the next tick comes anyway."""
    transaction.on_commit(partial(_poke, now.isoformat()), robust=True)


def _poke(passed_now: str) -> None:
    try:
        current_app.send_task("reminders.sweep", kwargs={"now": passed_now}, retry=False)
    except Exception as error:  # whatever a broker that is down may raise
        log.info("no worker was woken, the next tick will: %s", error)


def _due(now: datetime) -> QuerySet[Notice]:
    """Notices to hand over, the longest due first; of two about one visit only one at a time, so none overtakes."""
    in_flight = Notice.objects.filter(visit=OuterRef("visit"), state=State.SENDING)
    due = Notice.objects.filter(state=State.WAITING, due_at__lte=now)
    return due.exclude(Exists(in_flight)).order_by("due_at", "pk")


def claim(*, now: datetime) -> Notice | None:
    """Lease the notice that has been due longest, or give None."""
    due = _due(now)
    with transaction.atomic():
        # SQLite ignores SKIP LOCKED without a word; there the write lock taken at BEGIN keeps others out.
        if connection.features.has_select_for_update_skip_locked:
            due = due.select_for_update(skip_locked=True, of=("self",))
        picked = due.first()
        if picked is None:
            return None
        token = uuid4()
        still_free = Notice.objects.filter(pk=picked.pk, state=State.WAITING, due_at__lte=now)
        claimed = still_free.update(
            state=State.SENDING,
            lease_token=token,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            handed_over_at=None,
        )
        whole = Notice.objects.select_related("rider", "bike", "visit__bike__rider", "visit__tier")
        return whole.get(lease_token=token) if claimed else None


def _hand_over(notice: Notice, mailer: Mailer, now: datetime) -> Answer | None:
    """Re-check, compose, send and settle one claimed notice; None when it was not tried."""
    try:
        if reason := reasons_to_drop([notice], now=now).get(notice.pk):
            outcomes.drop(notice, reason=reason, now=now)
            return None
        if notice.composed_at is None:
            _freeze(notice, now)
        answer = mailer.deliver(letter_of(notice), partial(_mark_handed_over, notice, now))
    except LeaseLost:
        log.warning("notice %s: the lease was lost, nothing was handed over", notice.pk)
        return None
    except Exception as error:  # one notice that cannot be written or answered must not hold up the others
        log.exception("notice %s could not be handed over", notice.pk)
        began = notice.handed_over_at is not None
        outcome, phase = (Outcome.IN_DOUBT, Phase.AFTER_DOT) if began else (Outcome.LATER, Phase.CONNECTING)
        answer = Answer(outcome, phase, words=f"{type(error).__name__}: {error}"[:300])
    outcomes.settle(notice, answer, now=now)
    return answer


def _freeze(notice: Notice, now: datetime) -> None:
    """Compose once and keep the words, so that a second hand-over carries the same bytes."""
    composed = compose(notice, now=now)
    fields = {
        "composed_at": now,
        "subject_line": composed.subject,
        "text_body": composed.text,
        "html_body": composed.html,
        "calendar_method": composed.calendar_method,
        "calendar_text": composed.calendar_text,
        "picture_png": composed.picture_png,
    }
    if not outcomes.owned(notice).update(**fields):
        raise LeaseLost
    for name, value in fields.items():
        setattr(notice, name, value)


def _mark_handed_over(notice: Notice, now: datetime) -> None:
    if not outcomes.owned(notice).update(handed_over_at=now):
        raise LeaseLost
    notice.handed_over_at = now
