"""Bytes written ahead: used as they are while nothing has changed, and never otherwise."""

from __future__ import annotations

from datetime import datetime, timedelta
from email.utils import parsedate_to_datetime

import pytest

from bookings.models import Rider, Shop, Tier, Visit
from reminders.mailer import Outcome, Phase
from reminders.models import Attempt, Notice, NoticeText, Packed
from reminders.services import planning, preparing, sending
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import MORNING, confirmed

pytestmark = pytest.mark.django_db
State = Notice.State


@pytest.fixture
def reminder(shop_world: Shop, smtp_sink: SmtpSink) -> Notice:
    """A word on the day before, owed and written ahead; the confirmation has left."""
    visit = confirmed()
    sending.sweep(now=MORNING + timedelta(hours=2))
    smtp_sink.messages.clear()
    assert planning.owe_day_before(now=visit.starts_at - timedelta(days=2)) == 1
    notice = Notice.objects.get(kind=Notice.Kind.DAY_BEFORE)
    assert preparing.prepare(now=notice.due_at - timedelta(hours=3)) == 0  # too early
    assert preparing.prepare(now=just_before(notice)) == 1
    assert preparing.prepare(now=just_before(notice)) == 0
    return notice


def just_before(notice: Notice) -> datetime:
    return notice.due_at - timedelta(hours=1)


def mark(notice: Notice) -> None:
    """So that a test can tell bytes written ahead from bytes written now."""
    packed = Packed.objects.get(notice=notice)
    Packed.objects.filter(notice=notice).update(
        content=bytes(packed.content).replace(b"X-Auto", b"X-Mark: y\r\nX-Auto")
    )


def test_what_was_written_ahead_is_what_arrives(reminder: Notice, smtp_sink: SmtpSink) -> None:
    kept = bytes(Packed.objects.get(notice=reminder).content)
    mark(reminder)
    assert sending.sweep(now=reminder.due_at - timedelta(seconds=1)) == 0
    assert sending.sweep(now=reminder.due_at) == 1
    [received] = smtp_sink.messages
    assert received.message["X-Mark"] == "y"
    assert received.content.replace(b"X-Mark: y\r\n", b"").strip() == kept.strip()
    assert received.message["Message-ID"] == reminder.message_id
    assert parsedate_to_datetime(received.message["Date"]) == reminder.due_at


CHANGES = {
    "the rider's name": lambda: Rider.objects.update(name="Ines Halloway-Bray"),
    "the shop's phone": lambda: Shop.objects.update(phone_e164="+441632960777"),
    "the name of the tier": lambda: Tier.objects.update(name="Everything"),
    "a private link": lambda: Visit.objects.update(link_serial=7),
    "the wording": lambda: NoticeText.objects.create(
        kind=Notice.Kind.DAY_BEFORE, subject="Tomorrow", body="See you tomorrow.", saved_at=MORNING, saved_by="Morgan"
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_other_facts_are_written_anew(reminder: Notice, smtp_sink: SmtpSink, change: str) -> None:
    mark(reminder)
    CHANGES[change]()
    assert sending.sweep(now=reminder.due_at) == 1
    assert smtp_sink.messages[0].message["X-Mark"] is None


def test_a_corrected_address_gets_what_is_still_owed(reminder: Notice, smtp_sink: SmtpSink) -> None:
    Rider.objects.update(email="ines.halloway@example.org")
    assert sending.sweep(now=reminder.due_at) == 1
    [received] = smtp_sink.messages
    assert received.recipients == ["ines.halloway@example.org"]
    assert received.message["To"] == "ines.halloway@example.org"


def test_what_was_perhaps_taken_goes_out_the_same_whatever_has_changed(reminder: Notice, smtp_sink: SmtpSink) -> None:
    mark(reminder)
    smtp_sink.drop()
    sending.sweep(now=reminder.due_at)
    smtp_sink.accept()
    Rider.objects.update(name="Ines Halloway-Bray", email="ines.halloway@example.org")
    assert sending.sweep(now=reminder.due_at + timedelta(minutes=1)) == 1
    first, second = smtp_sink.messages
    assert first.content == second.content and first.recipients == second.recipients


def test_a_visit_that_moved_is_not_reminded_of_in_old_words(reminder: Notice, smtp_sink: SmtpSink) -> None:
    visit = Visit.objects.get()
    Visit.objects.update(
        starts_at=visit.starts_at + timedelta(days=3), promised_at=visit.promised_at + timedelta(days=3)
    )
    assert sending.sweep(now=reminder.due_at) == 0
    assert smtp_sink.messages == []


def test_the_words_of_the_server_are_kept_with_each_try(reminder: Notice, smtp_sink: SmtpSink) -> None:
    sending.sweep(now=reminder.due_at)
    tried = Attempt.objects.get(notice=reminder)
    assert (tried.outcome, tried.phase, tried.code) == (Outcome.SENT, Phase.AFTER_DOT, 250)
    assert tried.words == "2.0.0 kept"


def test_bytes_are_forgotten_after_a_month(reminder: Notice) -> None:
    sending.sweep(now=reminder.due_at)
    preparing.prepare(now=reminder.due_at + timedelta(days=29))
    assert Packed.objects.filter(notice=reminder).exists()
    preparing.prepare(now=reminder.due_at + timedelta(days=31))
    assert not Packed.objects.filter(notice=reminder).exists()
