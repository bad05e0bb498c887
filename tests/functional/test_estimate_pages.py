"""Climate, weather and numbers in a real browser: refusals and previews within reach, and all of it without script."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from config.demo.shop import open_shop
from tests.functional.test_access import check
from tests.functional.test_staff_workbench import AT_DESK, PASSWORD, SIZES, press, signed_in

OpenPage = Callable[..., Page]
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def lee(transactional_db: None) -> User:
    open_shop()
    return User.objects.create_user("lee", password=PASSWORD, is_staff=True, first_name="Lee")


def bring_days(page: Page, humidity: str) -> None:
    """Look at a table of one measured day."""
    page.goto("/workbench/climate/import/")
    page.get_by_label("days that were measured").check()
    header = "date,temperature_c,minimum_temperature_c,relative_humidity_percent"
    page.get_by_label("Or the table pasted in").fill(f"{header}\n2025-11-01,6,2,{humidity}\n")
    page.get_by_label("Where are the figures from?").fill("own thermometer")
    press(page, "Look at it first")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_refusals_and_previews_are_within_reach_of_everybody(
    open_page: OpenPage, axe: Callable[[Page], None], lee: User, size: str, scheme: str
) -> None:
    page = signed_in(open_page(*SIZES[size], headers=AT_DESK), lee)
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto("/workbench/estimate/parameters/coat.wax.life_km/")
    press(page, "Change it")
    check(page, axe)
    page.get_by_label("New value").fill("50000")
    page.get_by_label("Why?").fill("ten bikes came back better than expected")
    press(page, "Change it")
    check(page, axe)
    page.goto("/workbench/estimate/parameters/coat.wax.life_km/")
    check(page, axe)
    page.goto("/workbench/climate/")
    page.get_by_label("Mean, °C").first.fill("warm")
    press(page, "Keep the twelve months")
    expect(page.get_by_role("alert")).to_contain_text("January: mean, °C")
    check(page, axe)
    bring_days(page, "880")
    check(page, axe)
    bring_days(page, "88")
    check(page, axe)
    press(page, "Write these figures")
    page.locator("summary").first.click()
    check(page, axe)
    page.goto("/how-we-estimate/")
    check(page, axe)


def test_a_table_of_weather_is_looked_at_and_written_without_script(open_page: OpenPage, lee: User) -> None:
    page = signed_in(open_page(javascript=False, headers=AT_DESK), lee)
    bring_days(page, "880")
    refusal = "Line 2, relative_humidity_percent: must be a number from 5 to 100"
    expect(page.get_by_role("alert")).to_contain_text(refusal)
    expect(page.get_by_label("Or the table pasted in")).to_have_value(re.compile("2025-11-01,6,2,880"))
    bring_days(page, "88")
    expect(page.get_by_text("Nothing has been written yet.")).to_be_visible()
    press(page, "Write these figures")
    expect(page.get_by_role("status")).to_contain_text("1 day is new or different.")
    expect(page.get_by_text("1 day is known, 1 November 2025.")).to_be_visible()
    page.get_by_text("Take days out").first.click()
    page.get_by_label("First day").fill("2025-11-01")
    page.get_by_label("Last day").fill("2025-11-01")
    press(page, "Take these days out")
    expect(page.get_by_role("status")).to_contain_text("1 day was taken out.")
