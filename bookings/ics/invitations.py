"""Facts of a visit as an invitation (RFC 5545, iTIP RFC 5546)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from icalendar import Alarm, Event, vCalAddress

from bookings.ics.writing import calendar_of, is_address, paragraphs, person, plain, utc


class Method(StrEnum):
    """What a calendar shall do with the event (RFC 5546, 3.2)."""

    REQUEST = "REQUEST"
    CANCEL = "CANCEL"
    PUBLISH = "PUBLISH"


class Status(StrEnum):
    """How firm the event is (RFC 5545, 3.8.1.11)."""

    TENTATIVE = "TENTATIVE"
    CONFIRMED = "CONFIRMED"
    CANCELLED = "CANCELLED"


@dataclass(frozen=True)
class InvitationFacts:
    """One revision of one event. `stamp`, `starts_at` and `ends_at` are aware; `alarm` is the time before the start;
    only what is published needs no attendee.

    Raises ValueError for a naive time, an end that is not after the start, an address that is none, a missing
    identifier, a negative sequence, or a status that contradicts the method.
    """

    method: Method
    status: Status
    uid: str
    sequence: int
    stamp: datetime
    starts_at: datetime
    ends_at: datetime
    summary: str
    description: str
    location: str
    organizer_name: str
    organizer_email: str
    attendee_name: str = ""
    attendee_email: str = ""
    url: str = ""
    alarm: timedelta | None = None

    def __post_init__(self) -> None:
        for name in ("stamp", "starts_at", "ends_at"):
            if getattr(self, name).utcoffset() is None:
                raise ValueError(f"{name} must carry its offset; a floating time means another moment in each zone")
        invites = self.method is not Method.PUBLISH
        for name in ("organizer_email", *(("attendee_email",) if invites else ())):
            if not is_address(getattr(self, name)):
                raise ValueError(f"{name} is not an address: {getattr(self, name)!r}")
        if self.ends_at <= self.starts_at:
            raise ValueError("an event must end after it starts")
        if not plain(self.uid) or plain(self.uid) != self.uid:
            raise ValueError("uid must be one line of text")
        if self.sequence < 0:
            raise ValueError("sequence counts from 0")
        if invites and (self.method is Method.CANCEL) != (self.status is Status.CANCELLED):
            raise ValueError("CANCEL says STATUS:CANCELLED, and a REQUEST never does")


def invitation(facts: InvitationFacts) -> bytes:
    """The calendar as UTF-8 with CRLF line ends, folded at 75 octets."""
    calendar = calendar_of(facts.method.value)
    calendar.add_component(_event(facts))
    return calendar.to_ical(sorted=True)


def _event(facts: InvitationFacts) -> Event:
    event = Event()
    event.add("uid", facts.uid)
    event.add("sequence", facts.sequence)
    event.add("dtstamp", utc(facts.stamp))
    event.add("last-modified", utc(facts.stamp))
    event.add("dtstart", utc(facts.starts_at))
    event.add("dtend", utc(facts.ends_at))
    event.add("summary", plain(facts.summary))
    event.add("description", paragraphs(facts.description))
    event.add("location", plain(facts.location))
    event.add("status", facts.status.value)
    event.add("organizer", person(facts.organizer_name, facts.organizer_email), encode=False)
    if facts.method is not Method.PUBLISH:  # RFC 5546, 3.2.1: what is published invites nobody
        event.add("attendee", _guest(facts), encode=False)
    event.add("transp", "TRANSPARENT")  # the bike is away; its rider is not
    if facts.url:
        event.add("url", plain(facts.url))
    if facts.alarm is not None and facts.method is not Method.CANCEL:
        event.add_component(_alarm(facts))
    return event


def _alarm(facts: InvitationFacts) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", plain(facts.summary))
    alarm.add("trigger", -facts.alarm if facts.alarm else timedelta(0))
    return alarm


def _guest(facts: InvitationFacts) -> vCalAddress:
    address = person(facts.attendee_name, facts.attendee_email)
    wanted = "FALSE" if facts.method is Method.CANCEL else "TRUE"
    address.params.update(CUTYPE="INDIVIDUAL", ROLE="REQ-PARTICIPANT", PARTSTAT="NEEDS-ACTION", RSVP=wanted)
    return address
