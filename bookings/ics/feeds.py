"""Calendars to subscribe to (RFC 5545, 5546 PUBLISH, refresh by RFC 7986). They invite nobody and name no rider."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from icalendar import Event, vDuration

from bookings.ics.invitations import Method, Status
from bookings.ics.writing import calendar_of, is_address, paragraphs, person, plain, utc

REFRESH = timedelta(hours=1)


@dataclass(frozen=True)
class Entry:
    """One event of a feed: aware `starts` and `ends`, or two days of which the last is still part of it.

    Raises ValueError for a naive time, an end before the start, or a day with a time.
    """

    uid: str
    stamp: datetime
    starts: datetime | date
    ends: datetime | date
    summary: str
    description: str = ""
    status: Status = Status.CONFIRMED
    sequence: int = 0
    url: str = ""
    takes_time: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.starts, datetime) is not isinstance(self.ends, datetime):
            raise ValueError("an event has two moments or two days")
        for moment in (self.stamp, self.starts, self.ends):
            if isinstance(moment, datetime) and moment.utcoffset() is None:
                raise ValueError("a floating time means another moment in each zone")
        # RFC 5545, 3.6.1: the end comes later; of whole days the last is written as the day after.
        if self.ends < self.starts or (isinstance(self.starts, datetime) and self.ends == self.starts):
            raise ValueError("an event must end after it starts")
        if not plain(self.uid) or plain(self.uid) != self.uid:
            raise ValueError("uid must be one line of text")


def feed(name: str, entries: Sequence[Entry], *, organizer: tuple[str, str]) -> bytes:
    """The calendar as UTF-8 with CRLF line ends; equal entries give equal bytes.

    `organizer` is (name, address) of who publishes it, which RFC 5546, 3.2.1 demands. Raises ValueError for an
    address that is none.
    """
    if not is_address(organizer[1]):
        raise ValueError(f"the organizer's address is none: {organizer[1]!r}")
    calendar = calendar_of(Method.PUBLISH.value)
    calendar.add("name", plain(name))  # RFC 7986, 5.1
    calendar.add("x-wr-calname", plain(name))
    # RFC 7986, 5.7 demands the value type, which the library leaves out by itself; some clients know the older name.
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vDuration(REFRESH))
    for entry in entries:
        calendar.add_component(_event(entry, organizer))
    return calendar.to_ical(sorted=True)


def _event(entry: Entry, organizer: tuple[str, str]) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("sequence", entry.sequence)
    event.add("dtstamp", utc(entry.stamp))
    event.add("last-modified", utc(entry.stamp))
    if isinstance(entry.starts, datetime) and isinstance(entry.ends, datetime):
        event.add("dtstart", utc(entry.starts))
        event.add("dtend", utc(entry.ends))
    else:
        event.add("dtstart", entry.starts)
        event.add("dtend", entry.ends + timedelta(days=1))
    event.add("summary", plain(entry.summary))
    if entry.description:
        event.add("description", paragraphs(entry.description))
    event.add("status", entry.status.value)
    event.add("organizer", person(*organizer), encode=False)
    event.add("transp", "OPAQUE" if entry.takes_time else "TRANSPARENT")
    if entry.url:
        event.add("url", plain(entry.url))
    return event
