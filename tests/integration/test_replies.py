"""Answers of riders' calendars, in the forms mail brings them; and everything that must change nothing."""

from __future__ import annotations

from datetime import datetime, timedelta
from email.message import EmailMessage
from email.mime.base import MIMEBase
from zoneinfo import ZoneInfo

import pytest
from anymail.inbound import AnymailInboundMessage
from anymail.signals import AnymailInboundEvent, inbound
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from bookings.ics import LARGEST_REPLY_BYTES, Reply, read_reply
from bookings.models import Shop, Visit
from bookings.services import bookings
from reminders.selectors.messages import declined
from reminders.services import replies
from tests.parts.stories import MORNING, STAFF, confirmed

LATER = MORNING + timedelta(hours=3)


def reply(uid: str, **facts: str | int) -> bytes:
    """A calendar program's answer as RFC 5546, 3.2.3 has it."""
    said = {"partstat": "ACCEPTED", "attendee": "mailto:ines@example.org", "sequence": 1, "method": "REPLY"} | facts
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Somebody//Calendar//EN",
        f"METHOD:{said['method']}",
        "BEGIN:VEVENT",
        f"UID:{uid}",
        "DTSTAMP:20261005T110000Z",
        f"SEQUENCE:{said['sequence']}",
        "ORGANIZER:mailto:workshop@example.com",
        f"ATTENDEE;PARTSTAT={said['partstat']};CN=Ines:{said['attendee']}",
        "SUMMARY:Gr\u00fc\u00dfe",
        "END:VEVENT",
        "END:VCALENDAR",
        "",
    ]
    return "\r\n".join(lines).encode()


def arrive(mail: EmailMessage) -> None:
    message = AnymailInboundMessage.parse_raw_mime_bytes(mail.as_bytes())
    inbound.send(sender=object, event=AnymailInboundEvent(event_type="inbound", message=message), esp_name="Postmark")


def as_alternative_and_attachment(content: bytes) -> EmailMessage:
    mail = EmailMessage()
    mail.set_content("Accepted")
    mail.add_alternative(content.decode(), subtype="calendar", params={"method": "REPLY"})
    mail.add_attachment(content, maintype="application", subtype="ics", filename="invite.ics")
    return mail


def as_whole_body(content: bytes) -> EmailMessage:
    mail = EmailMessage()
    mail.set_content(content.decode(), subtype="calendar", params={"method": "REPLY"})
    return mail


def as_nameless_bytes(content: bytes) -> EmailMessage:
    mail = EmailMessage()
    mail.set_content("Accepted")
    mail.add_attachment(content, maintype="application", subtype="octet-stream", filename="Reply.ICS")
    return mail


def without_a_charset(content: bytes) -> EmailMessage:
    mail = EmailMessage()
    mail.set_content("Accepted")
    mail.make_mixed()
    part = MIMEBase("text", "calendar", method="REPLY")
    part.set_payload(content)
    mail.attach(part)  # type: ignore[arg-type]
    return mail


SHAPES = [as_alternative_and_attachment, as_whole_body, as_nameless_bytes, without_a_charset]


@pytest.mark.django_db
@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__)
def test_each_form_of_a_reply_is_kept_once(shop_world: Shop, shape: object) -> None:
    visit = confirmed()
    arrive(shape(reply(visit.calendar_uid)))  # type: ignore[operator]
    visit.refresh_from_db()
    assert visit.rider_reply == "accepted" and visit.state == "confirmed"
    assert visit.events.filter(action="replied").count() == 1


@pytest.mark.django_db
def test_a_no_makes_somebody_ring_and_changes_nothing(shop_world: Shop, staff_client: Client) -> None:
    visit = confirmed()
    assert replies.take(reply(visit.calendar_uid, partstat="DECLINED"), now=LATER)
    assert not replies.take(reply(visit.calendar_uid, partstat="DECLINED"), now=LATER)
    visit.refresh_from_db()
    assert visit.state == "confirmed" and list(declined(LATER)) == [visit]
    page = staff_client.get("/workbench/notices/", headers={"X-Rimebook-Now": LATER.isoformat()})
    assert b"calendar has declined" in page.content
    # Another time is another question.
    start = datetime(2026, 10, 9, 9, 0, tzinfo=ZoneInfo("Europe/London"))
    bookings.move(visit=visit, start=start, now=LATER + timedelta(hours=1), actor=STAFF, reason="")
    assert not declined(LATER).exists()
    moved = LATER + timedelta(hours=2)
    assert not replies.take(reply(visit.calendar_uid, partstat="DECLINED"), now=moved)  # about the old time
    assert replies.take(reply(visit.calendar_uid, partstat="DECLINED", sequence=2), now=moved)
    assert declined(moved).exists()


FORGED = [
    {"attendee": "mailto:thief@example.net"},
    {"attendee": "tel:+447700900123"},
    {"sequence": 0},
    {"sequence": 99},
    {"partstat": "DELEGATED"},
    {"method": "COUNTER"},
    {"method": "REQUEST"},
]


@pytest.mark.django_db
@pytest.mark.parametrize("facts", FORGED, ids=str)
def test_what_is_no_answer_of_ours_changes_nothing(shop_world: Shop, facts: dict[str, str | int]) -> None:
    visit = confirmed()
    assert not replies.take(reply(visit.calendar_uid, **facts), now=LATER)
    assert not replies.take(reply("another-event@rimebook"), now=LATER)
    assert Visit.objects.get().rider_reply == ""


def test_case_does_not_matter() -> None:
    read = read_reply(reply("u1", attendee="MAILTO:Ines@Example.org", partstat="accepted", method="reply"))
    assert read == Reply("u1", 1, "ines@example.org", "accepted")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"BEGIN:VCALENDAR\r\n",
        b"\xff\xfe not text",
        reply("u1") + reply("u2"),
        reply("u1").replace(b"SEQUENCE:1", b"SEQUENCE:one"),
        reply("u1").replace(b"END:VEVENT", b"END:VEVENT\r\nBEGIN:VEVENT\r\nUID:u2\r\nEND:VEVENT"),
        reply("u1").replace(b"SUMMARY", b"ATTENDEE;PARTSTAT=ACCEPTED:mailto:b@example.org\r\nSUMMARY"),
        reply("u1").replace(b"METHOD:REPLY\r\n", b""),
        reply("u1").replace(b"UID:u1\r\n", b""),
        b"BEGIN:VEVENT\r\n" * 20_000,
        reply("u1") + b" " * LARGEST_REPLY_BYTES,
    ],
    ids=range(11),
)
def test_broken_and_monstrous_bodies_are_no_replies(content: bytes) -> None:
    assert read_reply(content) is None


@given(
    st.binary(max_size=400) | st.text(max_size=400).map(lambda text: reply("u1").decode().replace("u1", text).encode())
)
def test_no_body_raises(content: bytes) -> None:
    read_reply(content)


def test_a_broken_date_is_no_reason_to_lose_the_answer() -> None:
    broken = reply("u1").replace(b"DTSTAMP:20261005T110000Z", b"DTSTAMP:yesterday")
    assert read_reply(broken) == Reply("u1", 1, "ines@example.org", "accepted")
