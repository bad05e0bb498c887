"""Standstill and odd clocks: a missed week, a clock that jumps, both nights of a clock change, the 29th of February.

Clock changes of Europe/London in 2027: 28 March, 31 October (tz database).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from pytest_django import Settings

from bookings.models import Shop, Visit
from reminders.models import Notice
from reminders.services import claiming, planning, sending
from tests.parts.notices import as_recall
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import MORNING, confirmed, pencilled

pytestmark = pytest.mark.django_db(transaction=True)
State, Kind = Notice.State, Notice.Kind
LONDON = ZoneInfo("Europe/London")
MINUTE = timedelta(minutes=1)


def many_recalls(notice: Notice, count: int) -> None:
    """As if a week had passed in which no worker ran."""
    row = as_recall(notice)
    for number in range(1, count):
        row.pk, row.cycle, row.message_id = None, f"week {number}", f"<week{number}@example.com>"
        row.save(force_insert=True)


def test_what_piled_up_of_the_recall_leaves_in_portions(
    due_notice: Notice, smtp_sink: SmtpSink, settings: Settings
) -> None:
    many_recalls(due_notice, 7)
    Shop.objects.update(most_notices_a_day=100)
    settings.MAIL_A_MINUTE = {"service": 0, "recall": 3}
    left = []
    for minute in range(4):
        for _ in range(5):  # however often a minute's sweep runs
            sending.sweep(now=MORNING + minute * MINUTE)
        left.append(len(smtp_sink.messages))
    assert left == [3, 6, 7, 7]


def test_service_mail_does_not_wait_behind_the_recall(
    due_notice: Notice, smtp_sink: SmtpSink, settings: Settings
) -> None:
    many_recalls(due_notice, 3)
    settings.MAIL_A_MINUTE = {"service": 0, "recall": 1}
    Shop.objects.update(most_notices_a_day=100)
    pencilled(name="Bo", email="bo@example.org", phone="+447700900124")
    for _ in range(3):
        sending.sweep(now=MORNING)
    assert sorted(message.recipients[0] for message in smtp_sink.messages) == ["bo@example.org", "ines@example.org"]


@pytest.mark.parametrize("away", [timedelta(hours=1), timedelta(days=7)])
def test_after_a_standstill_each_thing_is_said_once_if_at_all(
    shop_world: Shop, smtp_sink: SmtpSink, away: timedelta
) -> None:
    visit = confirmed()
    back = MORNING + timedelta(hours=2) + away
    for _ in range(3):
        planning.plan(now=back)
        sending.sweep(now=back)
    confirmations = Notice.objects.get(kind=Kind.CONFIRMED)
    if back < visit.starts_at:
        assert confirmations.state == State.SENT and len(smtp_sink.messages) == 1
    else:
        assert confirmations.state == State.DROPPED and "time had passed" in confirmations.outcome
        assert smtp_sink.messages == []


@pytest.mark.parametrize("jump", [timedelta(hours=1), timedelta(days=400)])
def test_a_clock_that_ran_ahead_while_sending_holds_nothing_for_long(
    due_notice: Notice, smtp_sink: SmtpSink, jump: timedelta
) -> None:
    Notice.objects.update(not_after=None)
    claimed = claiming.claim(now=MORNING + jump)  # this worker dies, and the clock is put right
    assert len(claimed) == 1
    assert sending.sweep(now=MORNING + MINUTE) == 1
    assert len(smtp_sink.messages) == 1


def test_a_clock_set_back_sends_nothing_again(due_notice: Notice, smtp_sink: SmtpSink) -> None:
    assert sending.sweep(now=MORNING + timedelta(hours=1)) == 1
    for back in (timedelta(hours=1), timedelta(days=7)):
        planning.plan(now=MORNING - back)
        assert sending.sweep(now=MORNING - back) == 0
    assert len(smtp_sink.messages) == 1


ODD_DAYS = [
    date(2027, 3, 28),
    date(2027, 3, 29),
    date(2027, 10, 31),
    date(2027, 11, 1),
    date(2028, 2, 29),
    date(2028, 3, 1),
]


@pytest.mark.parametrize("day", ODD_DAYS, ids=str)
def test_the_word_on_the_day_before_comes_at_four_by_the_shops_clock(
    shop_world: Shop, smtp_sink: SmtpSink, day: date
) -> None:
    """Planned and swept every twenty minutes through the nights before, twice each time."""
    visit = confirmed()
    start = datetime.combine(day, time(9), LONDON).astimezone(UTC)
    length = visit.promised_at - visit.starts_at
    Visit.objects.update(starts_at=start, promised_at=start + length)
    Notice.objects.all().delete()
    now, sent_at = datetime.combine(day - timedelta(days=2), time(20), LONDON).astimezone(UTC), []
    while now < start:
        for _ in range(2):
            planning.owe_day_before(now=now)
            sent_at += [now] * sending.sweep(now=now)
        now += timedelta(minutes=20)
    assert sent_at == [datetime.combine(day - timedelta(days=1), time(16), LONDON).astimezone(UTC)]
    assert f"{day.day} {day:%B}" in smtp_sink.messages[0].content.decode()
