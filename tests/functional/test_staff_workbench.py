"""The workbench in a real browser: on a phone without script, by keyboard alone, and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.test import Client
from playwright.sync_api import Page, expect

from bookings.models import Job, Product, Tier, Visit
from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import Method
from bookings.services import jobs
from config.demo.shop import open_shop
from tests.functional.test_access import check
from tests.parts.visits import NOW, START, WHO, ask, confirmed, in_work, pencilled

OpenPage = Callable[..., Page]
PASSWORD = "only for tests 4711"
AT_WORK = {"X-Rimebook-Now": START.isoformat()}
AT_DESK = {"X-Rimebook-Now": NOW.isoformat()}
SIZES = {"narrow": (320, 740), "wide": (1280, 900)}
GLOVE_PIXELS = 56
pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def lee(transactional_db: None) -> User:
    open_shop()
    return User.objects.create_user("lee", password=PASSWORD, is_staff=True, first_name="Lee")


def signed_in(page: Page, user: User) -> Page:
    """Carry a session over, so that only one test need type the password."""
    client = Client()
    client.force_login(user)
    page.goto("/workbench/sign-in/")
    home = page.evaluate("location.origin")
    page.context.add_cookies([{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": home}])
    return page


def see(page: Page, address: str) -> None:
    """Open a page, and be sure it is that one and not the sign-in."""
    page.goto(address)
    assert page.url.endswith(address)
    # What a press unfolds is looked at too.
    page.evaluate("() => document.querySelectorAll('details').forEach((part) => { part.open = true; })")


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name).first.click()


def test_a_whole_visit_on_a_phone_without_script(open_page: OpenPage) -> None:
    visit = pencilled()
    page = open_page(javascript=False, headers=AT_DESK)
    page.goto(f"/workbench/visits/{visit.pk}/")
    page.get_by_label("Username").fill("lee")
    page.get_by_label("Password").fill(PASSWORD)
    press(page, "Sign in")
    page.get_by_role("link", name="Confirm").click()
    press(page, "Confirm")
    expect(page.get_by_role("status")).to_contain_text("Confirmed. The time is firm.")

    page.set_extra_http_headers(AT_WORK)
    page.goto("/workbench/")
    page.get_by_role("link", name="The bike is here").click()
    page.get_by_label("Key tag").fill("7")
    press(page, "Take it in")
    expect(page.get_by_role("alert")).to_contain_text("Odometer")
    expect(page.get_by_label("Key tag")).to_have_value("7")
    page.get_by_label("Odometer").fill("41 200")
    page.get_by_label("The rider agrees to fasteners").check()
    press(page, "Take it in")
    press(page, "Start work")
    for step in visit.tier.steps.all():
        press(page, step.name)
    expect(page.get_by_role("heading", name="Steps")).to_contain_text("5 of 5 done")
    coat_and_sign(page)
    press(page, "Finish work")
    expect(page.get_by_text("The coats cure until")).to_be_visible()
    press(page, "Ready to leave")
    expect(page.get_by_role("alert")).to_contain_text("The coats still cure, until Tue 4 Nov, 10:00")

    page.set_extra_http_headers({"X-Rimebook-Now": "2025-11-04T10:00:00+00:00"})
    page.goto(f"/workbench/visits/{visit.pk}/bench/")
    press(page, "Ready to leave")
    page.get_by_role("link", name="Hand over").click()
    expect(page.get_by_text("try both brakes at walking pace")).to_be_visible()
    press(page, "Hand over")
    expect(page.get_by_role("status")).to_contain_text("The record is closed.")
    assert Visit.objects.get().state == "collected"
    assert Job.objects.get().collected_by == "Ilka Thorne"


def coat_and_sign(page: Page) -> None:
    page.get_by_label("Frame").check()
    page.get_by_label("Fork").check()
    page.get_by_label("Batch").fill("K-2231")
    press(page, "Record")
    expect(page.get_by_role("alert")).to_contain_text("Product")
    expect(page.get_by_label("Batch")).to_have_value("K-2231")
    page.get_by_label("Clear film, aerosol").check()
    page.get_by_label("Misted").check()
    press(page, "Record")
    expect(page.get_by_role("row", name="fork")).to_contain_text("K-2231")
    press(page, "Fasteners were taken out")
    page.get_by_label("Torque values").fill("axle 65 Nm, manual p. 112")
    for _check in range(6):
        press(page, "Sign as Lee")
    expect(page.get_by_role("heading", name="Safety checks")).to_contain_text("all signed")
    assert "signed by Lee" in page.content()


def test_a_known_rider_is_booked_by_few_keys(open_page: OpenPage, lee: User) -> None:
    """At most 12 key actions and 3 requests besides typing what the rider says; redirects are the server's own."""
    ask()
    page = signed_in(open_page(headers=AT_DESK, width=1280, height=900), lee)
    page.goto("/workbench/calls/")
    asked: list[str] = []
    page.on(
        "request",
        lambda sent: asked.append(sent.url) if sent.is_navigation_request() and not sent.redirected_from else None,
    )
    keys = ["Enter", "ArrowDown", "Tab", "Enter", "Enter"]
    page.keyboard.type("0111")
    page.keyboard.press(keys[0])
    page.wait_for_load_state()
    expect(page.locator("input[name=start]").first).to_be_focused()
    page.keyboard.press(keys[1])
    page.keyboard.press(keys[2])
    expect(page.get_by_role("button", name="Hold this time")).to_be_focused()
    page.keyboard.press(keys[3])
    page.wait_for_url(re.compile("/calls/visits/"))
    expect(page.get_by_text("Ilka Thorne, we have your grey twin")).to_be_visible()
    expect(page.get_by_role("button", name="They say yes: confirm")).to_be_focused()
    page.keyboard.press(keys[4])
    page.wait_for_url(re.compile(r"/workbench/visits/\d+/$"))
    assert Visit.objects.get().state == "confirmed"
    assert len(keys) <= 12
    assert len(asked) <= 3, asked


def test_the_next_free_time_is_in_sight_on_a_phone(open_page: OpenPage, lee: User) -> None:
    ask()
    page = signed_in(open_page(headers=AT_DESK), lee)
    page.goto("/workbench/calls/")
    page.get_by_role("searchbox").fill("ilka")
    page.keyboard.press("Enter")
    expect(page.locator("label:has(input[name=start])").first).to_be_in_viewport()


def pages_to_see() -> dict[str, str]:
    """Every kind of page of the workbench, with something on it."""
    job = in_work(may_remove_fasteners=True)
    film = Product.objects.get(coat_kind="clear_film")
    jobs.record_coat(job=job, zone=COATED_ZONES[0], product=film, method=Method.MIST, now=START, **WHO)
    step = job.visit.tier.steps.all()[0]
    jobs.tick_step(job=job, step=step, now=START, **WHO)
    held, firm = pencilled(registration="RB11 BBB"), confirmed(START.replace(hour=14))
    here = f"/workbench/visits/{job.visit.pk}"
    return {
        "today": "/workbench/",
        "week": "/workbench/diary/",
        "desk": "/workbench/calls/?q=ilka",
        "known bike": f"/workbench/calls/bikes/{firm.bike.pk}/",
        "new caller": "/workbench/calls/new/",
        "read back": f"/workbench/calls/visits/{held.pk}/",
        "visit": f"{here}/",
        "bench": f"{here}/bench/",
        "sheet": f"{here}/sheet/",
        "confirm": f"/workbench/visits/{held.pk}/confirm/",
        "move": f"/workbench/visits/{held.pk}/move/",
        "drop-off": f"/workbench/visits/{firm.pk}/drop-off/",
        "call off": f"/workbench/visits/{firm.pk}/call-off/",
        "bike": f"/workbench/bikes/{held.bike.pk}/",
        "nothing to grade": f"/workbench/bikes/{held.bike.pk}/findings/",
        "numbers": "/workbench/estimate/parameters/",
        "one number": "/workbench/estimate/parameters/coat.wax.life_km/",
        "climate": "/workbench/climate/",
        "table": "/workbench/climate/import/",
        "no such day": "/workbench/diary/?from=soon",
    }


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_within_reach_of_everybody(
    open_page: OpenPage, axe: Callable[[Page], None], lee: User, size: str, scheme: str
) -> None:
    page = open_page(*SIZES[size], headers=AT_WORK)
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
    page.goto("/workbench/sign-in/")
    check(page, axe)
    press(page, "Sign in")
    check(page, axe)
    signed_in(page, lee)
    for address in pages_to_see().values():
        see(page, address)
        check(page, axe)
    page.goto("/workbench/calls/new/")
    press(page, "Hold this time")
    check(page, axe)


def test_what_is_pressed_with_gloves_is_large(open_page: OpenPage, lee: User) -> None:
    page = signed_in(open_page(headers=AT_WORK), lee)
    for address in pages_to_see().values():
        see(page, address)
        small = page.evaluate(
            """(least) => [...document.querySelectorAll("main button, main .button, main .choice label, main summary")]
                .filter((thing) => thing.checkVisibility() && thing.getBoundingClientRect().height < least)
                .map((thing) => thing.outerHTML)""",
            GLOVE_PIXELS,
        )
        assert not small, f"{address}: {small}"


def test_the_records_obey_the_content_policy(open_page: OpenPage, lee: User) -> None:
    """The page fixture fails the test on any word in the console, such as a refused inline script."""
    User.objects.filter(pk=lee.pk).update(is_superuser=True)
    visit = pencilled()
    page = signed_in(open_page(headers=AT_DESK, width=1280, height=900), lee)
    for record in (
        "",
        "bookings/tier/",
        f"bookings/tier/{visit.tier_id}/change/",
        f"bookings/visit/{visit.pk}/change/",
    ):
        see(page, f"/workbench/records/{record}")
        expect(page.get_by_role("link", name="View site")).to_be_visible()


def test_the_bench_sheet_of_the_longest_job_fits_one_page_of_a4(open_page: OpenPage, lee: User, tmp_path: Path) -> None:
    job = in_work(may_remove_fasteners=True)
    Visit.objects.filter(pk=job.visit.pk).update(tier_id=most_steps())
    Job.objects.filter(pk=job.pk).update(damage_notes="scratch on the left pannier, agreed; " * 12)
    for zone in COATED_ZONES:
        product = Product.objects.order_by("-name")[0]
        jobs.record_coat(
            job=job, zone=zone, product=product, method=Method.MACHINE, batch="K-2231-0099", now=START, **WHO
        )
    page = signed_in(open_page(headers=AT_WORK), lee)
    see(page, f"/workbench/visits/{job.visit.pk}/sheet/")
    paper = page.pdf(path=tmp_path / "sheet.pdf", format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page[^s]", paper)) == 1
    page.emulate_media(media="print")
    assert page.locator("nav").is_hidden() and page.locator(".mast").is_hidden()
    plate = page.locator(".big-plate")
    assert plate.evaluate("(it) => parseFloat(getComputedStyle(it).fontSize)") >= 36
    least = page.evaluate(
        "() => Math.min(...[...document.querySelectorAll('main table *, main .boxes li')]"
        ".map((it) => parseFloat(getComputedStyle(it).fontSize)))"
    )
    assert least >= 14, "print too small for the bench"


def most_steps() -> int:
    """The tier with the longest list of steps."""
    return max(Tier.objects.all(), key=lambda tier: tier.steps.count()).pk
