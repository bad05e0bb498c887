"""The call before winter: once, to who agreed, on days the shop really has; and what the rider may answer."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from django.core import mail
from django.test import Client

from bookings.models import OpeningHours, Shop, Visit
from bookings.services import bookings
from bookings.services.requests import BikeFacts
from reminders import links, selectors
from reminders.models import Notice, Recall
from reminders.services import consent, planning, sending
from tests.parts.stories import COMMUTER, collected, confirmed

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LAST_YEAR = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)


def run(now: datetime) -> int:
    """One tick of plan and sweep, each doubled, as two beats would; gives how many messages left."""
    for _ in range(2):
        planning.plan(now=now)
    return sending.sweep(now=now) + sending.sweep(now=now)


def recall_day(now: datetime) -> datetime:
    """The first morning from `now` on at which the plan calls the bike back."""
    for days in range(200):
        moment = now + timedelta(days=days)
        planning.plan(now=moment)
        if Recall.objects.exists():
            return moment
    raise AssertionError("no recall within 200 days")


def test_the_call_before_winter_proposes_a_day_once(shop_world: Shop) -> None:
    visit, moment = collected(LAST_YEAR)
    run(moment)
    first = recall_day(datetime(2026, 8, 1, 9, 0, tzinfo=UTC))
    recall = Recall.objects.get()
    assert recall.bike == visit.bike and recall.visit is not None
    proposed = selectors.start_day(recall.visit)
    assert recall.schedule.salt_from is not None
    assert first.date() + timedelta(days=3) <= proposed < recall.schedule.salt_from
    assert abs((proposed - recall.ideal).days) <= 1
    assert recall.visit.state == "pencilled" and recall.visit.request.source == "recall"
    before = len(mail.outbox)
    assert run(first) == 1
    assert [run(first + timedelta(days=day)) for day in range(8)] == [0] * 8
    [message] = mail.outbox[before:]
    assert message.subject == "Before winter: a day for your Grey twin"
    assert message.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    for words in ("by our estimate", "/recall/", "They are no promise", "To stop it:"):
        assert words in message.body
    notice = Notice.objects.get(kind=Kind.RECALL)
    event = vobject.readOne(notice.calendar_text).vevent
    assert event.status.value == "TENTATIVE" and event.dtstart.value == recall.visit.starts_at
    # Nobody answers: the day is let go, the calendar is told, and the winter passes without another word.
    assert recall.visit.pencilled_until is not None
    run(recall.visit.pencilled_until + timedelta(hours=12))
    assert mail.outbox[-1].subject.startswith("Called off")
    count = len(mail.outbox)
    for week in range(20):
        run(first + timedelta(days=20 + 7 * week))
    assert len(mail.outbox) == count and Recall.objects.count() == 1


def called_back() -> Recall:
    _, moment = collected(LAST_YEAR)
    planning.plan(now=moment)
    recall_day(datetime(2026, 8, 20, 9, 0, tzinfo=UTC))
    return Recall.objects.get()


def proposed_visit(recall: Recall) -> Visit:
    return Visit.objects.get(recall=recall)


def post(recall: Recall, answer: str, now: datetime) -> int:
    address = links.public("notices:answer", links.answer_token(recall)).removeprefix("http://testserver")
    client = Client()
    headers = {"X-Rimebook-Now": now.isoformat()}
    assert client.get(address, headers=headers).status_code == 200
    status = client.post(address, {"answer": answer}, headers=headers).status_code
    recall.refresh_from_db()
    assert client.get(address, headers=headers).status_code == 200
    return status


def test_a_get_on_the_answer_page_changes_nothing(shop_world: Shop) -> None:
    recall = called_back()
    address = links.public("notices:answer", links.answer_token(recall)).removeprefix("http://testserver")
    page = Client().get(address, headers={"X-Rimebook-Now": recall.created_at.isoformat()})
    assert b"Yes, I take this day" in page.content
    assert Recall.objects.get().answer == "" and proposed_visit(recall).state == "pencilled"
    assert Client().get(address.replace("/recall/", "/recall/x")).status_code == 404


def test_taking_the_day_confirms_it_twice_is_once(shop_world: Shop) -> None:
    recall = called_back()
    assert post(recall, "accepted", recall.created_at) == 302
    assert post(recall, "accepted", recall.created_at) == 302
    assert recall.visit is not None and proposed_visit(recall).state == "confirmed"
    assert Notice.objects.filter(kind=Kind.CONFIRMED, visit=recall.visit).count() == 1
    assert Notice.objects.get(kind=Kind.RECALL).state == State.DROPPED  # unsent, and the confirmation says more


def test_a_yes_after_staff_have_booked_it_is_a_yes(shop_world: Shop) -> None:
    recall = called_back()
    bookings.confirm(visit=proposed_visit(recall), now=recall.created_at, actor="Morgan")
    assert post(recall, "accepted", recall.created_at) == 302
    assert recall.answer == "accepted"


def test_a_day_let_go_meanwhile_is_refused_plainly(shop_world: Shop) -> None:
    recall = called_back()
    assert recall.visit is not None and recall.visit.pencilled_until is not None
    late = recall.visit.pencilled_until + timedelta(minutes=1)
    assert post(recall, "accepted", late) == 409
    assert post(recall, "nonsense", late) == 422
    assert recall.answer == ""


@pytest.mark.parametrize("answer", ["not_this_year", "sold"])
def test_a_no_frees_the_day_and_a_sold_bike_is_never_called_again(shop_world: Shop, answer: str) -> None:
    recall = called_back()
    assert post(recall, answer, recall.created_at) == 302
    assert recall.answer == answer and proposed_visit(recall).state == "called_off"
    # The recall itself had not left yet, so nobody is told that a day they never heard of is off.
    assert not Notice.objects.filter(kind=Kind.CALLED_OFF, visit=recall.visit).exists()
    next_summer = datetime(2027, 8, 20, 9, 0, tzinfo=UTC)
    for day in range(0, 100, 5):
        planning.plan(now=next_summer + timedelta(days=day))
    assert Recall.objects.count() == (1 if answer == "sold" else 2)


def test_nobody_is_called_back_without_a_living_yes(shop_world: Shop) -> None:
    visit, moment = collected(LAST_YEAR)
    planning.plan(now=moment)
    consent.withdraw(visit.bike.rider, by="link in a mail", now=moment)
    with pytest.raises(AssertionError, match="no recall"):
        recall_day(datetime(2026, 5, 1, 9, 0, tzinfo=UTC))


def test_a_no_between_plan_and_sweep_stops_the_mail(shop_world: Shop) -> None:
    recall = called_back()
    consent.withdraw(recall.bike.rider, by="link in a mail", now=recall.created_at)
    notice = Notice.objects.get(kind=Kind.RECALL)
    assert notice.state == State.DROPPED
    Notice.objects.filter(pk=notice.pk).update(state=State.WAITING)
    assert sending.sweep(now=notice.due_at) == 0


def test_a_rider_without_mail_is_rung(shop_world: Shop, staff_client: Client) -> None:
    visit, moment = collected(LAST_YEAR, email="")
    planning.plan(now=moment)
    autumn = datetime(2026, 10, 1, 9, 0, tzinfo=UTC)
    planning.plan(now=autumn)
    assert [case.bike for case in selectors.recall_by_phone(autumn)] == [visit.bike]
    page = staff_client.get("/workbench/notices/", headers={"X-Rimebook-Now": autumn.isoformat()})
    assert b"07700 900123" in page.content
    assert not Notice.objects.exists()


def test_a_bike_that_is_booked_already_is_not_called(shop_world: Shop) -> None:
    visit, moment = collected(LAST_YEAR)
    planning.plan(now=moment)
    autumn = datetime(2026, 9, 1, 9, 0, tzinfo=UTC)
    confirmed(autumn, bike=visit.bike)
    planning.plan(now=autumn + timedelta(days=1))
    assert not Recall.objects.exists()


def test_many_bikes_due_at_once_are_spread_over_free_days(shop_world: Shop) -> None:
    for number in range(6):
        bike = BikeFacts(**{**COMMUTER.__dict__, "registration": f"TE57 A{number}"})
        _, moment = collected(
            LAST_YEAR,
            name=f"Rider {number}",
            email=f"rider{number}@example.org",
            phone=f"+44770090030{number}",
            bike=bike,
        )
    planning.plan(now=moment)
    OpeningHours.objects.exclude(weekday__in=[1, 3]).delete()  # only Tuesdays and Thursdays are left
    recall_day(datetime(2026, 8, 20, 9, 0, tzinfo=UTC))
    days = [selectors.start_day(recall.visit) for recall in Recall.objects.all() if recall.visit]
    assert len(days) == 6 and {day.weekday() for day in days} <= {1, 3}
    per_day = {day: days.count(day) for day in days}
    assert max(per_day.values()) <= 4 and len(per_day) >= 2  # two bays, at most two treatments a day each
    winter = min(recall.schedule.salt_from or date.max for recall in Recall.objects.all())
    assert max(days) < winter
