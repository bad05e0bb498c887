"""A rider books in a real browser: on a phone, without script, by keyboard alone, and with everything going wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from bookings.models import Bike, Visit
from config.demo.shop import open_shop

OpenPage = Callable[..., Page]
AT = {"X-Rimebook-Now": "2026-03-02T09:00:00+00:00"}
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _shop(transactional_db: None) -> None:
    open_shop()


def to_the_days(page: Page) -> None:
    page.goto("/")
    page.get_by_role("link", name="Choose Full treatment").click()
    page.get_by_label("Which bike is it?").fill("Tarn 650, blue")
    page.get_by_label("Registration").fill("rb19 xyz")
    page.get_by_label("Crusted with salt").check()
    page.get_by_label("Outside, uncovered").check()
    page.get_by_label("July").uncheck()
    page.get_by_role("button", name="Show free days").click()


def to_the_last_page(page: Page) -> None:
    to_the_days(page)
    page.get_by_role("group", name="Wednesday 4 March").get_by_label("09:00").check()
    page.get_by_role("button", name="Take this time").click()


@pytest.mark.parametrize("javascript", [True, False])
def test_four_short_pages_on_a_phone(open_page: OpenPage, javascript: bool) -> None:
    page = open_page(javascript=javascript, headers=AT)
    to_the_last_page(page)
    expect(page.get_by_text("Wednesday 4 March 2026, 09:00")).to_be_visible()
    page.get_by_label("Your name").fill("Robin Ashdown")
    page.get_by_label("Email").fill("robin@example.org")
    page.get_by_label("Send me a word before winter").check()
    page.get_by_role("button", name="Ask for this visit").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Your visit")
    expect(page.get_by_text("Your time is held, but not yet firm.")).to_be_visible()
    visit = Visit.objects.select_related("bike", "request").get()
    assert visit.starts_at == datetime.fromisoformat("2026-03-04T09:00Z")
    assert visit.bike.riding_months == [1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12]
    assert visit.request.recall_agreed


def test_the_keyboard_alone_is_enough(open_page: OpenPage) -> None:
    page = open_page(headers=AT)
    page.goto("/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    tab_to(page, "Choose Winter rinse")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/bike/"))
    tab_to(page, "Which bike is it?")
    page.keyboard.type("Tarn 650, blue")
    tab_to(page, "Bare, little bodywork")
    page.keyboard.press("ArrowDown")
    tab_to(page, "January")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/day/"))
    tab_to(page, "08:00, ready by")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/you/"))
    tab_to(page, "Your name")
    page.keyboard.type("Robin Ashdown")
    tab_to(page, "Phone")
    page.keyboard.type("07700 900123")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/visit/"))
    visit = Visit.objects.select_related("bike__rider").get()
    assert (visit.bike.kind, visit.bike.riding_months) == ("faired", list(range(2, 13)))
    assert visit.starts_at == datetime.fromisoformat("2026-03-03T09:00Z")
    assert visit.bike.rider.phone_e164 == "+447700900123"


def tab_to(page: Page, name: str) -> None:
    """Press Tab until what `name` begins has the focus; it must then be in sight."""
    described = """() => {
        const here = document.activeElement, label = here.labels && here.labels[0];
        const box = here.getBoundingClientRect();
        const seen = box.bottom > 0 && box.top < window.innerHeight;
        return [(label || here).textContent.trim().replace(/\\s+/g, " "), seen];
    }"""
    for _ in range(60):
        page.keyboard.press("Tab")
        text, is_in_sight = page.evaluate(described)
        if text.startswith(name):
            assert is_in_sight, f"{name} has the focus out of sight"
            return
    raise AssertionError(f"no way to {name!r} by Tab")


@pytest.mark.parametrize("javascript", [True, False])
def test_a_refused_page_leads_to_the_field(open_page: OpenPage, javascript: bool) -> None:
    page = open_page(javascript=javascript, headers=AT)
    page.goto("/book/full-treatment/bike/")
    page.get_by_label("Registration").fill("rb19 xyz")
    page.get_by_label("About how many kilometres").fill("lots")
    page.get_by_role("button", name="Show free days").click()
    expect(page).to_have_title(re.compile("^Error: "))
    summary = page.get_by_role("alert")
    expect(summary).to_be_focused()
    expect(page.get_by_label("Registration")).to_have_value("rb19 xyz")
    expect(page.get_by_label("About how many kilometres")).to_have_value("lots")
    summary.get_by_role("link", name="About how many kilometres").click()
    expect(page.get_by_label("About how many kilometres")).to_be_focused()


def test_back_and_reload_lose_nothing(open_page: OpenPage) -> None:
    page = open_page(headers=AT)
    to_the_last_page(page)
    page.get_by_label("Your name").fill("Robin Ashdown")
    page.get_by_label("Anything we should know?").fill("Alarm fitted.")
    page.reload()
    expect(page.get_by_label("Your name")).to_have_value("Robin Ashdown")
    page.go_back()
    expect(page.get_by_label("09:00").nth(1)).to_be_checked()
    page.go_back()
    expect(page.get_by_label("Which bike is it?")).to_have_value("Tarn 650, blue")
    expect(page.get_by_label("July")).not_to_be_checked()
    page.reload()
    expect(page.get_by_label("Crusted with salt")).to_be_checked()
    page.go_forward()
    page.go_forward()
    expect(page.get_by_label("Anything we should know?")).to_have_value("Alarm fitted.")
    page.get_by_label("Phone").fill("07700 900123")
    page.get_by_role("button", name="Ask for this visit").click()
    page.wait_for_url(re.compile("/visit/"))
    assert page.evaluate("Object.keys(sessionStorage).length") == 0
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert Visit.objects.count() == 1


def test_a_double_click_makes_one_visit(open_page: OpenPage) -> None:
    page = open_page(headers=AT)
    to_the_last_page(page)
    page.get_by_label("Your name").fill("Robin Ashdown")
    page.get_by_label("Email").fill("robin@example.org")
    page.get_by_role("button", name="Ask for this visit").dblclick()
    page.wait_for_url(re.compile("/visit/"))
    expect(page.get_by_role("heading", level=1)).to_have_text("Your visit")
    assert (Visit.objects.count(), Bike.objects.count()) == (1, 1)


def test_a_lost_cookie_costs_one_more_press(open_page: OpenPage) -> None:
    page = open_page(javascript=False, headers=AT)
    to_the_last_page(page)
    page.get_by_label("Your name").fill("Robin Ashdown")
    page.get_by_label("Phone").fill("07700 900123")
    page.context.clear_cookies()
    page.get_by_role("button", name="Ask for this visit").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Please send it once more")
    page.get_by_role("button", name="Send it again").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Your visit")
    assert Visit.objects.get().bike.rider.name == "Robin Ashdown"


@pytest.mark.parametrize("javascript", [True, False])
def test_a_rider_moves_the_visit_and_then_calls_it_off(open_page: OpenPage, javascript: bool) -> None:
    page = open_page(javascript=javascript, headers=AT)
    to_the_last_page(page)
    page.get_by_label("Your name").fill("Robin Ashdown")
    page.get_by_label("Email").fill("robin@example.org")
    page.get_by_role("button", name="Ask for this visit").click()
    page.get_by_role("link", name="Choose another time").click()
    page.get_by_role("group", name="Friday 6 March").get_by_label("10:00").check()
    page.get_by_role("button", name="Move my visit here").click()
    expect(page.get_by_role("status")).to_contain_text("has been moved")
    expect(page.get_by_text("Friday 6 March 2026, 10:00")).to_be_visible()
    with page.expect_download() as download:
        page.get_by_role("link", name="Add to my calendar").click()
    assert b"DTSTART:20260306T100000Z" in download.value.path().read_bytes()
    page.get_by_role("link", name="Call it off").click()
    page.get_by_role("button", name="Yes, call it off").click()
    expect(page.get_by_role("status")).to_contain_text("called off")
    assert Visit.objects.get().state == "called_off"


def test_pages_fit_a_narrow_screen_and_weigh_little(open_page: OpenPage) -> None:
    page = open_page(width=320, headers=AT)
    weight: dict[str, int] = {}
    page.on("response", lambda answer: weight.update({answer.url: int(answer.headers.get("content-length", 0))}))
    to_the_last_page(page)
    for _ in range(3):
        page.wait_for_load_state()
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), page.url
        too_small = page.evaluate(
            """() => [...document.querySelectorAll("main button, main .button, .choice label, main input[type=text]")]
                .filter((each) => each.getBoundingClientRect().height < 48).map((each) => each.outerHTML)"""
        )
        assert not too_small
        page.go_back()
    files = {urlsplit(url).path: size for url, size in weight.items()}
    assert files["/static/rimebook.css"] > 0
    assert sum(size for path, size in files.items() if path.startswith("/static/")) < 50_000
    assert all(size < 50_000 for size in files.values()), files
