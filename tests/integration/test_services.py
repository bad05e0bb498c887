"""Requests and the diary on a real database: what they write and refuse, and that a refusal leaves nothing behind."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError

from bookings import selectors
from bookings.models import Bike, Claim, Closure, Rider, Shop, Visit, VisitEvent
from bookings.rules.transitions import WrongState
from bookings.rules.types import VisitState
from bookings.services import bookings, diary
from tests.parts.visits import NOW, START, WHO, ask, confirmed, held, pencilled, trail

pytestmark = pytest.mark.django_db


class TestRequests:
    def test_one_form_sent_twice_is_one_request_and_one_visit(self, shop_world: Shop) -> None:
        key = uuid4()
        first, second = ask(key=key), ask(key=key)
        assert first.pk == second.pk
        assert Rider.objects.count() == Bike.objects.count() == 1
        visits = {
            bookings.pencil(request=request, start=START, now=NOW, actor="morgan").pk for request in (first, second)
        }
        assert len(visits) == 1
        assert trail(Visit.objects.get()) == ["pencilled"]

    def test_a_known_bike_has_its_habits_brought_up_to_date(self, shop_world: Shop) -> None:
        assert ask().bike_id == ask(registration="rb11 aaa").bike_id

    def test_a_stranger_with_a_known_address_is_not_taken_for_its_owner(self, shop_world: Shop) -> None:
        known = ask().bike.rider
        stranger = ask(name="Somebody Else", phone_e164="+447700900222", registration="").bike.rider
        assert stranger.pk != known.pk
        known.refresh_from_db()
        assert known.name == "Ilka Thorne"

    def test_facts_the_database_refuses_are_not_mistaken_for_a_second_submit(self, shop_world: Shop) -> None:
        with pytest.raises(IntegrityError):
            ask(email="", phone_e164="")


class TestDiary:
    def test_a_pencilled_visit_holds_its_quarters_until_it_lapses(self, shop_world: Shop) -> None:
        visit = pencilled()
        assert visit.pencilled_until == NOW + timedelta(minutes=shop_world.pencil_hold_minutes)
        assert len(held(visit)) == visit.booked_minutes // 15
        assert held(visit)[0] * 900 == START.timestamp()

    def test_as_many_visits_as_bays_and_then_no_more(self, shop_world: Shop) -> None:
        assert {pencilled(registration=f"RB11 AA{n}").bay.name for n in "AB"} == {b.name for b in selectors.bays()}
        with pytest.raises(diary.SlotTaken):
            pencilled(registration="RB11 AAC")
        assert Visit.objects.count() == 2

    @pytest.mark.parametrize(
        ("start", "why"),
        [
            (datetime(2025, 11, 4, 7, 45, tzinfo=UTC), "before opening"),
            (datetime(2025, 11, 4, 17, 0, tzinfo=UTC), "runs past closing"),
            (datetime(2025, 11, 5, 9, 0, tzinfo=UTC), "closed that day"),
            (NOW - timedelta(minutes=15), "already past"),
        ],
    )
    def test_no_visit_outside_the_hours_of_the_shop(self, shop_world: Shop, start: datetime, why: str) -> None:
        Closure.objects.create(day=datetime(2025, 11, 5).date(), reason="stocktaking")  # noqa: DTZ001
        with pytest.raises(diary.SlotTaken):
            pencilled(start)
        assert not Visit.objects.exists(), why
        assert not Claim.objects.exists()

    def test_a_lapsed_hold_is_taken_over_and_cannot_be_confirmed(self, shop_world: Shop) -> None:
        first = [pencilled(registration=f"RB11 AA{n}") for n in "AB"]
        late = NOW + timedelta(minutes=shop_world.pencil_hold_minutes, seconds=1)
        start = START + timedelta(days=1)
        for visit in first:
            bookings.move(visit=visit, start=start, now=NOW, reason="later suits better", **WHO)
        second = bookings.pencil(request=ask(registration="RB11 AAC"), start=start, now=late, actor="morgan")
        assert second.state == VisitState.PENCILLED
        with pytest.raises(diary.HoldLapsed):
            bookings.confirm(visit=first[0], now=late, **WHO)
        first[0].refresh_from_db()
        assert first[0].state == VisitState.PENCILLED

    def test_moving_a_lapsed_hold_holds_the_new_time_afresh(self, shop_world: Shop) -> None:
        visit = pencilled()
        late = NOW + timedelta(minutes=shop_world.pencil_hold_minutes + 1)
        moved = bookings.move(visit=visit, start=START + timedelta(days=2), now=late, reason="asked for it", **WHO)
        assert moved.pencilled_until is not None
        assert moved.pencilled_until > late
        assert bookings.confirm(visit=moved, now=late, **WHO).state == VisitState.CONFIRMED

    def test_a_confirmed_visit_is_firm_and_a_move_frees_its_old_time(self, shop_world: Shop) -> None:
        visit = confirmed()
        assert not Claim.objects.filter(visit=visit, expires_at__isnull=False).exists()
        before = held(visit)
        moved = bookings.move(visit=visit, start=START + timedelta(hours=1), now=NOW, reason="train late", **WHO)
        assert held(moved) == [quarter + 4 for quarter in before]
        assert moved.promised_at == visit.promised_at + timedelta(hours=1)
        assert moved.calendar_sequence == visit.calendar_sequence + 1

    def test_a_move_onto_taken_time_changes_nothing(self, shop_world: Shop) -> None:
        later = START + timedelta(days=1)
        for n in "AB":
            pencilled(later, registration=f"RB11 AA{n}")
        visit = pencilled()
        before = held(visit)
        with pytest.raises(diary.SlotTaken):
            bookings.move(visit=visit, start=later, now=NOW, reason="", **WHO)
        visit.refresh_from_db()
        assert (visit.starts_at, held(visit), trail(visit)) == (START, before, ["pencilled"])

    def test_calling_off_frees_the_time(self, shop_world: Shop) -> None:
        visit = bookings.call_off(visit=confirmed(), now=NOW, reason="bike sold", **WHO)
        assert held(visit) == []
        assert visit.events.last() is not None
        assert VisitEvent.objects.filter(visit=visit, reason="bike sold", from_state="confirmed").count() == 1

    def test_only_holds_past_their_time_lapse_and_only_once(self, shop_world: Shop) -> None:
        lapsing, firm = pencilled(), confirmed(START + timedelta(days=1))
        assert bookings.lapse_holds(now=NOW) == 0
        late = NOW + timedelta(days=2)
        assert (bookings.lapse_holds(now=late), bookings.lapse_holds(now=late)) == (1, 0)
        lapsing.refresh_from_db()
        firm.refresh_from_db()
        assert (lapsing.state, firm.state) == (VisitState.CALLED_OFF, VisitState.CONFIRMED)

    def test_a_visit_still_to_come_cannot_have_been_missed(self, shop_world: Shop) -> None:
        visit = confirmed()
        with pytest.raises(WrongState, match="still to come"):
            bookings.miss(visit=visit, now=START - timedelta(seconds=1), **WHO)
        assert bookings.miss(visit=visit, now=START, **WHO).state == VisitState.MISSED

    def test_a_reply_to_an_older_invitation_is_not_kept(self, shop_world: Shop) -> None:
        visit = confirmed()
        sequence = visit.calendar_sequence
        assert not bookings.note_reply(visit=visit, reply="declined", sequence=sequence - 1, now=NOW, **WHO)
        assert bookings.note_reply(visit=visit, reply="accepted", sequence=sequence, now=NOW, **WHO)
        visit.refresh_from_db()
        assert (visit.rider_reply, visit.state) == ("accepted", VisitState.CONFIRMED)


class TestFreeStarts:
    def test_staff_are_offered_times_that_online_booking_no_longer_gives(self, shop_world: Shop) -> None:
        at_the_gate = selectors.free_starts(minutes=60, now=NOW, notice_minutes=0, limit=1)
        online = selectors.free_starts(minutes=60, now=NOW, limit=1)
        assert at_the_gate[0].start == NOW
        assert online[0].start == NOW.replace(hour=8) + timedelta(days=1)

    def test_held_time_is_offered_again_once_the_hold_has_lapsed(self, shop_world: Shop) -> None:
        for n in "AB":
            bookings.pencil(request=ask(registration=f"RB11 AA{n}"), start=START, now=NOW, hold_minutes=60, actor="m")

        def offered(now: datetime) -> bool:
            return START in {slot.start for slot in selectors.free_starts(minutes=60, now=now, notice_minutes=0)}

        assert not offered(NOW + timedelta(minutes=60))
        assert offered(NOW + timedelta(minutes=60, seconds=1))


class TestFinding:
    @pytest.mark.parametrize(
        "typed",
        ["thorne", "ilka thorne", "RB11 AAA", "rb11aaa", "rb 11aaa", "07700 900111", "0111", "+44 7700 900111",
         "grey", "ilka grey", "@example"],
    )  # fmt: skip
    def test_any_part_finds_the_rider(self, shop_world: Shop, typed: str) -> None:
        ask()
        assert [rider.name for rider in selectors.find(typed)] == ["Ilka Thorne"]

    @pytest.mark.parametrize("typed", ["", "x", "thorne yellow", "07700 900999", "model 900", "%", "__"])
    def test_what_fits_nobody_finds_nobody(self, shop_world: Shop, typed: str) -> None:
        ask()
        assert selectors.find(typed) == []

    def test_a_rider_is_listed_once_however_many_bikes_fit(self, shop_world: Shop) -> None:
        for n in "ABC":
            ask(registration=f"RB11 AA{n}")
        assert len(selectors.find("grey")) == 1
