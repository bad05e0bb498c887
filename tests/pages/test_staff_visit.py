"""Each act on a visit through its page: what it does, what it refuses, and that what was typed survives."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from bookings.models import Job, Shop, Visit
from bookings.rules.transitions import RULES, Action
from bookings.rules.types import VisitState
from bookings.services import bookings
from tests.pages.bench_walk import act, rows, staff_at, text
from tests.parts.visits import NOW, START, WHO, confirmed, dropped_off, held, pencilled, visit_in

pytestmark = pytest.mark.django_db

VERBS = {
    "confirm": Action.CONFIRM,
    "move": Action.MOVE,
    "call-off": Action.CALL_OFF,
    "missed": Action.MISS,
    "drop-off": Action.DROP_OFF,
    "start": Action.START_WORK,
    "finish": Action.FINISH_WORK,
    "ready": Action.MAKE_READY,
    "hand-over": Action.HAND_OVER,
}
LATER = (START + timedelta(days=1)).strftime("%Y-%m-%dT%H:%MZ")
DROP_OFF = {"odometer_km": "41 200", "key_tag": "7", "condition_seen": "crusted", "damage_notes": "scratch, left side"}
# What would do, were the state right.
GOOD = {
    "confirm": {"said_yes_by": "Ilka Thorne"},
    "move": {"start": LATER},
    "call-off": {"reason": "bike sold"},
    "drop-off": DROP_OFF,
    "hand-over": {"collected_by": "Ilka Thorne"},
}
FORBIDDEN = [(state, verb) for state in VisitState for verb, action in VERBS.items() if state not in RULES[action][0]]


@pytest.mark.parametrize(("state", "verb"), FORBIDDEN)
def test_every_forbidden_act_is_refused_in_words(shop_world: Shop, state: VisitState, verb: str) -> None:
    visit = visit_in(state)
    before = rows()
    answer = act(visit, verb, START + timedelta(hours=5), **GOOD.get(verb, {}))
    assert answer.status_code == 409
    assert f"This visit is {state.replace('_', ' ')}" in text(answer)
    assert "<title>Error:" in text(answer)
    assert rows() == before


@pytest.mark.parametrize("state", VisitState)
def test_the_page_of_a_visit_offers_only_what_its_state_allows(shop_world: Shop, state: VisitState) -> None:
    visit = visit_in(state)
    page = text(staff_at(START + timedelta(hours=5)).get(reverse("staff:visit", args=[visit.pk])))
    offered = {verb for verb in VERBS if f'"{reverse("staff:act", args=[visit.pk, verb])}"' in page}
    assert offered <= {verb for verb, action in VERBS.items() if state in RULES[action][0]}
    ended = {VisitState.COLLECTED, VisitState.CALLED_OFF, VisitState.MISSED}
    assert offered or state in ended or state in {VisitState.CURING}


def test_confirming_keeps_who_said_yes(shop_world: Shop) -> None:
    visit = pencilled()
    answer = act(visit, "confirm", said_yes_by="Ilka Thorne", note="will be early")
    assert answer.status_code == 302
    visit.refresh_from_db()
    event = visit.events.latest("pk")
    assert (visit.state, event.actor) == ("confirmed", "Morgan")
    assert event.reason == "Ilka Thorne said yes. will be early"


def test_a_lapsed_hold_cannot_be_confirmed_and_the_page_says_what_to_do(shop_world: Shop) -> None:
    visit = pencilled()
    late = NOW + timedelta(minutes=shop_world.pencil_hold_minutes + 1)
    answer = act(visit, "confirm", late, said_yes_by="Ilka", note="typed before")
    assert answer.status_code == 409
    assert "has been let go" in text(answer)
    assert 'value="typed before"' in text(answer)
    page = text(staff_at(late).get(reverse("staff:visit", args=[visit.pk])))
    assert "the hold has lapsed" in page


def test_moving_offers_what_is_free_and_takes_it(shop_world: Shop) -> None:
    visit = confirmed()
    page = text(staff_at().get(reverse("staff:act", args=[visit.pk, "move"])))
    assert f'value="{LATER}"' in page
    assert act(visit, "move", start=LATER, reason="train is late").status_code == 302
    visit.refresh_from_db()
    assert visit.starts_at == START + timedelta(days=1)


@pytest.mark.parametrize("start", ["", "yesterday", "2025-11-04T03:00Z", "2025-11-04T09:07Z", "9" * 400])
def test_a_time_that_is_not_free_is_refused_at_the_field(shop_world: Shop, start: str) -> None:
    visit = confirmed()
    before = held(visit)
    answer = act(visit, "move", start=start, reason="typed before")
    assert answer.status_code == 422
    assert 'value="typed before"' in text(answer)
    assert held(visit) == before


def test_calling_off_needs_a_reason(shop_world: Shop) -> None:
    visit = confirmed()
    assert act(visit, "call-off", reason="  ").status_code == 422
    assert act(visit, "call-off", reason="bike sold").status_code == 302
    visit.refresh_from_db()
    assert visit.state == "called_off"


def test_a_bike_that_may_still_come_has_not_been_missed(shop_world: Shop) -> None:
    answer = act(confirmed(), "missed", START - timedelta(hours=1))
    assert answer.status_code == 409
    assert "still to come" in text(answer)


def test_dropping_off_keeps_what_was_seen(shop_world: Shop) -> None:
    visit = confirmed()
    answer = act(visit, "drop-off", START, **DROP_OFF, may_remove_fasteners="on", collector_name="Odo")
    assert answer.status_code == 302
    job = Job.objects.get(visit=visit)
    assert (job.odometer_km, job.key_tag, job.condition_seen) == (41_200, "7", "crusted")
    assert (job.may_remove_fasteners, job.collector_name) == (True, "Odo")
    assert visit.request.condition_told == "dirty", "what was told stays beside what was seen"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("odometer_km", ""), ("odometer_km", "many"), ("odometer_km", "-1"), ("odometer_km", "1e5"),
        ("odometer_km", "99999999999"), ("key_tag", ""), ("key_tag", "x" * 21), ("condition_seen", "shiny"),
    ],
)  # fmt: skip
def test_a_mistake_at_drop_off_is_said_at_its_field(shop_world: Shop, field: str, value: str) -> None:
    visit = confirmed()
    answer = act(visit, "drop-off", START, **(DROP_OFF | {field: value}))
    assert answer.status_code == 422
    page = text(answer)
    assert f'href="#id_{field}' in page
    assert "scratch, left side" in page
    assert not Job.objects.exists()


def test_a_hook_that_holds_a_key_takes_no_second_one(shop_world: Shop) -> None:
    first = dropped_off()
    second = confirmed()
    answer = act(second, "drop-off", START, **(DROP_OFF | {"key_tag": first.key_tag}))
    assert answer.status_code == 422
    assert f"That hook holds the key of {first.visit.bike}" in text(answer)
    assert act(second, "drop-off", START, **(DROP_OFF | {"key_tag": "8"})).status_code == 302


def test_handing_over_needs_a_name_and_closes_the_record(shop_world: Shop) -> None:
    visit = visit_in(VisitState.READY)
    assert act(visit, "hand-over", START, collected_by="").status_code == 422
    assert act(visit, "hand-over", START, collected_by="Odo Marsh").status_code == 302
    assert Job.objects.get(visit=visit).collected_by == "Odo Marsh"


def test_ready_is_refused_until_checked_and_cured(shop_world: Shop) -> None:
    visit = visit_in(VisitState.CURING)
    job = Job.objects.get(visit=visit)
    job.sign_offs.filter(item="brake_function").delete()
    refused = act(visit, "ready", START)
    assert refused.status_code == 409
    assert "Not signed off yet: Front and rear brakes bite firmly" in text(refused)
    job.sign_offs.create(item="brake_function", signed_at=START, signed_by="morgan")
    early = act(visit, "ready", START - timedelta(seconds=1))
    assert early.status_code == 409
    assert "The coats still cure, until Tue 4 Nov, 09:00" in text(early)
    assert act(visit, "ready", START).status_code == 302


def test_the_refusal_of_an_uncured_bike_gives_the_shops_own_time(shop_world: Shop) -> None:
    visit = visit_in(VisitState.CURING)
    Job.objects.filter(visit=visit).update(cured_at=START.replace(month=7, day=1))
    answer = act(visit, "ready", START.replace(month=6, day=30))
    assert answer.status_code == 409
    assert "until Tue 1 Jul, 10:00" in text(answer), "09:00 UTC is 10:00 in an English summer"


def test_confirming_from_todays_list_leads_back_there(shop_world: Shop) -> None:
    answer = act(pencilled(), "confirm", said_yes_by="Ilka Thorne", back="today")
    assert answer.headers["Location"] == reverse("staff:today")


def test_what_riders_type_cannot_become_markup(shop_world: Shop) -> None:
    visit = pencilled()
    visit.bike.rider.name = visit.bike.description = "<script>alert(1)</script>"
    visit.bike.rider.save()
    visit.bike.save()
    client = staff_at()
    addresses = [reverse("staff:today"), reverse("staff:diary"), reverse("staff:calls") + "?q=%3Cscript%3E"]
    addresses += [reverse(f"staff:{name}", args=[visit.pk]) for name in ("visit", "sheet", "read-back")]
    for address in addresses:
        assert "<script>alert" not in text(client.get(address)), address


def test_no_such_visit_or_act_is_not_found(shop_world: Shop) -> None:
    visit, client = pencilled(), staff_at()
    for address in (
        "/workbench/visits/999999/",
        f"/workbench/visits/{visit.pk}/explode/",
        "/workbench/visits/9/bench/",
    ):
        assert client.get(address).status_code == 404
    assert client.get(f"/workbench/visits/{'9' * 30}/").status_code == 404


def test_the_bench_sheet_has_all_the_bench_needs_and_no_address(shop_world: Shop) -> None:
    job = dropped_off()
    page = text(staff_at(START).get(reverse("staff:sheet", args=[job.visit.pk])))
    for wanted in ("RB11 AAA", "Ilka Thorne", "rolled and pumped", "Torque", "exhaust", "Never: brake discs"):
        assert wanted in page
    for private in ("ilka@example.com", "07700 900111", "+447700900111"):
        assert private not in page


def test_earlier_visits_of_the_bike_are_at_hand(shop_world: Shop) -> None:
    first = bookings.call_off(visit=confirmed(), now=NOW, reason="rain", **WHO)
    second = pencilled(START + timedelta(days=1))
    page = text(staff_at().get(reverse("staff:visit", args=[second.pk])))
    assert reverse("staff:visit", args=[first.pk]) in page
    assert Visit.objects.count() == 2
