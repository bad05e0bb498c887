"""Invitations, read back by a second parser (vobject) and checked against RFC 5545, 5546 and 6047."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from bookings.ics import InvitationFacts, Method, Status, invitation

FACTS = InvitationFacts(
    method=Method.REQUEST,
    status=Status.CONFIRMED,
    uid="visit-7@shop.example.com",
    sequence=2,
    stamp=datetime(2026, 10, 3, 14, 5, 6, tzinfo=UTC),
    starts_at=datetime(2026, 10, 24, 8, 0, tzinfo=UTC),
    ends_at=datetime(2026, 10, 24, 12, 15, tzinfo=UTC),
    summary="Full treatment",
    description="Drop off by nine.\nBring both keys; the spare too, please.",
    location="Unit 4, Kiln Lane; Nether Wallow",
    organizer_name="Nether Wallow Motorcycle Care",
    organizer_email="workshop@example.com",
    attendee_name="Ines Halloway",
    attendee_email="ines@example.org",
    url="https://shop.example.com/visit/abc/",
    alarm=timedelta(hours=18),
)

# Characters that have broken calendars: quotes, carets, separators, controls, line separators, wide and combining ones.
ODD = st.text(
    alphabet=st.one_of(
        st.sampled_from("\"^;,:\\'nN\n\r\t\x00\x0b\x85\u2028\u2029 =äßø漢😀\u0301"), st.characters(codec="utf-8")
    ),
    max_size=80,
)


def event(facts: InvitationFacts) -> vobject.base.Component:
    return vobject.readOne(invitation(facts).decode()).vevent


def test_a_second_parser_reads_every_fact_back() -> None:
    calendar = vobject.readOne(invitation(FACTS).decode())
    read = calendar.vevent
    assert calendar.method.value == "REQUEST"
    assert (read.uid.value, read.sequence.value, read.status.value) == (FACTS.uid, "2", "CONFIRMED")
    assert (read.dtstart.value, read.dtend.value) == (FACTS.starts_at, FACTS.ends_at)
    assert read.dtstamp.value == FACTS.stamp
    assert read.summary.value == FACTS.summary
    assert read.description.value == FACTS.description
    assert read.location.value == FACTS.location
    assert read.organizer.value == "mailto:workshop@example.com"
    assert read.attendee.value == "mailto:ines@example.org"
    assert read.attendee.params["CN"] == ["Ines Halloway"]
    assert read.attendee.params["PARTSTAT"] == ["NEEDS-ACTION"]
    assert read.attendee.params["RSVP"] == ["TRUE"]
    assert read.valarm.trigger.value == timedelta(hours=-18)
    assert read.valarm.action.value == "DISPLAY"


def test_equal_facts_give_equal_bytes_whatever_the_zone_they_were_told_in() -> None:
    there = ZoneInfo("America/St_Johns")
    moved = replace(FACTS, starts_at=FACTS.starts_at.astimezone(there), stamp=FACTS.stamp.astimezone(there))
    assert invitation(moved) == invitation(FACTS)


def test_times_are_utc_so_that_no_zone_rules_travel_along() -> None:
    # RFC 5545, 3.3.5, form 2. A TZID without VTIMEZONE shifts the event in some clients.
    text = invitation(replace(FACTS, starts_at=datetime(2026, 10, 24, 9, 0, tzinfo=ZoneInfo("Europe/London"))))
    assert b"DTSTART:20261024T080000Z" in text
    assert b"TZID" not in text and b"VTIMEZONE" not in text


def test_a_cancellation_keeps_the_event_recognisable_and_rings_no_more() -> None:
    # RFC 5546, 3.2.5.
    gone = replace(FACTS, method=Method.CANCEL, status=Status.CANCELLED, sequence=3)
    calendar = vobject.readOne(invitation(gone).decode())
    assert calendar.method.value == "CANCEL"
    assert (calendar.vevent.status.value, calendar.vevent.uid.value) == ("CANCELLED", FACTS.uid)
    assert calendar.vevent.dtstart.value == FACTS.starts_at
    assert not hasattr(calendar.vevent, "valarm")


def test_a_published_event_invites_nobody() -> None:
    # RFC 5546, 3.2.1.
    calendar = vobject.readOne(invitation(replace(FACTS, method=Method.PUBLISH)).decode())
    assert calendar.method.value == "PUBLISH"
    assert not hasattr(calendar.vevent, "attendee")
    assert calendar.vevent.organizer.value == "mailto:workshop@example.com"


def test_lines_end_in_crlf_and_fold_at_75_octets() -> None:
    # RFC 5545, 3.1: 75 octets, not characters; a fold inside a code point would not decode.
    text = invitation(replace(FACTS, summary="Vollschutz für Speichen, Lenker, Gehäuse – 漢字 " * 6))
    lines = text.split(b"\r\n")
    assert lines[-1] == b"" and all(b"\n" not in line and b"\r" not in line for line in lines)
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode("utf-8")


@given(summary=ODD, description=ODD, location=ODD, guest=ODD, host=ODD)
def test_no_name_or_text_breaks_out_of_its_property(
    summary: str, description: str, location: str, guest: str, host: str
) -> None:
    facts = replace(
        FACTS, summary=summary, description=description, location=location, attendee_name=guest, organizer_name=host
    )
    text = invitation(facts)
    names = [prop.name for prop in event(facts).getChildren()]
    expected = ["VALARM", "ATTENDEE", "DESCRIPTION", "DTEND", "DTSTAMP", "DTSTART", "LAST-MODIFIED", "LOCATION"]
    assert sorted(names) == sorted([*expected, "ORGANIZER", "SEQUENCE", "STATUS", "SUMMARY", "TRANSP", "UID", "URL"])
    first = Calendar.from_ical(text).walk("VEVENT")[0]
    second = event(facts)
    # Two parsers agree, and the attendee survives: one parser drops it on a control character.
    assert str(first["SUMMARY"]) == second.summary.value
    assert str(first["LOCATION"]) == second.location.value
    assert str(first["ATTENDEE"]) == second.attendee.value == "mailto:ines@example.org"
    assert str(first["ATTENDEE"].params.get("CN", "")) == second.attendee.params.get("CN", [""])[0]
    assert max(map(len, text.split(b"\r\n"))) <= 75


def test_line_breaks_in_a_name_inject_nothing() -> None:
    facts = replace(FACTS, attendee_name="Ines\r\nATTENDEE:mailto:thief@example.net", summary="x\r\nSTATUS:CANCELLED")
    read = event(facts)
    assert len(read.attendee_list) == 1
    assert read.status.value == "CONFIRMED"
    assert read.summary.value == "x STATUS:CANCELLED"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"starts_at": datetime(2026, 10, 24, 8, 0)}, "floating"),  # noqa: DTZ001
        ({"ends_at": FACTS.starts_at}, "end after"),
        ({"uid": ""}, "uid"),
        ({"uid": "a\r\nSTATUS:CANCELLED"}, "uid"),
        ({"sequence": -1}, "sequence"),
        ({"attendee_email": "ines@example.org\r\nX-A:1"}, "attendee_email"),
        ({"organizer_email": "nobody"}, "organizer_email"),
        ({"method": Method.CANCEL}, "CANCEL"),
    ],
)
def test_facts_that_make_no_invitation_are_refused(change: dict, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(FACTS, **change)
