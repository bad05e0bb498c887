"""Leasing what is due, many notices in one statement, so that each is in one worker's hands only.

A lease carries a token and is committed before any mail is sent. A worker that dies leaves leases that run out.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from reminders.models import MAY_WAIT, RECALL_STREAM, Notice, Pace

State = Notice.State
# Counted from the start of the sweep, so it must outlast the hard time limit of the task that sweeps (240 s).
LEASE = timedelta(minutes=5) / settings.HASTE
BATCH = 100
MINUTE = timedelta(minutes=1)
SERVICE, RECALL = "service", "recall"
WORDS_LATER = ("text_body", "html_body", "calendar_text", "picture_png")


def due(now: datetime) -> QuerySet[Notice]:
    """Notices to hand over, the longest due first; of those about one visit only the first, so none overtakes."""
    ahead = Q(state=State.SENDING) | Q(state=State.WAITING, due_at__lt=OuterRef("due_at"))
    ahead |= Q(state=State.WAITING, due_at=OuterRef("due_at"), pk__lt=OuterRef("pk"))
    earlier = Notice.objects.filter(ahead, visit=OuterRef("visit"))
    waiting = Notice.objects.filter(state=State.WAITING, due_at__lte=now)
    return waiting.filter(Q(visit__isnull=True) | ~Exists(earlier)).order_by("due_at", "pk")


def claim(*, now: datetime, most: int = BATCH) -> list[Notice]:
    """Lease up to `most` notices that have been due longest, as far as the pace of their streams allows."""
    closed = [stream for stream, room in _room(now).items() if room == 0]
    candidates = due(now)
    for stream in closed:
        candidates = candidates.filter(kind__in=RECALL_STREAM) if stream == SERVICE else _without_recall(candidates)
    with transaction.atomic():
        # SQLite ignores SKIP LOCKED without a word; there the write lock taken at BEGIN keeps others out.
        if connection.features.has_select_for_update_skip_locked:
            candidates = candidates.select_for_update(skip_locked=True, of=("self",))
        picked = list(candidates.only("pk", "kind", "recipient")[:most])
        keys = [notice.pk for notice in _within_pace(_one_that_may_wait_each(picked), now)]
        if not keys:
            return []
        token = uuid4()
        Notice.objects.filter(pk__in=keys, state=State.WAITING, due_at__lte=now).update(
            state=State.SENDING,
            lease_token=token,
            lease_until=now + LEASE,
            attempts=F("attempts") + 1,
            handed_over_at=None,
        )
    return _whole(keys, token)


def owned(notices: Sequence[Notice]) -> QuerySet[Notice]:
    """The rows while this worker's lease on them lives; an update of fewer rows means that a lease was lost."""
    keys = [notice.pk for notice in notices]
    token = notices[0].lease_token if notices else None
    return Notice.objects.filter(pk__in=keys, lease_token=token, state=State.SENDING)


def release(notices: Sequence[Notice]) -> None:
    """Give claimed notices back untried: their hand-over has not begun."""
    owned(notices).update(
        state=State.WAITING, lease_token=None, lease_until=None, handed_over_at=None, attempts=F("attempts") - 1
    )


def expired(now: datetime) -> QuerySet[Notice]:
    """Notices whose worker did not come back. A lease that ends beyond any given now was made on a wrong clock."""
    over = Q(lease_until__lte=now) | Q(lease_until__gt=now + LEASE)
    return Notice.objects.filter(over, state=State.SENDING)


def with_facts(notices: QuerySet[Notice]) -> list[Notice]:
    """Notices with all that is asked of them; what they say stays behind until somebody reads it."""
    found = list(notices.select_related("rider", "bike", "visit__tier").defer(*WORDS_LATER).order_by("due_at", "pk"))
    for notice in found:  # one row of each kind, though a bike is reached by two ways and its rider by three
        if notice.bike and notice.rider and notice.bike.rider_id == notice.rider_id:
            notice.bike.rider = notice.rider
        if notice.visit and notice.bike and notice.visit.bike_id == notice.bike_id:
            notice.visit.bike = notice.bike
    return found


def _whole(keys: list[int], token: UUID) -> list[Notice]:
    return with_facts(Notice.objects.filter(pk__in=keys, lease_token=token))


def _one_that_may_wait_each(picked: Sequence[Notice]) -> list[Notice]:
    """Of what may wait one for each address, or two claimed together would take each other for one heard today."""
    kept, seen = [], set()
    for notice in picked:
        if notice.kind in MAY_WAIT:
            if notice.recipient.lower() in seen:
                continue
            seen.add(notice.recipient.lower())
        kept.append(notice)
    return kept


# After days of standstill thousands may be due at once; a pace keeps them from leaving in a burst.


def _stream(notice: Notice) -> str:
    return RECALL if notice.kind in RECALL_STREAM else SERVICE


def _without_recall(notices: QuerySet[Notice]) -> QuerySet[Notice]:
    return notices.exclude(kind__in=RECALL_STREAM)


def _paced() -> dict[str, int]:
    return {stream: most for stream, most in settings.MAIL_A_MINUTE.items() if most}


def _room(now: datetime) -> dict[str, int]:
    """How many notices of each stream that has a pace may still leave in this minute."""
    paced = _paced()
    taken = {row.stream: row.taken for row in Pace.objects.filter(stream__in=paced, minute=_minute(now))}
    return {stream: max(0, most - taken.get(stream, 0)) for stream, most in paced.items()}


def _within_pace(picked: Sequence[Notice], now: datetime) -> list[Notice]:
    """As many as the pace allows, and they are counted; the row of a stream is locked until the claim commits."""
    paced = _paced().keys() & {_stream(notice) for notice in picked}
    if not paced:
        return list(picked)
    minute = _minute(now)
    for stream in sorted(paced):
        Pace.objects.get_or_create(stream=stream, defaults={"minute": minute})
    rows = {row.stream: row for row in Pace.objects.select_for_update().filter(stream__in=paced).order_by("stream")}
    kept = []
    for row in rows.values():
        if row.minute != minute:
            row.minute, row.taken = minute, 0
    for notice in picked:
        row_of = rows.get(_stream(notice))
        if row_of is not None:
            if row_of.taken >= settings.MAIL_A_MINUTE[row_of.stream]:
                continue
            row_of.taken += 1
        kept.append(notice)
    Pace.objects.bulk_update(rows.values(), ["minute", "taken"])
    return kept


def _minute(now: datetime) -> datetime:
    return now.replace(second=0, microsecond=0)
