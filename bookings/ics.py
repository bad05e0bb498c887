"""Facts of a visit as an invitation (RFC 5545, iTIP RFC 5546), and answers to it. Only this module speaks iCalendar.

Equal facts give equal bytes: the stamp is the stored moment of the revision, never the present one. Times are
written in UTC, so no zone rules travel along and no client can misread them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

from icalendar import Alarm, Calendar, Event, vCalAddress, vText

PRODUCT_ID = "-//Rimebook//Workshop diary//EN"
# C0 and C1 controls with DEL, and the two Unicode line separators: one parser drops the whole attendee on a NUL.
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_CONTROLS_BUT_NEWLINE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f]+")
# RFC 6868 codes a quote as ^', which parsers without it show to people as it stands; icalendar's own parser takes a
# backslash before the semicolon for an escape and swallows the next parameter.
_UNSAFE_IN_PARAMETER = str.maketrans({'"': "'", "^": " ", "\\": "/"})
_ADDRESS = re.compile(r"[^\s<>\",;:\\@]+@[^\s<>\",;:\\@]+")

# A larger body is no calendar program's answer, and parsing one would take a while.
LARGEST_REPLY_BYTES = 256_000
ANSWERS = {"ACCEPTED": "accepted", "DECLINED": "declined", "TENTATIVE": "tentative"}


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
            if not _ADDRESS.fullmatch(getattr(self, name)):
                raise ValueError(f"{name} is not an address: {getattr(self, name)!r}")
        if self.ends_at <= self.starts_at:
            raise ValueError("an event must end after it starts")
        if not plain(self.uid) or plain(self.uid) != self.uid:
            raise ValueError("uid must be one line of text")
        if self.sequence < 0:
            raise ValueError("sequence counts from 0")
        if invites and (self.method is Method.CANCEL) != (self.status is Status.CANCELLED):
            raise ValueError("CANCEL says STATUS:CANCELLED, and a REQUEST never does")


def plain(text: str) -> str:
    """One line of text without control characters."""
    return _CONTROLS.sub(" ", text).strip()


def invitation(facts: InvitationFacts) -> bytes:
    """The calendar as UTF-8 with CRLF line ends, folded at 75 octets."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT_ID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", facts.method.value)
    calendar.add_component(_event(facts))
    return calendar.to_ical(sorted=True)


def _event(facts: InvitationFacts) -> Event:
    event = Event()
    event.add("uid", facts.uid)
    event.add("sequence", facts.sequence)
    event.add("dtstamp", _utc(facts.stamp))
    event.add("last-modified", _utc(facts.stamp))
    event.add("dtstart", _utc(facts.starts_at))
    event.add("dtend", _utc(facts.ends_at))
    event.add("summary", plain(facts.summary))
    event.add("description", _paragraphs(facts.description))
    event.add("location", plain(facts.location))
    event.add("status", facts.status.value)
    event.add("organizer", _person(facts.organizer_name, facts.organizer_email), encode=False)
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


def _person(name: str, email: str) -> vCalAddress:
    address = vCalAddress(f"mailto:{email}")
    common_name = plain(name.translate(_UNSAFE_IN_PARAMETER))
    if common_name:
        address.params["CN"] = vText(common_name)
    return address


def _guest(facts: InvitationFacts) -> vCalAddress:
    address = _person(facts.attendee_name, facts.attendee_email)
    wanted = "FALSE" if facts.method is Method.CANCEL else "TRUE"
    address.params.update(CUTYPE="INDIVIDUAL", ROLE="REQ-PARTICIPANT", PARTSTAT="NEEDS-ACTION", RSVP=wanted)
    return address


def _paragraphs(text: str) -> str:
    unified = re.sub("\r\n?|[\u2028\u2029\x85]", "\n", text)
    return _CONTROLS_BUT_NEWLINE.sub(" ", unified).strip()


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)


@dataclass(frozen=True)
class ToldEvent:
    """What a calendar part says, read back for people; times are UTC."""

    method: str
    status: str
    uid: str
    sequence: int
    starts_at: datetime
    ends_at: datetime
    summary: str
    location: str


def told(content: bytes) -> ToldEvent:
    """Read back a calendar part of our own kind. Raises ValueError when it holds no whole event."""
    try:
        calendar = Calendar.from_ical(content)
        event = calendar.walk("VEVENT")[0]
        return ToldEvent(
            method=str(calendar.get("METHOD", "")),
            status=str(event.get("STATUS", "")),
            uid=str(event["UID"]),
            sequence=int(event.get("SEQUENCE", 0)),
            starts_at=event.decoded("DTSTART").astimezone(UTC),
            ends_at=event.decoded("DTEND").astimezone(UTC),
            summary=str(event.get("SUMMARY", "")),
            location=str(event.get("LOCATION", "")),
        )
    except (LookupError, AttributeError, TypeError) as error:
        raise ValueError("no event with a start and an end") from error


@dataclass(frozen=True)
class Reply:
    """What one invited person answered to one revision of an event; `attendee` is an address in lower case."""

    uid: str
    sequence: int
    attendee: str
    answer: str


def read_reply(content: bytes) -> Reply | None:
    """The answer in a calendar's REPLY (RFC 5546, 3.2.3); None for anything that is not exactly that.

    Whoever wrote it may be anybody: the caller must know the event and the attendee, and take it for a hint.
    """
    if len(content) > LARGEST_REPLY_BYTES:
        return None
    try:
        calendar = Calendar.from_ical(content.decode("utf-8-sig"))
        [event] = calendar.walk("VEVENT")
        person = event["ATTENDEE"]
        if str(calendar["METHOD"]).upper() != "REPLY" or isinstance(person, list):
            return None
        scheme, _, address = str(person).partition(":")
        answer = ANSWERS.get(str(person.params.get("PARTSTAT", "")).upper())
        if scheme.lower() != "mailto" or answer is None:
            return None
        return Reply(str(event["UID"]), int(event.get("SEQUENCE", 0)), address.strip().lower(), answer)
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError):
        return None  # broken properties raise where they are read, and in several ways
