"""The job record on a real database, and every forbidden change of a visit tried."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError

from bookings.models import CoatApplied, Job, Product, SafetySignOff, Shop, Step, Visit, VisitEvent
from bookings.rules.safety import NEVER_COATED, ForbiddenCoat, OpenSafetyItems
from bookings.rules.transitions import RULES, Action, WrongState
from bookings.rules.types import SafetyItem, VisitState, Zone
from bookings.services import jobs
from tests.parts.visits import START, WHO, coat, do, held, in_work, sign_all, trail, visit_in

pytestmark = pytest.mark.django_db


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
