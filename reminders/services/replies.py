"""Answers of riders' calendars to our invitations. Anybody can forge one: it is a hint for staff, never a change."""

from __future__ import annotations

from datetime import datetime

from bookings import ics
from bookings.models import Visit
from bookings.services.bookings import note_reply
from reminders.models import Notice

ACTOR = "the rider's calendar"


def take(content: bytes, *, now: datetime) -> bool:
    """Keep a reply to the present revision of a visit by somebody we invited to it; False for all else.

    The same reply again, as mail brings it twice in one message, is kept once.
    """
    reply = ics.read_reply(content)
    visit = Visit.objects.filter(calendar_uid=reply.uid).first() if reply else None
    if reply is None or visit is None or _last_answer(visit) == reply.answer:
        return False
    if not Notice.objects.filter(visit=visit, recipient__iexact=reply.attendee).exists():
        return False
    return note_reply(visit=visit, reply=reply.answer, sequence=reply.sequence, now=now, actor=ACTOR)


def _last_answer(visit: Visit) -> str:
    """What the calendar last said to the visit as it stands; an answer from before a change is about another time."""
    last = visit.events.filter(action="replied", at__gte=visit.changed_at).last()
    return last.reason if last else ""
