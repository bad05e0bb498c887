"""Examples of the calendar standards, read and written: RFC 5545, RFC 5546 and RFC 7986, sections named beside each.

The text of RFC 5546, 4.2.2 was compared with two independent public copies; the others are from memory.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

from icalendar import Calendar

from bookings.ics import Entry, InvitationFacts, Method, Reply, Status, feed, invitation, read_reply

# RFC 5546, 4.2.2: "B" accepts the request of "A".
GROUP_REPLY = """BEGIN:VCALENDAR
PRODID:-//Example/ExampleCalendarClient//EN
METHOD:REPLY
VERSION:2.0
BEGIN:VEVENT
ATTENDEE;PARTSTAT=ACCEPTED:mailto:b@example.com
ORGANIZER:mailto:a@example.com
UID:calsrv.example.com-873970198738777@example.com
SEQUENCE:0
REQUEST-STATUS:2.0;Success
DTSTAMP:19970612T190000Z
END:VEVENT
END:VCALENDAR
"""
UID = "calsrv.example.com-873970198738777@example.com"
# RFC 5546, 4.2.1: what "A" had asked for.
CONFERENCE = InvitationFacts(
    method=Method.REQUEST,
    status=Status.CONFIRMED,
    uid=UID,
    sequence=0,
    stamp=datetime(1997, 6, 11, 19, 0, tzinfo=UTC),
    starts_at=datetime(1997, 7, 1, 20, 0, tzinfo=UTC),
    ends_at=datetime(1997, 7, 1, 21, 0, tzinfo=UTC),
    summary="Conference",
    description="",
    location="",
    organizer_name="",
    organizer_email="a@example.com",
    attendee_name="B",
    attendee_email="b@example.com",
)


def test_the_reply_of_the_standard_is_understood() -> None:
    expected = Reply(UID, 0, "b@example.com", "accepted")
    assert read_reply(GROUP_REPLY.replace("\n", "\r\n").encode()) == expected
    assert read_reply(GROUP_REPLY.encode()) == expected  # mail programs lose the carriage returns


def test_the_request_of_the_standard_is_written_in_its_words() -> None:
    lines = invitation(CONFERENCE).decode().replace("\r\n ", "").split("\r\n")
    for line in (
        "METHOD:REQUEST",
        "ORGANIZER:mailto:a@example.com",
        "DTSTAMP:19970611T190000Z",
        "DTSTART:19970701T200000Z",
        "DTEND:19970701T210000Z",
        "SUMMARY:Conference",
        f"UID:{UID}",
        "SEQUENCE:0",
        "STATUS:CONFIRMED",
    ):
        assert line in lines, line
    [attendee] = [line for line in lines if line.startswith("ATTENDEE")]
    assert attendee.endswith(":mailto:b@example.com")
    assert {"CN=B", "CUTYPE=INDIVIDUAL", "RSVP=TRUE"} <= set(attendee.rpartition(":mailto:")[0].split(";"))


def test_text_is_escaped_as_in_the_standard() -> None:
    # RFC 5545, 3.3.11: "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    told = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    entry = Entry("u", CONFERENCE.stamp, date(2007, 6, 28), date(2007, 7, 8), "x; y, z\\", told)
    text = feed("n", [entry], organizer=("A", "a@example.com")).decode().replace("\r\n ", "")
    assert "DESCRIPTION:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.\r\n" in text
    assert "SUMMARY:x\\; y\\, z\\\\\r\n" in text


def test_days_end_as_in_the_standard() -> None:
    # RFC 5545, 3.6.1: from 28 June to 8 July inclusive is DTSTART;VALUE=DATE:20070628, DTEND;VALUE=DATE:20070709.
    entry = Entry("20070423T123432Z-541111@example.com", CONFERENCE.stamp, date(2007, 6, 28), date(2007, 7, 8), "Fest")
    text = feed("n", [entry], organizer=("A", "a@example.com"))
    assert b"DTSTART;VALUE=DATE:20070628\r\n" in text and b"DTEND;VALUE=DATE:20070709\r\n" in text


def test_long_lines_unfold_to_themselves() -> None:
    # RFC 5545, 3.1: "DESCRIPTION:This is a lo" / " ng description" / "  that exists on a long line."
    folded = (
        b"BEGIN:VCALENDAR\r\nX-D:This is a lo\r\n ng description\r\n  that exists on a long line.\r\nEND:VCALENDAR\r\n"
    )
    assert str(Calendar.from_ical(folded)["X-D"]) == "This is a long description that exists on a long line."
    long = "This is a long description that exists on a long line. " * 20
    entry = Entry("u", CONFERENCE.stamp, date(2007, 6, 28), date(2007, 6, 28), "x", long)
    [event] = Calendar.from_ical(feed("n", [entry], organizer=("A", "a@example.com"))).walk("VEVENT")
    assert str(event["DESCRIPTION"]) == long.strip()
