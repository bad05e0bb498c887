"""Debian's Chromium, driven by Playwright, kept to the live server; and the accessibility rules of axe-core."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Page, Route, sync_playwright
from pytest_django.live_server_helper import LiveServer

# target-size and friends are left out of axe's default run, so the levels are named.
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
QUIET = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
]
PHONE = {"width": 360, "height": 740}
DESKTOP = {"width": 1280, "height": 900}
OpenPage = Callable[..., Page]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the whole run."""
    program = shutil.which("chromium") or shutil.which("google-chrome")
    assert program, "Chromium is missing: `python3 manage.py test` installs it as root, or names the package"
    # Playwright's loop in this thread makes Django think the test is asynchronous, which it is not.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=program, args=QUIET)
        yield running
        running.close()


@dataclass
class Watch:
    """What pages did that they should not: calls to anything but the live server, errors in the console."""

    home: str
    outside: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def guard(self, route: Route) -> None:
        """Let through what stays at home; note and stop the rest."""
        address = urlsplit(route.request.url)
        if address.netloc == self.home or address.scheme in ("data", "blob"):
            route.continue_()
        else:
            self.outside.append(route.request.url)
            route.abort()

    def listen(self, message: ConsoleMessage) -> None:
        """Note errors; a 4xx answer is one to the console too, and for a refused form exactly right."""
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.said.append(message.text)


@pytest.fixture
def open_page(browser: Browser, live_server: LiveServer) -> Iterator[OpenPage]:
    """``open_page(width=…, height=…, javascript=…, headers={…})`` gives a page of its own.

    The test fails when a page calls anything but the live server, or says an error in its console.
    """
    watch = Watch(urlsplit(live_server.url).netloc)
    contexts = []

    def open_one(
        width: int = PHONE["width"],
        height: int = PHONE["height"],
        javascript: bool = True,
        headers: dict[str, str] | None = None,
    ) -> Page:
        context = browser.new_context(
            base_url=live_server.url,
            viewport={"width": width, "height": height},
            java_script_enabled=javascript,
            extra_http_headers=headers or {},
            locale="en-GB",
            reduced_motion="reduce",  # colours on their way to the next would be judged as if they stayed
        )
        contexts.append(context)
        context.route("**/*", watch.guard)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("console", watch.listen)
        page.on("pageerror", lambda error: watch.said.append(str(error)))
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert not watch.outside, f"pages called {watch.outside}"
    assert not watch.said, f"the console says {watch.said}"


@pytest.fixture
def page(open_page: OpenPage) -> Page:
    """A page of a phone's size."""
    return open_page()


@pytest.fixture
def desktop_page(open_page: OpenPage) -> Page:
    """A page of a desk's size."""
    return open_page(**DESKTOP)


@pytest.fixture
def axe() -> Callable[[Page], None]:
    """``axe(page)`` fails with axe-core's own report when the page breaks a rule of WCAG 2.2 AA it can see."""

    def check(page: Page) -> None:
        results = Axe().run(page, options={"runOnly": {"type": "tag", "values": AXE_TAGS}})
        assert results.violations_count == 0, f"{page.url}\n{results.generate_report()}"

    return check
