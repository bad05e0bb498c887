"""The private page of a visit: who may open it, what it says, and what it lets a rider change."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
import vobject
from django.test import Client

from bookings import links
from bookings.models import Claim, Visit, VisitEvent
from bookings.services import bookings, jobs
from tests.pages.booking_walk import NOW, Walk, client_at, starts_shown

pytestmark = pytest.mark.usefixtures("shop_world")
SUMMER = datetime(2026, 7, 6, 9, 0, tzinfo=UTC)


@pytest.fixture
def visit(shop_world: object) -> Visit:
    """A visit booked online, pencilled."""
    return booked()


def booked(moment: datetime = NOW, **changes: str) -> Visit:
    walk = Walk(client=client_at(moment))
    walk.to_last_page()
    walk.ask(**changes)
    return Visit.objects.select_related("bike__rider").get()


def page_of(visit: Visit, rest: str = "") -> str:
    return f"/visit/{links.visit_token(visit)}/{rest}"


def text_of(visit: Visit, moment: datetime = NOW) -> str:
    page = client_at(moment).get(page_of(visit))
    assert page.status_code == 200
    return re.sub(r"\s+", " ", page.content.decode())


def facts() -> list[object]:
    return [
        list(Visit.objects.values_list()),
        sorted(Claim.objects.values_list("bay", "quarter", "visit")),
        VisitEvent.objects.count(),
    ]


def test_every_token_that_opens_nothing_gets_one_and_the_same_answer(visit: Visit, client: Client) -> None:
    revoked = links.visit_token(visit)
    Visit.objects.update(link_serial=1)
    visit.refresh_from_db()
    good = links.visit_token(visit)
    wrong = ["x", "WzEsMF0", revoked, good[:-1], good.upper(), links.bike_token(visit.bike), "%00", "é:ü"]
    answers = set()
    for token in wrong:
        for rest in ("", "move/", "call-off/", "visit.ics"):
            answer = client.get(f"/visit/{token}/{rest}")
            answers.add((answer.status_code, answer.content, answer.headers.get("Referrer-Policy")))
    assert len(answers) == 1
    assert answers.pop()[0] == 404
    assert client.get(f"/visit/{good}/").status_code == 200


def test_private_pages_are_neither_kept_nor_found_nor_named_to_others(visit: Visit, client: Client) -> None:
    for rest, policy in (("", "no-referrer"), ("move/", "same-origin"), ("call-off/", "same-origin")):
        answer = client_at().get(page_of(visit, rest))
        assert answer.status_code == 200
        assert answer.headers["Referrer-Policy"] == policy
        assert answer.headers["Cache-Control"] == "private, no-store"
        assert answer.headers["X-Robots-Tag"] == "noindex"


def test_following_a_link_changes_nothing(visit: Visit) -> None:
    before = facts()
    for rest in ("", "move/", "call-off/", "visit.ics"):
        assert client_at().get(page_of(visit, rest)).status_code == 200
        client_at().head(page_of(visit, rest))
    assert facts() == before


def test_times_are_the_shops_own_in_summer_too(shop_world: object) -> None:
    visit = booked(SUMMER)
    assert visit.starts_at == datetime(2026, 7, 7, 7, 0, tzinfo=UTC)
    assert "Tuesday 7 July 2026, 08:00" in text_of(visit, SUMMER)


def test_calling_off_asks_first_and_frees_the_time(visit: Visit) -> None:
    client = client_at()
    assert "Call this visit off?" in client.get(page_of(visit, "call-off/")).content.decode()
    answer = client.post(page_of(visit, "call-off/"), {"reason": "Sold it\nyesterday"})
    assert answer.headers["Location"] == page_of(visit)
    visit.refresh_from_db()
    assert (visit.state, Claim.objects.count()) == ("called_off", 0)
    event = visit.events.last()
    assert event is not None
    assert (event.actor, event.reason) == ("rider, online", "Sold it yesterday")
    assert "has been called off" in text_of(visit)
    again = client.post(page_of(visit, "call-off/"), {"reason": ""})
    assert again.status_code == 409
    assert visit.events.filter(action="called off").count() == 1


def test_moving_takes_the_new_time_and_frees_the_old(visit: Visit) -> None:
    client = client_at()
    starts = starts_shown(client.get(page_of(visit, "move/")))
    answer = client.post(page_of(visit, "move/"), {"start": starts[3]})
    assert answer.headers["Location"] == page_of(visit)
    visit.refresh_from_db()
    assert visit.starts_at == datetime.fromisoformat(starts[3])
    assert Claim.objects.filter(visit=visit).count() == visit.booked_minutes // 15
    before = facts()
    assert client.post(page_of(visit, "move/"), {"start": starts[3]}).status_code == 302
    assert facts() == before


def test_a_time_that_is_not_free_moves_nothing(visit: Visit) -> None:
    before = facts()
    for start in ("", "soon", "2026-03-03T02:00Z", "2020-01-01T10:00Z"):
        page = client_at().post(page_of(visit, "move/"), {"start": start})
        assert page.status_code == 422
        assert page.context["form"].errors.keys() == {"start"}
    assert facts() == before


def test_close_to_the_day_a_rider_rings_instead_of_moving(visit: Visit) -> None:
    soon = visit.starts_at - timedelta(hours=2)
    bookings.confirm(visit=visit, now=NOW, actor="morgan")
    before = facts()
    text = text_of(visit, soon)
    assert "Choose another time" not in text
    assert "too near to be moved online" in text
    answer = client_at(soon).post(page_of(visit, "move/"), {"start": "2026-03-09T10:00Z"})
    assert answer.status_code == 409
    assert "Please ring us" in answer.content.decode()
    assert client_at(visit.starts_at).post(page_of(visit, "call-off/"), {}).status_code == 409
    assert facts() == before


def test_a_hold_that_ran_out_says_so_before_and_after_it_is_swept(visit: Visit) -> None:
    assert visit.pencilled_until is not None
    later = visit.pencilled_until + timedelta(seconds=1)
    assert "has run out" in text_of(visit, later)
    assert bookings.lapse_holds(now=later) == 1
    assert "was let go because it was not confirmed in time" in text_of(visit, later)


def test_the_calendar_entry_keeps_its_identity_through_every_change(visit: Visit) -> None:
    seen = []
    changes = iter([bookings.confirm, bookings.call_off])
    for _ in range(3):
        answer = client_at().get(page_of(visit, "visit.ics"))
        assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8; method=PUBLISH"
        event = vobject.readOne(answer.content.decode()).vevent
        seen.append((event.status.value, event.uid.value, int(event.sequence.value), event.dtstart.value))
        if change := next(changes, None):
            change(visit=visit, now=NOW, actor="morgan", reason="")
    assert [entry[0] for entry in seen] == ["TENTATIVE", "CONFIRMED", "CANCELLED"]
    assert {entry[1] for entry in seen} == {visit.calendar_uid}
    assert seen[0][2] < seen[1][2] < seen[2][2]
    assert {entry[3] for entry in seen} == {visit.starts_at}


def test_a_rider_without_an_address_gets_a_calendar_entry_too(shop_world: object) -> None:
    visit = booked(email="")
    answer = client_at().get(page_of(visit, "visit.ics"))
    assert answer.status_code == 200
    assert b"ATTENDEE" not in answer.content


def test_each_stage_of_the_visit_is_told_in_words(visit: Visit) -> None:
    def day(hours: float) -> datetime:
        return visit.starts_at + timedelta(hours=hours)

    bookings.confirm(visit=visit, now=NOW, actor="morgan")
    assert "Your visit is firm" in text_of(visit)
    drop = jobs.DropOffFacts(odometer_km=12345, key_tag="7")
    job = jobs.drop_off(visit=visit, facts=drop, now=day(0), actor="morgan")
    text = text_of(visit, day(0))
    assert "Your bike is here" in text
    assert "Call it off" not in text
    jobs.start_work(visit=visit, now=day(0.1), actor="morgan")
    assert "on the bench" in text_of(visit, day(1))
    jobs.finish_work(visit=visit, now=day(4), actor="morgan")
    assert "coats are curing" in text_of(visit, day(5))
    Visit.objects.filter(pk=visit.pk).update(state="ready")
    assert "Before you ride off" in text_of(visit, day(30))
    Visit.objects.filter(pk=visit.pk).update(state="collected")
    job.refresh_from_db()
    type(job).objects.update(collected_at=day(31))
    text = text_of(visit, day(32))
    assert "try both brakes" in text
    assert "when they are due" in text


def test_forms_of_private_pages_need_their_token(visit: Visit) -> None:
    client = client_at(enforce_csrf_checks=True)
    before = facts()
    for rest in ("move/", "call-off/"):
        assert client.post(page_of(visit, rest), {"start": "x", "reason": "y"}).status_code == 403
    assert facts() == before
