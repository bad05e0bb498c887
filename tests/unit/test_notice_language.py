"""The little language of notices: names and nothing else, alike in text and HTML, and harmless whatever is typed."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reminders.services.wording import Said, faults, fill_html, fill_line, fill_text

FACTS = {
    "rider": Said("Ines & Söhne"),
    "empty": Said(""),
    "table": Said("What: all\nWhere: here", "<table><tr><td>all</td></tr></table>"),
    "visit_link": Said("https://shop.example.com/visit/a:b/?x=1&y=2"),
}


def values(name: str) -> Said:
    return FACTS[name]


class Words(HTMLParser):
    """Elements and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, tuple[tuple[str, str | None], ...]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_names_are_filled_once_and_escaped_in_html() -> None:
    assert fill_text("Hello {rider},\n\nbye", values) == "Hello Ines & Söhne,\n\nbye\n"
    assert fill_html("Hello {rider},\n\nbye", values) == "<p>Hello Ines &amp; Söhne,</p>\n<p>bye</p>"
    assert fill_line("To  {rider} {empty}!", values) == "To Ines & Söhne!"
    looped = lambda name: Said("{rider}")  # noqa: E731 (a value that looks like a name stays text)
    assert fill_text("{rider}", looped) == "{rider}\n"


def test_what_is_empty_leaves_no_hole() -> None:
    assert fill_text("a\n\n{empty}\n\nb {empty}.\n{empty}\nc", values) == "a\n\nb.\nc\n"
    assert fill_html("a\n\n{empty}\n\nb {empty}.\n{empty}\nc", values) == "<p>a</p>\n<p>b.<br>\nc</p>"


def test_a_block_has_its_own_html_and_a_line_with_a_link_becomes_the_link() -> None:
    template = "{table}\n\nSee it: {visit_link}\nor go to {visit_link}"
    assert fill_html(template, values) == (
        "<table><tr><td>all</td></tr></table>\n"
        '<p><a href="https://shop.example.com/visit/a:b/?x=1&amp;y=2">See it</a><br>\n'
        'or go to <a href="https://shop.example.com/visit/a:b/?x=1&amp;y=2">'
        "https://shop.example.com/visit/a:b/?x=1&amp;y=2</a></p>"
    )
    assert fill_text(template, values).startswith("What: all\nWhere: here\n\nSee it: https://")


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("{nobody}", "not a name"),
        ("{rider", "without a name"),
        ("rider}", "without a name"),
        ("{{rider}}", "without a name"),
        ("{% include 'x' %}", "without a name"),
        ("{rider.__class__}", "without a name"),
        ("{rider!r}", "without a name"),
        ("{0}", "without a name"),
        ("{Rider}", "without a name"),
        ("a\x00b", "control character"),
        ("a\u2028b", "control character"),
        ("{rider}", "{table} must not be missing"),
    ],
)
def test_what_is_no_name_is_named(template: str, words: str) -> None:
    needed = ("table",) if "missing" in words else ()
    assert any(words in fault for fault in faults(template, FACTS, needed)), faults(template, FACTS, needed)


def test_a_right_one_has_no_faults() -> None:
    assert faults("Hello {rider},\r\n\r\n{table}", FACTS, ("table",)) == []


TYPED = st.text(alphabet=st.one_of(st.sampled_from("{}<>&\"'\n :/%ab_"), st.characters(codec="utf-8")), max_size=80)


@given(TYPED, TYPED)
def test_no_text_and_no_value_makes_markup(typed: str, value: str) -> None:
    template = re.sub(r"[{}]", "", typed) + "\n{rider} see: {visit_link}\n"
    facts = {"rider": Said(value), "visit_link": Said("https://shop.example.com/" + value)}
    page = Words(fill_html(template, facts.__getitem__))
    assert {tag for tag, _ in page.elements} <= {"p", "br", "a"}
    assert all(not attributes for tag, attributes in page.elements if tag != "a")
    links = [attributes for tag, attributes in page.elements if tag == "a"]
    assert all(len(attributes) == 1 and attributes[0][0] == "href" for attributes in links)
    assert all((attributes[0][1] or "").startswith("https://shop.example.com/") for attributes in links)


@given(TYPED)
def test_nothing_typed_raises(typed: str) -> None:
    if not faults(typed, FACTS):
        fill_html(typed, values), fill_text(typed, values), fill_line(typed, values)
