"""Pages of reminders in a real browser: access rules, narrow screens, and one answer given without JavaScript."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from bookings.links import bike_token
from bookings.models import Shop
from reminders import links
from reminders.models import Notice, Recall
from reminders.services import planning, sending
from tests.parts.browsers import DESKTOP, PHONE, OpenPage
from tests.parts.stories import collected, pencilled
from tests.parts.worlds import STAFF_NAME, STAFF_PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)
AUTUMN = datetime(2026, 9, 3, 9, 0, tzinfo=UTC)
PASSED = {"X-Rimebook-Now": AUTUMN.isoformat()}


@dataclass(frozen=True)
class Autumn:
    """A bike called back before winter, one notice in doubt, one waiting."""

    bike_page: str
    answer_page: str
    leave_page: str
    calendar_page: str
    not_right_page: str


@pytest.fixture
def autumn(shop_world: Shop) -> Autumn:
    visit, moment = collected(datetime(2025, 11, 3, 9, 0, tzinfo=UTC))
    planning.plan(now=moment)
    sending.sweep(now=moment + timedelta(days=1))
    planning.plan(now=AUTUMN)
    sending.sweep(now=AUTUMN)
    pencilled(AUTUMN, name="Bo Lind", email="bo@example.org", phone="+447700900124")
    Notice.objects.filter(kind=Notice.Kind.CARE_SHEET).update(state="in_doubt", outcome="Perhaps delivered.")
    recall = Recall.objects.get()
    return Autumn(
        f"/bike/{bike_token(visit.bike)}/",
        f"/recall/{links.answer_token(recall)}/",
        f"/recall/{links.leave_token(visit.bike.rider)}/leave/",
        f"/bike/{bike_token(visit.bike)}/calendar/",
        f"/not-right/{links.not_right_token(visit)}/",
    )


def signed_in(page: Page, address: str) -> Page:
    """The page at `address`, reached through the door."""
    page.goto(address)
    page.fill("input[name=username]", STAFF_NAME)
    page.fill("input[name=password]", STAFF_PASSWORD)
    page.locator("main form button").first.click()
    return page


def is_narrow_enough(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_riders_pages(
    autumn: Autumn, live_server: LiveServer, open_page: OpenPage, axe: Callable[[Page], None], size: dict[str, int]
) -> None:
    page = open_page(**size, headers=PASSED)
    for address in asdict(autumn).values():
        page.goto(address)
        assert is_narrow_enough(page), address
        axe(page)
    page.goto(autumn.bike_page)
    picture = page.locator("figure img")
    assert picture.evaluate("image => image.complete && image.naturalWidth > 0")
    assert page.get_by_text("estimate").count() > 0


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_the_workbench_page_of_notices(
    autumn: Autumn,
    staff_user: User,
    live_server: LiveServer,
    open_page: OpenPage,
    axe: Callable[[Page], None],
    size: dict[str, int],
) -> None:
    page = signed_in(open_page(**size, headers=PASSED), "/workbench/notices/")
    care_sheet = Notice.objects.get(kind=Notice.Kind.CARE_SHEET)
    for address in (
        f"/workbench/notices/{care_sheet.pk}/",
        "/workbench/notices/texts/",
        "/workbench/notices/texts/care_sheet/",
        "/workbench/calendar/",
        "/workbench/notices/",
    ):
        page.goto(address)
        assert is_narrow_enough(page), address
        axe(page)
    page.get_by_role("button", name="Send it once more").click()
    assert page.get_by_text("It goes out once more").is_visible()


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desk"])
def test_a_wording_is_looked_at_refused_and_kept(
    autumn: Autumn,
    staff_user: User,
    live_server: LiveServer,
    open_page: OpenPage,
    axe: Callable[[Page], None],
    size: dict[str, int],
) -> None:
    page = signed_in(open_page(**size, headers=PASSED), "/workbench/notices/texts/ready/")
    page.get_by_label("Text", exact=True).fill("Hello {ridder}, come and get it.")
    page.get_by_role("button", name="Look at it first").click()
    page.wait_for_load_state()  # a press does not wait for the style sheet
    axe(page)
    assert page.get_by_role("link", name="{ridder} is not a name").is_visible()
    page.get_by_label("Text", exact=True).fill("Hello {rider}, come and get it.\n\n{before_riding}")
    page.get_by_role("button", name="Look at it first").click()
    page.wait_for_load_state()
    axe(page)
    assert is_narrow_enough(page)
    assert page.get_by_text("come and get it.").first.is_visible()
    page.get_by_role("button", name="Keep it").click()
    assert page.get_by_text("Kept.").is_visible() and is_narrow_enough(page)
    page.wait_for_load_state()
    axe(page)
    page.goto("/workbench/calendar/")
    page.get_by_role("button", name="Make me an address").click()
    assert page.get_by_label("Address to subscribe to").input_value().startswith("http")
    assert is_narrow_enough(page)
    page.wait_for_load_state()
    axe(page)


def test_a_rider_takes_the_day_without_javascript(autumn: Autumn, live_server: LiveServer, open_page: OpenPage) -> None:
    page = open_page(javascript=False, headers=PASSED)
    page.goto(autumn.answer_page)
    page.get_by_role("button", name="Yes, I take this day").click()
    assert page.get_by_text("It is booked.").is_visible()
    assert Recall.objects.get().answer == "accepted"
