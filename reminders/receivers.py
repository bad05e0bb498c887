"""What reminders does when bookings or a mail provider speaks; connected when Django starts."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from anymail.signals import AnymailInboundEvent, AnymailTrackingEvent, inbound, tracking
from django.dispatch import receiver

from bookings import signals
from bookings.clock import moment
from bookings.models import BookingRequest, Visit, VisitEvent
from bookings.rules.transitions import Action
from bookings.text import RECALL_AGREED_BY_PHONE, RECALL_AGREED_ONLINE
from reminders.services import consent, delivery, planning, replies, returns, schedules

ENDED_EARLY = {Action.CALL_OFF, Action.LAPSE, Action.MISS}


@receiver(signals.visit_changed, dispatch_uid="reminders.visit_changed")
def owe_notice(sender: object, visit: Visit, event: VisitEvent, now: datetime, **_: Any) -> None:
    """Runs in the transaction of the change: both are written, or neither."""
    planning.owe_for_change(visit, event, now=now)


@receiver(signals.visit_changed, dispatch_uid="reminders.bike_left")
def reckon_with_the_odometer(sender: object, visit: Visit, event: VisitEvent, now: datetime, **_: Any) -> None:
    """What was read at drop-off counts for every coat still on the bike, also those this visit has not renewed."""
    if event.action == Action.HAND_OVER:
        schedules.renew_bike(visit.bike, now=now)


@receiver(signals.visit_changed, dispatch_uid="reminders.return_visit")
def follow_return_visit(sender: object, visit: Visit, event: VisitEvent, now: datetime, **_: Any) -> None:
    """The next visit of a bike answers what its rider said was not right; without that visit it stands open again."""
    if event.action == "pencilled":
        returns.link(visit, now=now)
    elif event.action in ENDED_EARLY:
        returns.unlink(visit)


@receiver(signals.request_received, dispatch_uid="reminders.request_received")
def keep_consent(sender: object, request: BookingRequest, now: datetime, **_: Any) -> None:
    """A tick on the booking form, or a yes over the phone, is kept with its moment and wording."""
    if request.recall_agreed:
        by_phone = request.source == BookingRequest.Source.PHONE
        wording = RECALL_AGREED_BY_PHONE if by_phone else RECALL_AGREED_ONLINE
        source = f"booking {request.get_source_display()}"
        consent.agree(request.bike.rider, wording=str(wording), source=source, now=now)


@receiver(tracking, dispatch_uid="reminders.tracking")
def take_report(sender: object, event: AnymailTrackingEvent, esp_name: str, **_: Any) -> None:
    """Only the first line of this knows Anymail's event; an event without an id is known by what it says of what."""
    now = moment()
    at = event.timestamp or now
    reference = str((event.metadata or {}).get("notice", ""))
    told = (event.description, event.mta_response)
    words = " – ".join(dict.fromkeys(str(said) for said in told if said)) or event.reject_reason or ""
    event_id = event.event_id or f"{event.event_type}:{reference or event.message_id}:{event.recipient}"
    report = delivery.Report(
        esp_name, event_id[:200], event.event_type[:30], at, reference, event.recipient or "", str(words)[:190]
    )
    delivery.record(report, now=now)


@receiver(inbound, dispatch_uid="reminders.inbound")
def take_replies(sender: object, event: AnymailInboundEvent, **_: Any) -> None:
    """A calendar's answer may stand anywhere in the message, often twice, and under several names."""
    now = moment()
    for content in dict.fromkeys(_calendars(event.message)):
        replies.take(content, now=now)


def _calendars(message: Any) -> Iterator[bytes]:
    for part in message.walk():
        named = (part.get_filename() or "").lower().endswith(".ics")
        if named or part.get_content_type() in ("text/calendar", "application/ics"):
            content = part.get_payload(decode=True)
            if content:
                yield content
