"""Every page in light and dark, narrow and wide, against axe-core's rules for WCAG 2.2 AA; and what axe cannot see."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from bookings import links
from bookings.models import Visit
from bookings.services import bookings
from config.demo.shop import open_shop
from tests.pages.booking_walk import NOW, Walk

OpenPage = Callable[..., Page]
AT = {"X-Rimebook-Now": NOW.isoformat()}
SIZES = {"narrow": (320, 740), "wide": (1280, 900)}
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def addresses(transactional_db: None) -> dict[str, str]:
    """Name and address of every page a rider can meet by a link."""
    open_shop()
    walk = Walk()
    walk.to_last_page()
    walk.ask()
    visit = Visit.objects.get()
    called_off = Walk(tier="winter-rinse")
    called_off.to_last_page()
    called_off.ask(phone="")
    ended = Visit.objects.exclude(pk=visit.pk).get()
    bookings.call_off(visit=ended, now=NOW, actor="rider, online", reason="")
    private = f"/visit/{links.visit_token(visit)}/"
    return {
        "home": "/",
        "visit": private,
        "move": f"{private}move/",
        "call off": f"{private}call-off/",
        "called off": f"/visit/{links.visit_token(ended)}/",
        "bike": f"/bike/{links.bike_token(visit.bike)}/",
        "how we estimate": "/how-we-estimate/",
        "nothing here": "/nowhere/",
    }


def check(page: Page, axe: Callable[[Page], None]) -> None:
    """axe's rules, and those of ours that it has none for."""
    page.wait_for_load_state()
    axe(page)
    bare = page.evaluate(
        """() => [...document.querySelectorAll("input:not([type=hidden]), select, textarea")]
            .filter((field) => ![...(field.labels || [])].some((label) => label.textContent.trim()
                && label.checkVisibility()))
            .map((field) => field.outerHTML)"""
    )
    assert not bare, f"{page.url}: fields without a visible label: {bare}"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{page.url} scrolls sideways"
    assert page.title().strip(" ·"), page.url
    assert page.locator("h1").count() == 1, page.url


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_a_link_leads_to(
    open_page: OpenPage, axe: Callable[[Page], None], addresses: dict[str, str], size: str, scheme: str
) -> None:
    page = open_page(*SIZES[size], headers=AT)
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    for address in addresses.values():
        page.goto(address)
        # What a press unfolds is looked at too.
        page.evaluate("() => document.querySelectorAll('details').forEach((part) => { part.open = true; })")
        check(page, axe)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_of_a_booking_and_their_refusals(
    open_page: OpenPage, axe: Callable[[Page], None], transactional_db: None, size: str, scheme: str
) -> None:
    open_shop()
    page = open_page(*SIZES[size], headers=AT)
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    page.goto("/book/full-treatment/bike/")
    check(page, axe)
    page.get_by_role("button", name="Show free days").click()
    check(page, axe)
    page.get_by_label("Which bike is it?").fill("Tarn 650, blue")
    page.get_by_role("button", name="Show free days").click()
    check(page, axe)
    page.get_by_role("button", name="Take this time").click()
    check(page, axe)
    page.locator("input[name=start]").first.check()
    page.get_by_role("button", name="Take this time").click()
    check(page, axe)
    page.get_by_role("button", name="Ask for this visit").click()
    check(page, axe)
    page.context.clear_cookies()
    page.get_by_role("button", name="Ask for this visit").click()
    check(page, axe)


def test_name_and_phone_stand_at_the_same_place_on_each_page(open_page: OpenPage, addresses: dict[str, str]) -> None:
    page = open_page(headers=AT)
    places = set()
    for address in addresses.values():
        page.goto(address)
        phone = page.locator("header a[href='tel:+441632960142']")
        assert phone.inner_text() == "Ring 01632 960142"
        places.add(str(phone.bounding_box()))
    assert len(places) == 1
