"""The bench by its presses: ticks, coats, fasteners and checks; and forged ones, which no list offers."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bookings.models import CoatApplied, Job, Shop, Step
from bookings.rules.safety import COATED_ZONES, NEVER_COATED
from bookings.rules.types import SafetyItem, VisitState, Zone
from config.demo.shop import open_shop
from tests.pages.bench_walk import act, film, press, rows, staff_at, text
from tests.parts.visits import START, coat, in_work, visit_in

pytestmark = pytest.mark.django_db


def bench_page(job: Job) -> str:
    return text(staff_at(START).get(reverse("staff:bench", args=[job.visit.pk])))


def test_before_the_bike_is_here_there_is_no_bench(shop_world: Shop) -> None:
    visit = visit_in(VisitState.CONFIRMED)
    assert staff_at().get(reverse("staff:bench", args=[visit.pk])).status_code == 302
    assert press(visit, "tick", step="1").status_code == 404


def test_a_step_is_ticked_and_taken_back(shop_world: Shop) -> None:
    job = in_work()
    step = job.visit.tier.steps.all()[0]
    answer = press(job.visit, "tick", step=str(step.pk))
    assert answer.headers["Location"].endswith("/bench/#steps")
    assert [tick.done_by for tick in job.steps_done.all()] == ["Morgan"]
    assert "1 of 5 done" in bench_page(job)
    press(job.visit, "untick", step=str(step.pk))
    assert not job.steps_done.exists()


def test_one_press_records_a_coat_on_several_parts(shop_world: Shop) -> None:
    job = in_work()
    answer = press(job.visit, "coat", zone=["frame", "fork"], product=film(), method="mist", batch="K-1")
    assert answer.status_code == 302
    assert {(c.zone, c.kind, c.batch, c.method) for c in job.coats.all()} == {
        ("frame", "clear_film", "K-1", "mist"),
        ("fork", "clear_film", "K-1", "mist"),
    }


def test_the_list_offers_only_parts_that_may_be_coated(shop_world: Shop) -> None:
    page = bench_page(in_work())
    for zone in Zone:
        assert (f'name="zone" value="{zone}"' in page) is (zone in COATED_ZONES)


@pytest.mark.parametrize("zone", sorted(NEVER_COATED))
def test_a_forged_part_is_refused_with_the_reason(shop_world: Shop, zone: Zone) -> None:
    job = in_work()
    answer = press(job.visit, "coat", zone=["frame", zone], product=film(), method="mist", batch="K-2231")
    assert answer.status_code == 422
    assert NEVER_COATED[zone] in text(answer)
    assert 'value="K-2231"' in text(answer)
    assert not CoatApplied.objects.exists(), "not even the part that may be coated"


@pytest.mark.parametrize("wrong", ["zone", "product", "method"])
def test_a_coat_that_lacks_something_keeps_the_rest(shop_world: Shop, wrong: str) -> None:
    job = in_work()
    typed: dict[str, Any] = {"zone": "frame", "product": film(), "method": "mist", "batch": "K-2231"}
    answer = press(job.visit, "coat", **{name: value for name, value in typed.items() if name != wrong})
    assert answer.status_code == 422
    assert 'value="K-2231"' in text(answer)
    assert "<title>Error:" in text(answer)
    assert not CoatApplied.objects.exists()


def test_a_coat_is_taken_back_but_not_that_of_another_bike(shop_world: Shop) -> None:
    job = in_work()
    mine = coat(job)
    assert press(job.visit, "take-back", coat="999999").status_code == 422
    assert press(job.visit, "take-back", coat=str(mine.pk)).status_code == 302
    assert not job.coats.exists()


def test_fasteners_need_the_riders_word(shop_world: Shop) -> None:
    job = in_work()
    refused = press(job.visit, "fasteners", removed="yes")
    assert refused.status_code == 409
    assert "has not agreed" in text(refused)
    Job.objects.update(may_remove_fasteners=True)
    assert press(job.visit, "fasteners", removed="yes").status_code == 302
    assert "second look agrees" in bench_page(job), "the torque check is now asked for"
    assert press(job.visit, "fasteners", removed="perhaps").status_code == 422


def test_each_check_is_signed_by_name(shop_world: Shop) -> None:
    job = in_work()
    assert press(job.visit, "sign", item="brakes_clear", note="wiped twice").status_code == 302
    signed = job.sign_offs.get()
    assert (signed.item, signed.signed_by, signed.note) == ("brakes_clear", "Morgan", "wiped twice")
    assert "signed by Morgan" in bench_page(job)
    assert press(job.visit, "sign", item="polish_shines").status_code == 422


def test_a_coat_after_the_check_opens_it_again_on_the_page(shop_world: Shop) -> None:
    job = in_work()
    press(job.visit, "sign", item="brakes_clear")
    assert "4 open" in bench_page(job)
    press(job.visit, "coat", zone="frame", product=film(), method="mist")
    assert "5 open" in bench_page(job)


@pytest.mark.parametrize("state", [VisitState.DROPPED_OFF, VisitState.CURING, VisitState.READY, VisitState.COLLECTED])
def test_outside_work_every_press_is_refused(shop_world: Shop, state: VisitState) -> None:
    visit = visit_in(state)
    Job.objects.update(may_remove_fasteners=True)
    step = Step.objects.filter(tier=visit.tier)[0]
    before = rows()
    presses: dict[str, dict[str, Any]] = {
        "tick": {"step": str(step.pk)},
        "untick": {"step": str(step.pk)},
        "coat": {"zone": "frame", "product": film(), "method": "mist"},
        "fasteners": {"removed": "yes"},
    }
    for verb, typed in presses.items():
        assert press(visit, verb, **typed).status_code == 409, verb
    assert rows() == before


def test_a_step_of_another_tier_is_not_ticked(shop_world: Shop) -> None:
    job = in_work()
    other = Step.objects.exclude(tier=job.visit.tier)[0]
    assert press(job.visit, "tick", step=str(other.pk)).status_code == 422


def test_the_whole_way_by_pages(shop_world: Shop) -> None:
    visit = visit_in(VisitState.DROPPED_OFF)
    Job.objects.get(visit=visit).sign_offs.all().delete()
    assert act(visit, "start", START).headers["Location"] == reverse("staff:bench", args=[visit.pk])
    press(visit, "coat", START, zone="frame", product=film(), method="mist")
    done = START + timedelta(hours=2)
    assert act(visit, "finish", done).status_code == 302
    page = text(staff_at(done).get(reverse("staff:bench", args=[visit.pk])))
    assert "cure until" in page and "5 safety checks are open" in page
    for item in set(SafetyItem) - {SafetyItem.FASTENERS_TORQUED}:
        assert press(visit, "sign", done, item=item).status_code == 302
    assert act(visit, "ready", done + timedelta(minutes=59)).status_code == 409
    assert act(visit, "ready", done + timedelta(minutes=60)).status_code == 302
    assert act(visit, "hand-over", done + timedelta(hours=2), collected_by="Ilka").status_code == 302
    visit.refresh_from_db()
    assert visit.state == VisitState.COLLECTED


class AnythingTyped(TestCase):
    """No input makes a page of the bench fall over."""

    def setUp(self) -> None:
        open_shop()
        self.job = in_work()

    @settings(max_examples=25)
    @given(
        verb=st.sampled_from(["tick", "untick", "coat", "take-back", "fasteners", "sign"]),
        typed=st.dictionaries(
            st.sampled_from(["step", "zone", "product", "method", "batch", "coat", "removed", "item", "note"]),
            st.text(max_size=40),
        ),
    )
    def test_is_answered(self, verb: str, typed: dict[str, Any]) -> None:
        assert press(self.job.visit, verb, **typed).status_code in {302, 409, 422}
