"""Feeds as two parsers read them, against RFC 5545, 5546 and 7986."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from bookings import ics
from bookings.ics import Entry, Status
from tests.unit.test_ics import ODD

STAMP = datetime(2026, 10, 3, 14, 5, 6, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")
SHOP = ("Nether Wallow Motorcycle Care", "workshop@example.com")
VISIT = Entry(
    uid="day-visit-7@rimebook",
    stamp=STAMP,
    starts=datetime(2026, 10, 24, 9, 0, tzinfo=LONDON),
    ends=datetime(2026, 10, 24, 13, 15, tzinfo=LONDON),
    summary="Full treatment: Grey twin",
    description="confirmed\nkey 7",
    sequence=3,
    takes_time=True,
)
DUE = Entry(uid="coat-5@rimebook", stamp=STAMP, starts=date(2027, 3, 1), ends=date(2027, 6, 30), summary="Frame due")


def feed(name: str, entries: list[Entry]) -> bytes:
    return ics.feed(name, entries, organizer=SHOP)


def test_two_parsers_agree_on_every_fact() -> None:
    content = feed("The bench", [VISIT, DUE])
    first, second = Calendar.from_ical(content), vobject.readOne(content.decode())
    assert first["METHOD"] == second.method.value == "PUBLISH"
    assert str(first["NAME"]) == second.contents["name"][0].value == "The bench"
    visit, due = first.walk("VEVENT")
    seen, window = second.vevent_list
    assert visit.decoded("DTSTART") == seen.dtstart.value == VISIT.starts
    assert visit.decoded("DTEND") == seen.dtend.value == VISIT.ends
    assert str(visit["SUMMARY"]) == seen.summary.value == VISIT.summary
    assert str(visit["DESCRIPTION"]) == seen.description.value == VISIT.description
    assert seen.sequence.value == "3" and seen.dtstamp.value == STAMP
    # RFC 5545, 3.6.1: a day's end is exclusive, so the window ends with 30 June.
    assert due.decoded("DTSTART") == window.dtstart.value == date(2027, 3, 1)
    assert due.decoded("DTEND") == window.dtend.value == date(2027, 7, 1)
    assert b"DTSTART;VALUE=DATE:20270301\r\n" in content and b"DTEND;VALUE=DATE:20270701\r\n" in content
    assert window.transp.value == "TRANSPARENT" and seen.transp.value == "OPAQUE"


def test_a_published_calendar_invites_nobody_and_asks_to_be_read_again() -> None:
    content = feed("The bench", [VISIT])
    assert b"ATTENDEE" not in content and b"VALARM" not in content
    assert vobject.readOne(content.decode()).vevent.organizer.value == "mailto:workshop@example.com"
    # RFC 7986, 5.7: "REFRESH-INTERVAL;VALUE=DURATION:P1W" is its example; the value type is not optional.
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n" in content
    assert b"X-PUBLISHED-TTL:PT1H\r\n" in content


def test_a_day_of_one_day_and_29_february() -> None:
    leap = replace(DUE, starts=date(2028, 2, 29), ends=date(2028, 2, 29))
    read = vobject.readOne(feed("x", [leap]).decode()).vevent
    assert (read.dtstart.value, read.dtend.value) == (date(2028, 2, 29), date(2028, 3, 1))


def test_an_empty_feed_is_a_calendar() -> None:
    # RFC 5545, 3.4 wants a component, subscribers nevertheless meet calendars with nothing in them.
    assert Calendar.from_ical(feed("x", [])).walk("VEVENT") == []


def test_both_clock_changes_keep_the_hour_on_the_wall() -> None:
    nights = [datetime(2026, 3, 29, 9, 0, tzinfo=LONDON), datetime(2026, 10, 25, 9, 0, tzinfo=LONDON)]
    entries = [
        replace(VISIT, uid=f"n{number}", starts=night, ends=night + timedelta(hours=4))
        for number, night in enumerate(nights)
    ]
    read = [
        event.decoded("DTSTART").astimezone(LONDON) for event in Calendar.from_ical(feed("x", entries)).walk("VEVENT")
    ]
    assert read == nights and all(moment.hour == 9 for moment in read)


@given(summary=ODD, description=ODD, name=ODD, days=st.integers(0, 4000))
def test_no_name_breaks_out_of_its_property(summary: str, description: str, name: str, days: int) -> None:
    entry = replace(DUE, summary=summary, description=description, ends=DUE.starts + timedelta(days=days))
    content = feed(name, [entry])
    [first] = Calendar.from_ical(content).walk("VEVENT")
    second = vobject.readOne(content.decode()).vevent
    assert str(first["SUMMARY"]) == second.summary.value
    assert str(first.get("DESCRIPTION", "")) == getattr(getattr(second, "description", None), "value", "")
    assert first.decoded("DTEND") - first.decoded("DTSTART") == timedelta(days=days + 1)
    names = {prop.name for prop in second.getChildren()}
    assert names <= {"UID", "SEQUENCE", "DTSTAMP", "LAST-MODIFIED", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION"} | {
        "STATUS",
        "ORGANIZER",
        "TRANSP",
    }
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 75 and all(b"\n" not in line for line in lines)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ends": date(2027, 2, 1)}, "end after"),
        ({"ends": datetime(2027, 4, 1, tzinfo=UTC)}, "two moments or two days"),
        ({"stamp": datetime(2027, 4, 1)}, "floating"),  # noqa: DTZ001
        ({"uid": "a\r\nb"}, "uid"),
        ({"status": Status.CANCELLED, "uid": ""}, "uid"),
    ],
)
def test_facts_that_make_no_entry_are_refused(change: dict, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(DUE, **change)
