"""What calendars say to us: our own events read back for people, and answers to invitations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from icalendar import Calendar

# A larger body is no calendar program's answer, and parsing one would take a while.
LARGEST_REPLY_BYTES = 256_000
ANSWERS = {"ACCEPTED": "accepted", "DECLINED": "declined", "TENTATIVE": "tentative"}


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
