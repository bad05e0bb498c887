"""Pages of one bike in a real browser: access rules in both schemes and sizes, and telling without JavaScript."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from bookings.links import bike_token
from bookings.models import Bike, Shop
from bookings.rules.types import Zone
from reminders.models import Told, Tour, ZoneFinding
from reminders.services import inspection, planning, readings
from reminders.services.inspection import ZoneFound
from reminders.services.telling import Teller
from tests.functional.test_access import SIZES, check
from tests.functional.test_staff_workbench import GLOVE_PIXELS, press, see, signed_in
from tests.parts.browsers import OpenPage
from tests.parts.stories import collected

pytestmark = pytest.mark.django_db(transaction=True)
AUTUMN = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
SPRING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PASSED = {"X-Rimebook-Now": SPRING.isoformat()}


@pytest.fixture
def bike(shop_world: Shop) -> Bike:
    """A bike of which everything has been told that can be."""
    visit, moment = collected(AUTUMN)
    planning.plan(now=moment)
    bike = visit.bike
    rider, staff = Teller(Told.Teller.RIDER, "Ines Halloway"), Teller(Told.Teller.STAFF, "Morgan")
    readings.note_odometer(bike=bike, on=date(2026, 1, 5), km=23_400, teller=rider, now=SPRING)
    readings.note_wash(bike=bike, on=date(2026, 1, 6), teller=staff, now=SPRING)
    days = {"first_day": date(2025, 12, 1), "last_day": date(2025, 12, 20)}
    readings.note_tour(bike=bike, km=1500, salted=True, teller=rider, now=SPRING, **days)
    found = [ZoneFound(Zone.FASTENERS, rating=10, film_left=0.1), ZoneFound(Zone.FRAME, rating=5)]
    inspection.note_findings(bike=bike, on=date(2026, 2, 20), found=found, teller=staff, now=SPRING)
    return bike


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_of_a_bike_are_within_reach_of_everybody(
    bike: Bike, staff_user: User, open_page: OpenPage, axe: Callable[[Page], None], size: str, scheme: str
) -> None:
    page = signed_in(open_page(*SIZES[size], headers=PASSED), staff_user)
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    own, bench = f"/bike/{bike_token(bike)}/", f"/workbench/bikes/{bike.pk}/"
    for address in (own, bench, f"{bench}findings/"):
        see(page, address)
        check(page, axe)
    for address in (own, bench):
        see(page, address)
        press(page, "Note the tour")
        expect(page.get_by_role("alert")).to_be_focused()
        see_folds(page)
        check(page, axe)
    see(page, f"{bench}findings/")
    press(page, "Note what was found")
    check(page, axe)


def see_folds(page: Page) -> None:
    """Unfold what is folded, so that it is looked at too."""
    page.evaluate("() => document.querySelectorAll('details').forEach((part) => { part.open = true; })")


def test_a_rider_tells_of_a_tour_without_javascript(bike: Bike, open_page: OpenPage) -> None:
    page = open_page(javascript=False, headers=PASSED)
    page.goto(f"/bike/{bike_token(bike)}/")
    page.get_by_text("A tour", exact=True).click()
    tour = page.locator("#tell-tour")
    tour.get_by_label("First day").fill("2026-02-10")
    tour.get_by_label("Last day").fill("2026-02-14")
    tour.get_by_label("Kilometres").fill("2 500")
    press(page, "Note the tour")
    expect(page.get_by_role("alert")).to_contain_text("Say whether the roads were salted.")
    expect(tour.get_by_label("Kilometres")).to_have_value("2 500")
    expect(tour.get_by_label("First day")).to_have_value("2026-02-10")
    tour.get_by_label("Yes, at least some of them").check()
    press(page, "Note the tour")
    expect(page.get_by_role("status")).to_contain_text("Noted.")
    expect(page.get_by_role("row", name="2,500 km on salted roads")).to_contain_text("you")
    assert Tour.objects.filter(km=2500, salted=True).count() == 1
    page.get_by_role("row", name="2,500 km").get_by_role("button").click()
    expect(page.get_by_role("status")).to_contain_text("Taken back.")
    expect(page.get_by_role("row", name="2,500 km")).to_have_count(0)


def test_staff_grade_with_gloves_on_a_phone_without_javascript(
    bike: Bike, staff_user: User, open_page: OpenPage
) -> None:
    page = signed_in(open_page(javascript=False, headers=PASSED), staff_user)
    page.goto(f"/workbench/bikes/{bike.pk}/findings/")
    small = page.locator("main button, main .button, main select").evaluate_all(
        "(things, least) => things.filter((it) => it.getBoundingClientRect().height < least).map((it) => it.outerHTML)",
        GLOVE_PIXELS,
    )
    assert not small, small
    paint = page.get_by_role("group", name="Paint")
    paint.get_by_label("Water still beads").select_option("on about half")
    press(page, "Note what was found")
    expect(page.get_by_role("alert")).to_contain_text("Grade the rust too")
    expect(paint.get_by_label("Water still beads")).to_have_value("0.5")
    paint.get_by_label("Rust or white bloom").select_option("no rust and no white bloom")
    press(page, "Note what was found")
    expect(page.get_by_role("status")).to_contain_text("Coats on this bike wear")
    assert ZoneFinding.objects.get(coat__zone="paint").film_left == 0.5
