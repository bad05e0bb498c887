"""What the calendar alone makes due: whether all is well, a coat that comes due, the day ahead; and what yields."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core import mail

from bookings.models import BookingRequest, Shop, Visit
from bookings.services import bookings, requests
from bookings.services.requests import BikeFacts
from reminders.models import CoatDue, Notice, RecallConsent, ReturnAsk
from reminders.services import consent, planning, returns, sending
from tests.parts.stories import MORNING, STAFF, collected, confirmed, pencilled

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LONDON = ZoneInfo("Europe/London")
LAST_YEAR = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
SPRING = datetime(2026, 4, 7, 9, 0, tzinfo=UTC)


def owed(kind: Notice.Kind) -> list[Notice]:
    return list(Notice.objects.filter(kind=kind).order_by("pk"))


def due_in_spring() -> Visit:
    """A bike whose coats come due in April with no winter ahead that would speak for them."""
    visit, moment = collected(LAST_YEAR)
    planning.plan(now=moment)
    sending.sweep(now=moment + timedelta(days=1))
    CoatDue.objects.update(due_early=date(2026, 3, 20), due_likely=date(2026, 4, 20), act_by=None)
    return visit


def test_whether_all_is_well_is_asked_once_a_week_after_at_eleven(shop_world: Shop) -> None:
    _, moment = collected()
    for days in range(12):
        planning.plan(now=moment + timedelta(days=days))
    [notice] = owed(Kind.ALL_WELL)
    assert notice.due_at.astimezone(LONDON).time() == time(11)
    assert notice.due_at.astimezone(LONDON).date() == moment.astimezone(LONDON).date() + timedelta(days=7)
    sending.sweep(now=notice.due_at)
    assert "not-right" in mail.outbox[-1].body and "List-Unsubscribe" not in mail.outbox[-1].extra_headers


def test_nobody_is_asked_months_later_nor_where_the_shop_does_not_wish_it(shop_world: Shop) -> None:
    _, moment = collected()
    planning.plan(now=moment + timedelta(days=60))
    assert not owed(Kind.ALL_WELL)
    Shop.objects.update(all_well_after_days=None)
    planning.plan(now=moment + timedelta(days=8))
    assert not owed(Kind.ALL_WELL)


def test_something_not_right_is_answered_by_the_next_visit_of_the_bike(shop_world: Shop) -> None:
    visit, moment = collected()
    planning.plan(now=moment + timedelta(days=8))
    first = returns.ask(visit=visit, words="A scratch on the tank", now=moment + timedelta(days=1))
    again = returns.ask(visit=visit, words="and the chain rattles", now=moment + timedelta(days=2))
    assert first == again and "scratch" in again.words and "rattles" in again.words
    # The question still owed is dropped with a reason.
    sending.sweep(now=moment + timedelta(days=9))
    [question] = owed(Kind.ALL_WELL)
    assert question.state == State.DROPPED and "told us already" in question.outcome
    other = pencilled(moment + timedelta(days=3), name="Bo Lind", email="bo@example.org", phone="+447700900124")
    assert not returns.link(other, now=moment)
    come_back = pencilled(moment + timedelta(days=3), bike=visit.bike)
    ask = ReturnAsk.objects.get()
    assert ask.return_visit == come_back and ask.settled_by == returns.BY_VISIT
    bookings.call_off(visit=come_back, now=moment + timedelta(days=3), actor=STAFF, reason="")
    ask.refresh_from_db()
    assert ask.return_visit is None and ask.settled_at is None
    assert returns.settle(ask, by=STAFF, now=moment + timedelta(days=4))
    assert not returns.settle(ask, by=STAFF, now=moment + timedelta(days=4))


def test_a_coat_due_is_told_once_and_only_to_who_agreed(shop_world: Shop) -> None:
    visit = due_in_spring()
    RecallConsent.objects.update(withdrawn_at=SPRING)
    planning.plan(now=SPRING)
    assert not owed(Kind.DUE_SOON)
    consent.agree(visit.bike.rider, wording="yes", source="test", now=SPRING)
    for days in range(0, 40, 5):
        planning.plan(now=SPRING + timedelta(days=days))
    [notice] = owed(Kind.DUE_SOON)
    sending.sweep(now=notice.due_at)
    message = mail.outbox[-1]
    assert "come due soon" in message.body and "no promise" in message.body
    assert message.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def test_a_no_a_booking_or_a_new_coat_drops_what_is_owed(shop_world: Shop) -> None:
    visit = due_in_spring()
    planning.plan(now=SPRING)
    [notice] = owed(Kind.DUE_SOON)
    booked = pencilled(SPRING, bike=visit.bike)
    sending.sweep(now=SPRING)
    notice.refresh_from_db()
    assert notice.state == State.DROPPED and "booked in already" in notice.outcome
    bookings.call_off(visit=booked, now=SPRING, actor=STAFF, reason="")
    Notice.objects.filter(pk=notice.pk).update(state=State.WAITING, settled_at=None, cycle="coat:0")
    sending.sweep(now=SPRING)
    notice.refresh_from_db()
    assert notice.state == State.DROPPED and "renewed" in notice.outcome
    Notice.objects.filter(pk=notice.pk).update(state=State.WAITING, settled_at=None)
    consent.withdraw(visit.bike.rider, by="test", now=SPRING)
    notice.refresh_from_db()
    assert notice.state == State.DROPPED and "no longer wishes" in notice.outcome


def test_what_can_wait_yields_on_a_day_with_much_mail_and_service_mail_never_does(shop_world: Shop) -> None:
    visit = due_in_spring()
    rider = visit.bike.rider
    other = requests.receive(
        submission_key=uuid4(),
        source=BookingRequest.Source.PHONE,
        tier=visit.tier,
        rider=rider,
        bike=BikeFacts(description="Second bike", registration="TE57 TWO"),
        now=SPRING,
    )
    start = datetime(2026, 4, 9, 9, 0, tzinfo=LONDON)
    second = bookings.pencil(request=other, start=start, now=SPRING, actor=STAFF)
    sending.sweep(now=SPRING)
    bookings.confirm(visit=second, now=SPRING, actor=STAFF)
    sending.sweep(now=SPRING)
    planning.plan(now=SPRING)
    sending.sweep(now=SPRING + timedelta(minutes=1))
    [notice] = owed(Kind.DUE_SOON)
    assert notice.state == State.WAITING
    assert notice.due_at == datetime(2026, 4, 8, 9, 0, tzinfo=LONDON)  # the next morning, after the quiet hours
    # A third message about the visit goes all the same.
    bookings.call_off(visit=second, now=SPRING, actor=STAFF, reason="")
    before = len(mail.outbox)
    sending.sweep(now=SPRING + timedelta(minutes=2))
    assert mail.outbox[before].subject.startswith("Called off")
    sending.sweep(now=notice.due_at)
    notice.refresh_from_db()
    assert notice.state == State.SENT


def test_after_a_standstill_nothing_that_can_wait_leaves_at_night(shop_world: Shop) -> None:
    due_in_spring()
    planning.plan(now=SPRING)
    night = datetime(2026, 4, 9, 3, 0, tzinfo=LONDON)
    sending.sweep(now=night)
    [notice] = owed(Kind.DUE_SOON)
    assert (notice.state, notice.due_at) == (State.WAITING, datetime(2026, 4, 9, 9, 0, tzinfo=LONDON))
    sending.sweep(now=notice.due_at)
    notice.refresh_from_db()
    assert notice.state == State.SENT


# The day ahead, to ourselves.


def morning_of(day: date, hour: int = 7, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), LONDON)


def test_the_day_ahead_goes_to_each_own_address_once_a_morning(shop_world: Shop) -> None:
    Shop.objects.update(
        morning_mail_at=time(7), email="desk@example.com", morning_mail_also_to="Desk@example.com, ari@example.org,"
    )
    visit = confirmed()
    Notice.objects.update(state=State.FAILED, outcome="no such mailbox")
    day = visit.starts_at.astimezone(LONDON).date()
    for minute in range(-60, 12 * 60, 60):
        planning.plan(now=morning_of(day) + timedelta(minutes=minute))
    assert sorted(notice.recipient for notice in owed(Kind.MORNING)) == ["ari@example.org", "desk@example.com"]
    assert planning.plan(now=morning_of(day + timedelta(days=1))).mornings == 2
    sending.sweep(now=morning_of(day, 7, 1))
    messages = [message for message in mail.outbox if message.to == ["ari@example.org"]]
    [message] = messages
    assert "1 visit, 2 things need you" in message.subject
    for words in ("Today:", "Ines Halloway, 07700 900123", "Notices that need you:", "no such mailbox", "/workbench/"):
        assert words in message.body, words
    # Never an invitation to our own address, nor a way to leave a list that is none.
    assert not any("calendar" in str(part) for part in [*message.alternatives, *message.attachments])  # type: ignore[attr-defined]
    assert "List-Unsubscribe" not in message.extra_headers


def test_a_morning_long_past_and_an_empty_day(shop_world: Shop) -> None:
    Shop.objects.update(morning_mail_at=time(7))
    assert planning.plan(now=morning_of(MORNING.date(), 14)).mornings == 0
    assert planning.plan(now=morning_of(MORNING.date(), 8)).mornings == 1
    sending.sweep(now=morning_of(MORNING.date(), 14))
    [notice] = owed(Kind.MORNING)
    assert notice.state == State.DROPPED and "time had passed" in notice.outcome
    tomorrow = MORNING.date() + timedelta(days=1)
    planning.plan(now=morning_of(tomorrow))
    sending.sweep(now=morning_of(tomorrow))
    assert "No visit is booked for today." in mail.outbox[-1].body


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25), date(2028, 2, 29)], ids=str)
def test_both_clock_changes_and_29_february_have_one_morning(shop_world: Shop, day: date) -> None:
    Shop.objects.update(morning_mail_at=time(1, 30))  # skipped on the one night, repeated on the other
    midnight = datetime.combine(day, time(0), LONDON).astimezone(UTC)
    for half_hour in range(12):
        planning.plan(now=midnight + timedelta(minutes=30 * half_hour))
    [notice] = owed(Kind.MORNING)
    assert notice.cycle == day.isoformat()


def test_a_corrected_address_reaches_what_is_owed(shop_world: Shop) -> None:
    visit = pencilled()
    rider = visit.bike.rider
    rider.email = "ines.new@example.org"
    rider.save()
    sending.sweep(now=MORNING)
    [message] = mail.outbox
    assert message.to == ["ines.new@example.org"]
    notice = Notice.objects.get()
    assert notice.recipient == "ines.new@example.org" and "ines.new@example.org" in notice.calendar_text
