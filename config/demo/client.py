"""A visitor of the site over real HTTP: follows links, fills in forms as they are on the page, keeps cookies.

The moment of each request travels in a header, which only an installation that allows it believes.
"""

from __future__ import annotations

import http.client
import http.cookies
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from html.parser import HTMLParser
from urllib.parse import urlencode, urljoin, urlsplit

from bookings.clock import HEADER

MOST_REDIRECTS = 5
TIMEOUT_SECONDS = 60
# Elements whose text belongs to what went wrong.
ERROR_CLASSES = {"errorlist", "error-summary", "error"}
VOID = {"input", "br", "img", "link", "meta", "hr", "source", "area", "base", "col", "embed", "wbr"}


class Refused(RuntimeError):
    """The site did not do what the story promised."""


@dataclass
class Form:
    """A form as it stands on a page: what would be sent if nobody touched it, and what can be chosen."""

    action: str
    method: str
    values: dict[str, list[str]] = field(default_factory=dict)
    choices: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)


@dataclass
class Page:
    """An answer: where it came from, its status, text, forms and links."""

    url: str
    status: int
    html: str
    text: str = ""
    errors: str = ""
    forms: list[Form] = field(default_factory=list)
    links: list[tuple[str, str]] = field(default_factory=list)

    def form(self, *names: str, action: str = "") -> Form:
        """The first form that has all these fields (or buttons) and whose address ends in `action`."""
        for form in self.forms:
            if set(names) <= form.names and urlsplit(form.action).path.endswith(action):
                return form
        raise Refused(f"{self.url} has no form with {', '.join(names) or action}")


class _Reader(HTMLParser):
    """Fills a Page from its HTML."""

    def __init__(self, page: Page) -> None:
        super().__init__()
        self.page = page
        self.form: Form | None = None
        self.select = ""
        self.area = ""
        self.option: str | None = None
        self.link: str | None = None
        self.button: tuple[str, str] | None = None
        self.errors_depth = 0
        self.words: list[str] = []
        self.error_words: list[str] = []
        self.collected: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = {name: value or "" for name, value in attrs}
        if self.errors_depth and tag not in VOID:
            self.errors_depth += 1
        elif ERROR_CLASSES & set(facts.get("class", "").split()) and tag not in VOID:
            self.errors_depth = 1
        if tag == "form":
            self.form = Form(urljoin(self.page.url, facts.get("action", "")), facts.get("method", "get").lower())
            self.page.forms.append(self.form)
        elif tag == "a" and "href" in facts:
            self.link, self.collected = urljoin(self.page.url, facts["href"]), []
        elif self.form is not None and "disabled" not in facts:
            self._control(tag, facts, self.form)

    def _control(self, tag: str, facts: dict[str, str], form: Form) -> None:
        name, value = facts.get("name", ""), facts.get("value", "")
        if name:
            form.names.add(name)
        if tag == "input":
            self._input(facts.get("type", "text"), name, value, "checked" in facts, form)
        elif tag == "select":
            self.select = name
        elif tag == "option" and self.select:
            form.choices.setdefault(self.select, []).append(value)
            if "selected" in facts or self.select not in form.values:
                form.values[self.select] = [value]
        elif tag == "textarea":
            self.area, self.collected = name, []
        elif tag == "button":
            self.button, self.collected = (name, value), []

    @staticmethod
    def _input(kind: str, name: str, value: str, checked: bool, form: Form) -> None:
        if kind in ("radio", "checkbox"):
            form.choices.setdefault(name, []).append(value or "on")
            if checked:
                form.values.setdefault(name, []).append(value or "on")
        elif kind in ("submit", "image", "button"):
            form.buttons.append((name, value, value))
        elif kind != "file" and name:
            form.values[name] = [value]

    def handle_endtag(self, tag: str) -> None:
        said = " ".join("".join(self.collected).split())
        if self.errors_depth and tag not in VOID:
            self.errors_depth -= 1
        if tag == "form":
            self.form = None
        elif tag == "select":
            self.select = ""
        elif tag == "a" and self.link is not None:
            self.page.links.append((said, self.link))
            self.link = None
        elif tag == "textarea" and self.area and self.form:
            self.form.values[self.area] = ["".join(self.collected).strip("\n")]
            self.area = ""
        elif tag == "button" and self.button and self.form:
            self.form.buttons.append((*self.button, said))
            self.button = None

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        self.collected.append(data)
        if self.errors_depth:
            self.error_words.append(data)


def read_page(url: str, status: int, html: str) -> Page:
    """Parse an answer."""
    page = Page(url, status, html)
    reader = _Reader(page)
    reader.feed(html)
    page.text = " ".join(" ".join(reader.words).split())
    page.errors = " ".join(" ".join(reader.error_words).split())
    return page


class Visitor:
    """One person with one browser. `now` is the moment of the story; set it before each step."""

    def __init__(self, base_url: str, now: datetime) -> None:
        self.base_url = base_url
        self.now = now
        self.cookies: dict[str, str] = {}

    def get(self, address: str) -> Page:
        """Open a page, following redirects."""
        return self._ask("GET", urljoin(self.base_url, address), None)

    def submit(self, form: Form, values: Mapping[str, str | list[str]], press: str = "") -> Page:
        """Send a form with `values` in place of what it holds; `press` names the button by its words or its value."""
        unknown = set(values) - form.names
        if unknown:
            raise Refused(f"the form at {form.action} has no field {', '.join(sorted(unknown))}")
        filled = form.values | {name: [v] if isinstance(v, str) else v for name, v in values.items()}
        if press:
            filled |= _pressed(form, press)
        body = urlencode([(name, value) for name, several in filled.items() for value in several])
        if form.method == "get":
            return self._ask("GET", f"{form.action.partition('?')[0]}?{body}", None)
        page = self._ask("POST", form.action, body)
        if page.errors:
            raise Refused(f"{form.action} said: {page.errors}")
        return page

    def _ask(self, method: str, url: str, body: str | None) -> Page:
        for _ in range(MOST_REDIRECTS):
            status, headers, content = self._exchange(method, url, body)
            if status not in (301, 302, 303, 307, 308):
                page = read_page(url, status, content)
                if status >= 400:
                    raise Refused(f"{method} {urlsplit(url).path} answered {status}: {page.errors or page.text[:300]}")
                return page
            url = urljoin(url, headers)
            if status in (301, 302, 303):
                method, body = "GET", None
        raise Refused(f"{url} redirects in circles")

    def _exchange(self, method: str, url: str, body: str | None) -> tuple[int, str, str]:
        parts = urlsplit(url)
        headers = {HEADER: self.now.isoformat(), "Referer": url}
        if self.cookies:
            headers["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        if body is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        connection = http.client.HTTPConnection(parts.netloc, timeout=TIMEOUT_SECONDS)
        try:
            connection.request(method, parts.path + (f"?{parts.query}" if parts.query else ""), body, headers)
            answer = connection.getresponse()
            for line in answer.headers.get_all("Set-Cookie") or []:
                self.cookies |= {name: morsel.value for name, morsel in http.cookies.SimpleCookie(line).items()}
            return answer.status, answer.headers.get("Location", ""), answer.read().decode("utf-8", "replace")
        finally:
            connection.close()


def _pressed(form: Form, press: str) -> dict[str, list[str]]:
    for name, value, words in form.buttons:
        if press in (words, value):
            return {name: [value]} if name else {}
    raise Refused(f"the form at {form.action} has no button “{press}”")
