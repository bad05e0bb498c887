"""A mail server that misbehaves at every point of the conversation.

The table of outcomes follows RFC 5321 (4.2.1 reply codes, 4.2.5 and 6.1 who is responsible after the final dot,
3.5.3 enhanced codes by RFC 3463).
"""

from __future__ import annotations

import time
from datetime import timedelta
from email.utils import parsedate_to_datetime

import pytest
from pytest_django import Settings

from bookings.models import Shop
from reminders.mailer import Mailer
from reminders.models import Notice, Suppression
from reminders.services import claiming, outcomes, sending
from tests.parts.crowds import all_at_once
from tests.parts.notices import as_recall
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import MORNING, confirmed, pencilled

pytestmark = pytest.mark.django_db(transaction=True)
State = Notice.State
MINUTE = timedelta(minutes=1)


@pytest.fixture(autouse=True, params=[False, True], ids=["word by word", "pipelining"])
def impatient(settings: Settings, smtp_sink: SmtpSink, request: pytest.FixtureRequest) -> None:
    """Every outcome with the envelope said word by word and in one go (RFC 2920)."""
    settings.EMAIL_TIMEOUT = 1
    smtp_sink.pipelines = request.param


PUT_OFF = [
    ("mail", "451 4.3.0 greylisted"),
    ("rcpt", "450 4.2.0 mailbox busy"),
    ("data", "452 4.3.1 disk full"),
    ("mail", "550 5.7.1 sender not welcome"),
    ("data", "421 4.3.2 going down"),
]


@pytest.mark.parametrize(("phase", "reply"), PUT_OFF)
def test_what_may_pass_later_waits_and_then_arrives_once(
    due_notice: Notice, smtp_sink: SmtpSink, phase: str, reply: str
) -> None:
    smtp_sink.refuse(phase, reply)
    assert sending.sweep(now=MORNING) == 0
    due_notice.refresh_from_db()
    assert due_notice.state == State.WAITING and MINUTE <= due_notice.due_at - MORNING <= 1.25 * MINUTE
    assert reply.split(" ", 2)[2] in due_notice.outcome
    assert due_notice.tries.get().code == int(reply[:3])
    smtp_sink.accept()
    assert sending.sweep(now=due_notice.due_at - timedelta(seconds=1)) == 0
    assert sending.sweep(now=due_notice.due_at) == 1
    assert len(smtp_sink.messages) == 1


FINAL = [
    ("rcpt", "550 5.1.1 no such mailbox", True),
    ("rcpt", "550 no such user here", True),
    ("rcpt", "550 5.2.1 mailbox disabled", True),
    ("rcpt", "554 5.7.1 your network is listed", False),
    ("rcpt", "552 5.2.2 mailbox full", False),
    ("data", "554 5.7.0 content refused", False),
    ("data", "550 5.1.1 said too late to be about the address alone", False),
]


@pytest.mark.parametrize(("phase", "reply", "suppresses"), FINAL)
def test_a_final_no_fails_and_only_a_dead_address_is_suppressed(
    due_notice: Notice, smtp_sink: SmtpSink, phase: str, reply: str, suppresses: bool
) -> None:
    smtp_sink.refuse(phase, reply)
    assert sending.sweep(now=MORNING) == 0
    due_notice.refresh_from_db()
    assert due_notice.state == State.FAILED and due_notice.outcome
    assert Suppression.objects.filter(address="ines@example.org").exists() is suppresses
    smtp_sink.accept()
    assert sending.sweep(now=MORNING + timedelta(hours=9)) == 0
    assert smtp_sink.messages == []


def test_putting_off_follows_the_steps_and_ends(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    Notice.objects.update(not_after=MORNING + timedelta(days=9))
    smtp_sink.refuse("rcpt", "450 4.2.0 busy")
    waits, now = [], MORNING
    while True:
        sending.sweep(now=now)
        due_notice.refresh_from_db()
        if due_notice.state != State.WAITING:
            break
        waits.append(due_notice.due_at - now)
        now = due_notice.due_at
    steps = [1, 5, 15, 60, 240, 720]
    assert all(step <= wait / MINUTE <= 1.25 * step for wait, step in zip(waits, steps, strict=True))
    assert due_notice.state == State.FAILED and "Given up after 7 tries" in due_notice.outcome


def test_putting_off_never_goes_past_the_time_it_makes_sense(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    Notice.objects.update(not_after=MORNING + timedelta(seconds=30))
    smtp_sink.refuse("rcpt", "450 4.2.0 busy")
    sending.sweep(now=MORNING)
    due_notice.refresh_from_db()
    assert due_notice.state == State.FAILED and "Not delivered in time" in due_notice.outcome


def test_a_server_that_is_away_is_never_given_up(due_notice: Notice, settings: Settings, smtp_sink: SmtpSink) -> None:
    Notice.objects.update(not_after=MORNING + timedelta(days=9))
    right, settings.EMAIL_PORT = settings.EMAIL_PORT, 1  # nothing listens there
    now = MORNING
    for _ in range(12):
        assert sending.sweep(now=now) == 0
        due_notice.refresh_from_db()
        assert due_notice.state == State.WAITING and timedelta(0) < due_notice.due_at - now <= timedelta(hours=1)
        now = due_notice.due_at
    settings.EMAIL_PORT = right
    assert sending.sweep(now=now) == 1


def test_one_closed_door_is_not_knocked_at_for_every_notice(due_notice: Notice, settings: Settings) -> None:
    pencilled(name="Bo", email="bo@example.org", phone="+447700900124")
    settings.EMAIL_BACKEND, settings.EMAIL_PORT = "reminders.mailer.PhasedSmtpBackend", 1
    sending.sweep(now=MORNING)
    assert sorted(Notice.objects.values_list("attempts", flat=True)) == [0, 1]


@pytest.mark.parametrize("misbehave", ["drop", "hang"])
def test_silence_after_the_last_dot_sends_a_service_notice_once_more_the_same(
    due_notice: Notice, smtp_sink: SmtpSink, misbehave: str
) -> None:
    getattr(smtp_sink, misbehave)()
    assert sending.sweep(now=MORNING) == 0
    due_notice.refresh_from_db()
    assert due_notice.state == State.WAITING and "Perhaps delivered" in due_notice.outcome
    assert due_notice.tries.get().outcome == "in_doubt"
    smtp_sink.accept()
    assert sending.sweep(now=MORNING + MINUTE) == 1
    first, second = smtp_sink.messages
    assert first.content == second.content
    assert first.message["Message-ID"] == due_notice.message_id
    assert parsedate_to_datetime(first.message["Date"]) == MORNING
    assert sending.sweep(now=MORNING + timedelta(hours=1)) == 0


def test_in_doubt_a_second_time_is_left_to_people(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    smtp_sink.drop()
    for minute in range(5):
        sending.sweep(now=MORNING + minute * MINUTE)
    due_notice.refresh_from_db()
    assert due_notice.state == State.IN_DOUBT
    assert len(smtp_sink.messages) == 2
    assert outcomes.resend(due_notice, by="Morgan", now=MORNING + timedelta(hours=1))
    smtp_sink.accept()
    assert sending.sweep(now=MORNING + timedelta(hours=1)) == 1
    assert len({message.content for message in smtp_sink.messages}) == 1


@pytest.mark.parametrize("misbehave", ["drop", "hang"])
def test_a_recall_in_doubt_is_never_sent_again_by_itself(
    due_notice: Notice, smtp_sink: SmtpSink, misbehave: str
) -> None:
    recall = as_recall(due_notice)
    getattr(smtp_sink, misbehave)()
    for minute in range(4):
        sending.sweep(now=MORNING + minute * MINUTE)
    recall.refresh_from_db()
    assert recall.state == State.IN_DOUBT
    assert len(smtp_sink.messages) == 1


@pytest.mark.parametrize("phase", ["mail", "rcpt"])
@pytest.mark.parametrize("misbehave", ["drop", "hang"])
def test_silence_before_the_last_dot_is_no_doubt(
    due_notice: Notice, smtp_sink: SmtpSink, phase: str, misbehave: str
) -> None:
    recall = as_recall(due_notice)
    getattr(smtp_sink, misbehave)(phase=phase)
    assert sending.sweep(now=MORNING) == 0
    recall.refresh_from_db()
    assert recall.state == State.WAITING and recall.handed_over_at is None
    smtp_sink.accept()
    assert sending.sweep(now=recall.due_at) == 1
    assert len(smtp_sink.messages) == 1


def test_a_recall_carries_the_way_out(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    as_recall(due_notice)
    sending.sweep(now=MORNING)
    message = smtp_sink.messages[0].message
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert message["List-Unsubscribe"].startswith("<http://testserver/recall/")
    assert message["List-Id"] == "<before-winter.example.com>"


def test_a_worker_that_lost_its_lease_is_held_back_before_the_last_dot(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    claimed = claiming.claim(now=MORNING)
    outcomes.recover(now=MORNING + claiming.LEASE)  # somebody thinks this worker is dead
    with Mailer() as mailer:
        shift = sending.Shift(mailer, MORNING)
        assert shift.hand_over(claimed) and shift.taken == 0
    assert smtp_sink.messages == []
    due_notice.refresh_from_db()
    assert due_notice.state == State.WAITING
    assert sending.sweep(now=due_notice.due_at) == 1


def test_many_sweeps_at_once_send_each_notice_once(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    for number in range(24):
        pencilled(name=f"Rider {number}", email=f"rider{number}@example.org", phone=f"+4477009001{number:02d}")

    def sweep_thrice() -> None:
        for _ in range(3):
            sending.sweep(now=MORNING)

    all_at_once([sweep_thrice] * 4)
    addresses = [message.recipients[0] for message in smtp_sink.messages]
    assert sorted(addresses) == sorted(f"rider{number}@example.org" for number in range(24))
    assert set(Notice.objects.values_list("state", flat=True)) == {State.SENT}


def test_a_broker_that_is_down_harms_no_booking(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    before = time.monotonic()
    visit = confirmed()
    assert time.monotonic() - before < 5
    assert visit.state == "confirmed"
    assert sending.sweep(now=MORNING + timedelta(hours=2)) == 1
