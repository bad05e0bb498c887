"""How a try ended, written into the notice under its lease, and what follows from that."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from zlib import crc32

from django.conf import settings
from django.db import connection, transaction
from django.db.models import QuerySet

from reminders.mailer import Answer, Outcome, Phase
from reminders.models import Attempt, Notice
from reminders.services import claiming, consent

log = logging.getLogger(__name__)
State = Notice.State
DELAYS = tuple(timedelta(minutes=minutes) / settings.HASTE for minutes in (1, 5, 15, 60, 4 * 60, 12 * 60))
# What one server put off together would otherwise come back together: up to this share longer, by the Message-ID.
SPREAD = 0.25
# A server that serves nobody says nothing about the message, so the wait for it stays short and is never given up.
LONGEST_WAIT_FOR_SERVICE = timedelta(minutes=60) / settings.HASTE
HAND_OVERS_IN_DOUBT = 2
# A worker that dies says nothing about what it held either, unless it dies of it again and again.
WORKER_LOST = "worker_lost"
WORKERS_LOST_AT_ONCE = 5
Done = tuple[Notice, Answer]


def drop(notice: Notice, *, reason: str, now: datetime) -> None:
    """End a claimed notice that is no longer needed."""
    claiming.owned([notice]).update(
        state=State.DROPPED, outcome=reason[:300], settled_at=now, lease_token=None, lease_until=None
    )


def postpone(notice: Notice, *, until: datetime) -> None:
    """Give a claimed notice back because it may not leave yet."""
    claiming.owned([notice]).update(state=State.WAITING, due_at=until, lease_token=None, lease_until=None)


@transaction.atomic
def settle_all(done: Sequence[Done], *, now: datetime) -> None:
    """Write how each of several tries ended."""
    _settle_sent([(notice, answer) for notice, answer in done if answer.outcome is Outcome.SENT], now)
    for notice, answer in done:
        if answer.outcome is not Outcome.SENT:
            settle(notice, answer, now=now)


def _settle_sent(sent: Sequence[Done], now: datetime) -> None:
    if not sent:
        return
    begun = claiming.owned([notice for notice, _ in sent]).filter(handed_over_at__isnull=False)
    ours = set(begun.select_for_update().values_list("pk", flat=True))
    if len(ours) < len(sent):
        log.warning("%s leases ran out before the tries ended (sent)", len(sent) - len(ours))
    if ours:
        Notice.objects.filter(pk__in=ours).update(lease_token=None, lease_until=None, **_changes(*sent[0], now))
    Attempt.objects.bulk_create([_try(notice, answer, now) for notice, answer in sent if notice.pk in ours])


@transaction.atomic
def settle(notice: Notice, answer: Answer, *, now: datetime) -> None:
    """Write a try and what it means for the notice. A worker that lost its lease changes nothing."""
    changes = _changes(notice, answer, now)
    # The hand-over must not have begun since the row was read, or a notice perhaps taken would count as not taken.
    unchanged = claiming.owned([notice]).filter(handed_over_at__isnull=notice.handed_over_at is None)
    if not unchanged.update(lease_token=None, lease_until=None, **changes):
        log.warning("notice %s: the lease ran out before the try ended (%s)", notice.pk, answer.outcome)
        return
    _try(notice, answer, now).save()
    if answer.outcome is Outcome.BAD_ADDRESS:
        consent.suppress(notice.recipient, reason=f"refused by its server: {answer.words}", now=now)


def recover(*, now: datetime) -> None:
    """Take back leases that ran out, because the worker that held them died or hangs."""
    lost = claiming.expired(now)
    for notice in lost.filter(handed_over_at__isnull=False).order_by("pk"):
        settle(notice, Answer(Outcome.IN_DOUBT, Phase.AFTER_DOT, words="the worker did not come back"), now=now)
    if lost.exists():
        _take_back(lost.filter(handed_over_at__isnull=True), now)


@transaction.atomic
def _take_back(unbegun: QuerySet[Notice], now: datetime) -> None:
    """What no server has heard of waits again, due as before."""
    if connection.features.has_select_for_update_skip_locked:
        unbegun = unbegun.select_for_update(skip_locked=True)
    rows = dict(unbegun.values_list("pk", "attempts"))
    words = "The worker that held it did not come back; nothing had been handed over."
    changes = {"state": State.WAITING, "lease_token": None, "lease_until": None, "outcome": words}
    often = [key for key, attempts in rows.items() if attempts % WORKERS_LOST_AT_ONCE == 0]
    Notice.objects.filter(pk__in=rows).exclude(pk__in=often).update(**changes)
    Notice.objects.filter(pk__in=often).update(due_at=now + DELAYS[1], **changes)
    Attempt.objects.bulk_create(
        [Attempt(notice_id=key, at=now, outcome=WORKER_LOST, phase=Phase.CONNECTING, words=words) for key in rows]
    )


@transaction.atomic
def resend(notice: Notice, *, by: str, now: datetime) -> bool:
    """Let a notice in doubt go out once more because somebody decided so; False when it is in doubt no longer."""
    parked = Notice.objects.filter(pk=notice.pk, state=State.IN_DOUBT)
    return bool(
        parked.update(state=State.WAITING, due_at=now, settled_at=None, outcome=f"Sent again on purpose by {by}.")
    )


def close(notice: Notice, *, by: str, now: datetime) -> bool:
    """Take a failed or doubtful notice off the list because somebody has seen to it; False when it is off already."""
    parked = Notice.objects.filter(pk=notice.pk, state__in=(State.FAILED, State.IN_DOUBT))
    outcome = f"Seen to by {by}. {notice.outcome}"[:300]
    return bool(parked.update(state=State.DROPPED, settled_at=now, outcome=outcome))


def _try(notice: Notice, answer: Answer, now: datetime) -> Attempt:
    return Attempt(
        notice=notice, at=now, outcome=answer.outcome, phase=answer.phase, code=answer.code, words=answer.words
    )


def _changes(notice: Notice, answer: Answer, now: datetime) -> dict[str, Any]:
    words = f": {answer.words}" if answer.words else "."
    match answer.outcome:
        case Outcome.SENT:
            return {"state": State.SENT, "settled_at": now, "outcome": "The mail server has taken it."}
        case Outcome.BAD_ADDRESS:
            return _failed(now, f"The address does not work{words} Please ring the rider.")
        case Outcome.REFUSED:
            return _failed(now, f"The mail server refused this message{words}")
        case Outcome.IN_DOUBT:
            return _doubted(notice, now)
        case _:
            return _later(notice, answer, now)


def _failed(now: datetime, outcome: str) -> dict[str, Any]:
    return {"state": State.FAILED, "settled_at": now, "outcome": outcome[:300], "handed_over_at": None}


def _later(notice: Notice, answer: Answer, now: datetime) -> dict[str, Any]:
    """Wait longer each time: a deferred message is given up in the end, a server that is away is not."""
    before = notice.tries.filter(outcome=answer.outcome).count()
    words = answer.words or "no reason was given"
    if answer.outcome is Outcome.NO_SERVICE:
        longer = _spread(DELAYS[min(before, len(DELAYS) - 1)], notice, before)
        due_at = now + min(longer, LONGEST_WAIT_FOR_SERVICE)
        outcome = f"The mail server could not be used: {words}"
    elif before < len(DELAYS):
        due_at = now + _spread(DELAYS[before], notice, before)
        outcome = f"Put off: {words}"
    else:
        return _failed(now, f"Given up after {before + 1} tries: {words}")
    if notice.not_after and due_at > notice.not_after:
        return _failed(now, f"Not delivered in time: {words}")
    return {"state": State.WAITING, "due_at": due_at, "outcome": outcome[:300], "handed_over_at": None}


def _spread(delay: timedelta, notice: Notice, number: int) -> timedelta:
    share = crc32(f"{notice.message_id} {number}".encode()) / 2**32
    return delay * (1 + SPREAD * share)


def _doubted(notice: Notice, now: datetime) -> dict[str, Any]:
    """A service notice goes out once more with the same bytes; a recall notice is never doubled by itself."""
    before = notice.tries.filter(outcome=Outcome.IN_DOUBT).count()
    due_at = now + DELAYS[0]
    in_time = notice.not_after is None or due_at <= notice.not_after
    if notice.is_recall or before + 1 >= HAND_OVERS_IN_DOUBT or not in_time:
        outcome = "Perhaps delivered, perhaps not: the connection was lost at the last moment. Ring, or send it again."
        return {"state": State.IN_DOUBT, "settled_at": now, "outcome": outcome}
    outcome = "Perhaps delivered: the connection was lost at the last moment. The same message goes out once more."
    return {"state": State.WAITING, "due_at": due_at, "outcome": outcome}
