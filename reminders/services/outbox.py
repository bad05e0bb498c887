"""Owing a notice: a row, written in the transaction of the fact that causes it."""

from __future__ import annotations

from datetime import datetime
from uuid import uuid4

from django.conf import settings
from django.db.models import Q

from bookings.models import Bike, Rider, Visit
from reminders.models import Notice

Kind = Notice.Kind
State = Notice.State
# Kinds that carry the visit to calendars; the newest of a visit replaces those still unsent.
CALENDAR_KINDS = (Kind.PENCILLED, Kind.CONFIRMED, Kind.CHANGED, Kind.CALLED_OFF, Kind.RECALL)


def owe(
    *,
    kind: Notice.Kind,
    rider: Rider | None,
    subject_key: str,
    cycle: str,
    due_at: datetime,
    not_after: datetime | None,
    now: datetime,
    bike: Bike | None = None,
    visit: Visit | None = None,
    recipient: str = "",
) -> Notice | None:
    """Write the notice once per (kind, subject, cycle); None when it has no address or is owed already.

    It goes to the rider's address, or for mail to ourselves to `recipient`.
    """
    address = rider.email if rider else recipient
    if not address:
        return None
    notice, created = Notice.objects.get_or_create(
        kind=kind,
        subject_key=subject_key,
        cycle=cycle,
        defaults={
            "rider": rider,
            "bike": bike,
            "visit": visit,
            "recipient": address,
            "due_at": due_at,
            "not_after": not_after,
            "created_at": now,
            "message_id": message_id(),
        },
    )
    if not created:
        return None
    if kind in CALENDAR_KINDS and visit is not None:
        _supersede(notice, now)
    return notice


def message_id() -> str:
    """Made once and stored in the row: whoever hands the notice over, and however often, uses this one."""
    return f"<rimebook.n{uuid4().hex}@{settings.MAIL_FROM.rpartition('@')[2]}>"


def _supersede(newer: Notice, now: datetime) -> None:
    older = Notice.objects.filter(visit=newer.visit, kind__in=CALENDAR_KINDS, state=State.WAITING).exclude(pk=newer.pk)
    older.update(state=State.DROPPED, settled_at=now, outcome="A newer message about this visit replaced it.")


def was_told(visit: Visit) -> bool:
    """Whether any message that put this visit into the rider's calendar has left, or perhaps has."""
    gone = Q(state__in=(State.SENT, State.SENDING, State.IN_DOUBT)) | Q(handed_over_at__isnull=False)
    return Notice.objects.filter(gone, visit=visit, kind__in=CALENDAR_KINDS).exists()
