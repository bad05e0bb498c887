"""The services on a real database: what they write, what they refuse, and that a refusal leaves nothing behind."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from django.db import IntegrityError

from bookings import selectors
from bookings.models import (
    Bike,
    BookingRequest,
    Claim,
    Closure,
    CoatApplied,
    Job,
    Product,
    Rider,
    SafetySignOff,
    Shop,
    Step,
    Tier,
    Visit,
    VisitEvent,
)
from bookings.rules.safety import NEVER_COATED, ForbiddenCoat, OpenSafetyItems, required_items
from bookings.rules.transitions import RULES, Action, WrongState
from bookings.rules.types import Method, SafetyItem, VisitState, Zone
from bookings.services import bookings, diary, jobs, requests

pytestmark = pytest.mark.django_db

NOW = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)  # a Monday; the shop's clock shows the same
START = datetime(2025, 11, 4, 9, 0, tzinfo=UTC)
WHO = {"actor": "morgan"}


def ask(*, key: UUID | None = None, **facts: str) -> BookingRequest:
    rider = requests.RiderFacts(
        name=facts.get("name", "Ilka Thorne"),
        email=facts.get("email", "ilka@example.com"),
        phone_e164=facts.get("phone_e164", "+447700900111"),
    )
    bike = requests.BikeFacts(description="grey twin", registration=facts.get("registration", "RB11 AAA"))
    return requests.receive(
        submission_key=key or uuid4(),
        source=BookingRequest.Source.PHONE,
        rider=rider,
        bike=bike,
        tier=Tier.objects.get(code="season-guard"),
        now=NOW,
    )


def pencilled(start: datetime = START, registration: str = "RB11 AAA") -> Visit:
    return bookings.pencil(request=ask(registration=registration), start=start, now=NOW, actor="morgan")


def confirmed(start: datetime = START) -> Visit:
    return bookings.confirm(visit=pencilled(start), now=NOW, **WHO)


def dropped_off(may_remove_fasteners: bool = False) -> Job:
    known = jobs.DropOffFacts(odometer_km=41_200, key_tag="7", may_remove_fasteners=may_remove_fasteners)
    return jobs.drop_off(visit=confirmed(), facts=known, now=START, **WHO)


def in_work(may_remove_fasteners: bool = False) -> Job:
    return jobs.start_work(visit=dropped_off(may_remove_fasteners).visit, now=START, **WHO)


def coat(job: Job, zone: Zone = Zone.FRAME, kind: str = "clear_film", at: datetime = START) -> CoatApplied:
    product = Product.objects.get(coat_kind=kind)
    return jobs.record_coat(job=job, zone=zone, product=product, method=Method.MIST, batch="B-1", now=at, **WHO)


def sign_all(job: Job) -> None:
    for item in required_items(Job.objects.get(pk=job.pk).fasteners_removed):
        jobs.sign_off(job=job, item=item, now=START, **WHO)


def trail(visit: Visit) -> list[str]:
    return list(visit.events.values_list("action", flat=True))


def held(visit: Visit) -> list[int]:
    return list(Claim.objects.filter(visit=visit).order_by("quarter").values_list("quarter", flat=True))


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
        assert moved.promised_at == moved.work_until
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


class TestJobs:
    def test_the_whole_way_through(self, shop_world: Shop) -> None:
        job = in_work(may_remove_fasteners=True)
        visit = job.visit
        for step in visit.tier.steps.all():
            jobs.tick_step(job=job, step=step, now=START, **WHO)
        coat(job)
        jobs.note_fasteners(job=job, removed=True, now=START, **WHO)
        sign_all(job)
        done = START + timedelta(hours=2)
        job = jobs.finish_work(visit=visit, now=done, **WHO)
        assert job.cured_at == done + timedelta(minutes=60)
        with pytest.raises(jobs.StillCuring) as refusal:
            jobs.make_ready(visit=visit, now=done + timedelta(minutes=59), **WHO)
        assert refusal.value.until == job.cured_at
        jobs.make_ready(visit=visit, now=job.cured_at, **WHO)
        job = jobs.hand_over(visit=visit, collected_by="Ilka Thorne", now=job.cured_at, **WHO)
        assert (job.collected_by, job.visit.state) == ("Ilka Thorne", VisitState.COLLECTED)
        assert trail(visit) == [
            "pencilled", "confirmed", "dropped off", "started work", "finished work", "ready", "collected",
        ]  # fmt: skip

    @pytest.mark.parametrize("zone", sorted(NEVER_COATED))
    def test_no_coat_on_what_can_kill_through_the_service(self, shop_world: Shop, zone: Zone) -> None:
        job = in_work()
        with pytest.raises(ForbiddenCoat):
            coat(job, zone)
        assert not job.coats.exists()

    @pytest.mark.parametrize("zone", sorted(NEVER_COATED))
    def test_nor_by_going_round_it_to_the_database(self, shop_world: Shop, zone: Zone) -> None:
        job = in_work()
        facts = {"kind": "wax", "product": Product.objects.all()[0], "method": "hand", "applied_by": "morgan"}
        with pytest.raises(IntegrityError):
            CoatApplied.objects.create(job=job, zone=zone, applied_at=START, **facts)

    def test_the_same_kind_again_corrects_the_record(self, shop_world: Shop) -> None:
        job = in_work()
        assert coat(job).pk == coat(job).pk
        assert coat(job, kind="heavy_film").pk != coat(job).pk
        assert job.coats.count() == 2

    def test_a_tick_from_two_devices_is_one_tick(self, shop_world: Shop) -> None:
        job = in_work()
        step = job.visit.tier.steps.first()
        assert step is not None
        first = jobs.tick_step(job=job, step=step, now=START, actor="morgan")
        second = jobs.tick_step(job=job, step=step, now=START + timedelta(minutes=1), actor="robin")
        assert (first.pk, second.done_by) == (second.pk, "morgan")
        jobs.untick_step(job=job, step=step)
        assert not job.steps_done.exists()

    def test_a_step_of_another_tier_is_refused(self, shop_world: Shop) -> None:
        job = in_work()
        with pytest.raises(WrongState):
            jobs.tick_step(job=job, step=Step.objects.exclude(tier=job.visit.tier)[0], now=START, **WHO)

    def test_fasteners_stay_in_unless_the_rider_agreed(self, shop_world: Shop) -> None:
        with pytest.raises(WrongState, match="has not agreed"):
            jobs.note_fasteners(job=in_work(), removed=True, now=START, **WHO)

    @pytest.mark.parametrize("missing", SafetyItem)
    def test_one_open_check_keeps_the_bike_here(self, shop_world: Shop, missing: SafetyItem) -> None:
        job = in_work(may_remove_fasteners=True)
        jobs.note_fasteners(job=job, removed=True, now=START, **WHO)
        for item in set(SafetyItem) - {missing}:
            jobs.sign_off(job=job, item=item, now=START, **WHO)
        jobs.finish_work(visit=job.visit, now=START, **WHO)
        with pytest.raises(OpenSafetyItems) as refusal:
            jobs.make_ready(visit=job.visit, now=START + timedelta(days=3), **WHO)
        assert refusal.value.items == (missing,)
        assert Visit.objects.get(pk=job.visit.pk).state == VisitState.CURING

    def test_a_coat_put_on_after_the_check_opens_the_check_again(self, shop_world: Shop) -> None:
        job = in_work()
        sign_all(job)
        coat(job)
        left = set(SafetySignOff.objects.filter(job=job).values_list("item", flat=True))
        assert left == {SafetyItem.BRAKE_FUNCTION, SafetyItem.LIGHTS_SWITCHES}
        reopened = VisitEvent.objects.get(visit=job.visit, action="checks reopened")
        assert "brakes clear (morgan)" in reopened.reason

    def test_fasteners_out_after_the_torque_check_open_it_again(self, shop_world: Shop) -> None:
        job = in_work(may_remove_fasteners=True)
        jobs.sign_off(job=job, item=SafetyItem.FASTENERS_TORQUED, now=START, **WHO)
        jobs.note_fasteners(job=job, removed=True, now=START, **WHO)
        assert not job.sign_offs.exists()

    def test_a_check_is_signed_once_by_the_first_name(self, shop_world: Shop) -> None:
        job = in_work()
        for name in ("morgan", "robin"):
            jobs.sign_off(job=job, item=SafetyItem.BRAKES_CLEAR, now=START, actor=name)
        assert [signed.signed_by for signed in job.sign_offs.all()] == ["morgan"]


WITH_JOB = {VisitState.DROPPED_OFF, VisitState.IN_WORK, VisitState.CURING, VisitState.READY, VisitState.COLLECTED}


def visit_in(state: VisitState) -> Visit:
    """A visit put into `state`, with a job record where such a visit has one, and all checks signed."""
    visit = pencilled()
    if state is not VisitState.PENCILLED:
        visit = bookings.confirm(visit=visit, now=NOW, **WHO)
    if state in WITH_JOB:
        job = Job.objects.create(visit=visit, dropped_off_at=START, odometer_km=1, key_tag="1", cured_at=START)
        for item in SafetyItem:
            SafetySignOff.objects.create(job=job, item=item, signed_at=START, signed_by="morgan")
    Visit.objects.filter(pk=visit.pk).update(state=state)
    return Visit.objects.get(pk=visit.pk)


def do(action: Action, visit: Visit) -> None:
    when = START + timedelta(hours=5)
    facts = jobs.DropOffFacts(odometer_km=1, key_tag="1")
    {
        Action.CONFIRM: lambda: bookings.confirm(visit=visit, now=NOW, **WHO),
        Action.MOVE: lambda: bookings.move(visit=visit, start=START + timedelta(days=1), now=NOW, reason="", **WHO),
        Action.CALL_OFF: lambda: bookings.call_off(visit=visit, now=NOW, reason="", **WHO),
        Action.MISS: lambda: bookings.miss(visit=visit, now=when, **WHO),
        Action.DROP_OFF: lambda: jobs.drop_off(visit=visit, facts=facts, now=when, **WHO),
        Action.START_WORK: lambda: jobs.start_work(visit=visit, now=when, **WHO),
        Action.FINISH_WORK: lambda: jobs.finish_work(visit=visit, now=when, **WHO),
        Action.MAKE_READY: lambda: jobs.make_ready(visit=visit, now=when, **WHO),
        Action.HAND_OVER: lambda: jobs.hand_over(visit=visit, collected_by="Ilka", now=when, **WHO),
    }[action]()


FORBIDDEN = [
    (state, action)
    for state in VisitState
    for action, (sources, _) in RULES.items()
    if action is not Action.LAPSE and state not in sources
]


@pytest.mark.parametrize(("state", "action"), FORBIDDEN, ids=lambda value: value.value)
def test_every_forbidden_action_is_refused_and_leaves_no_trace(
    shop_world: Shop, state: VisitState, action: Action
) -> None:
    visit = visit_in(state)
    before = (trail(visit), held(visit), Job.objects.filter(visit=visit).values().first())
    with pytest.raises(WrongState):
        do(action, visit)
    fresh = Visit.objects.get(pk=visit.pk)
    assert fresh.state == state
    assert (trail(visit), held(visit), Job.objects.filter(visit=visit).values().first()) == before


@pytest.mark.parametrize("state", sorted(set(VisitState) - {VisitState.IN_WORK}))
def test_work_is_recorded_only_while_the_bike_is_in_work(shop_world: Shop, state: VisitState) -> None:
    visit = visit_in(state)
    job, _ = Job.objects.get_or_create(
        visit=visit, defaults={"dropped_off_at": START, "odometer_km": 1, "key_tag": "1", "may_remove_fasteners": True}
    )
    step = visit.tier.steps.all()[0]
    for write in (
        lambda: coat(job),
        lambda: jobs.tick_step(job=job, step=step, now=START, **WHO),
        lambda: jobs.untick_step(job=job, step=step),
        lambda: jobs.note_fasteners(job=job, removed=True, now=START, **WHO),
        lambda: jobs.remove_coat(job=job, coat=CoatApplied(pk=1, job=job)),
    ):
        with pytest.raises(WrongState):
            write()
    assert not (job.coats.exists() or job.steps_done.exists())


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
