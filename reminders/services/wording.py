"""The little language notices are written in: plain text with names in braces, and nothing that could run.

A paragraph whose names all turn out empty falls away. In HTML every value is escaped, and a line that ends in a colon
and one link becomes the link. Pure: what the names stand for is handed in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.translation import gettext as _

NAME = re.compile(r"\{([a-z_]+)\}")
LONGEST_BODY = 6000
_ALONE = re.compile(r"\{([a-z_]+)\}")
_LINKED_LINE = re.compile(r"(?P<words>.*\S):[ ]*\{(?P<link>[a-z_]+_link)\}")
_BREAK = "<br>\n"
_CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029]")


@dataclass(frozen=True)
class Said:
    """What a name stands for: its text, and for a block of its own also HTML, which must be safe already."""

    text: str
    html: str = ""


Values = Callable[[str], Said]


def faults(template: str, known: Collection[str], needed: Collection[str] = ()) -> list[str]:
    """What is wrong with a template, in sentences: names nobody knows, stray braces, names that must not be missing."""
    named = NAME.findall(template)
    found = [
        _("{%(name)s} is not a name this message knows. The list below has all of them.") % {"name": name}
        for name in dict.fromkeys(named)
        if name not in known
    ]
    stray = re.search(r".{0,15}[{}].{0,15}", NAME.sub(" ", template))
    if stray:
        found.append(
            _("There is a brace without a name near “%(near)s”. Braces are only for names such as {rider}.")
            % {"near": stray[0].strip()}
        )
    if _CONTROLS.search(template.replace("\r\n", "\n")):
        found.append(_("There is an invisible control character in it. Type the text again instead of pasting it."))
    missing = [name for name in needed if name not in named]
    found += [_("{%(name)s} must not be missing from this message.") % {"name": name} for name in missing]
    return found


def fill_line(template: str, values: Values) -> str:
    """A template of one line, filled: a subject."""
    return " ".join(_filled(template, lambda name: values(name).text).split())


def fill_text(template: str, values: Values) -> str:
    """A template as plain text."""
    paragraphs = [_text_paragraph(paragraph, values) for paragraph in _paragraphs(template)]
    return "\n\n".join(paragraph for paragraph in paragraphs if paragraph) + "\n"


def fill_html(template: str, values: Values) -> str:
    """A template as the inside of an HTML body."""
    blocks = [_html_paragraph(paragraph, values) for paragraph in _paragraphs(template)]
    return "\n".join(block for block in blocks if block)


def _paragraphs(template: str) -> list[str]:
    return [
        part.strip("\n") for part in re.split(r"\n[ \t]*\n", template.replace("\r\n", "\n").strip()) if part.strip()
    ]


def _filled(line: str, value: Callable[[str], str]) -> str:
    """An empty value takes the blank before it along."""
    return re.sub(r"( ?)\{([a-z_]+)\}", lambda found: (said := value(found[2])) and found[1] + said, line)


def _text_paragraph(paragraph: str, values: Values) -> str:
    if alone := _ALONE.fullmatch(paragraph.strip()):
        return values(alone[1]).text.strip("\n")
    return "\n".join(_lines(paragraph, lambda line: _filled(line, lambda name: values(name).text)))


def _html_paragraph(paragraph: str, values: Values) -> str:
    alone = _ALONE.fullmatch(paragraph.strip())
    if alone and (said := values(alone[1])).html:
        return said.html
    lines = _lines(paragraph, lambda line: _html_line(line, values))
    return f"<p>{_BREAK.join(lines)}</p>" if lines else ""


def _lines(paragraph: str, fill: Callable[[str], str]) -> list[str]:
    filled = [fill(line).rstrip() for line in paragraph.split("\n")]
    return [line for line in filled if line.strip()]


def _html_line(line: str, values: Values) -> str:
    if linked := _LINKED_LINE.fullmatch(line.strip()):
        words = _filled(escape(linked["words"]), lambda name: escape(values(name).text))
        return _anchor(values(linked["link"]).text, words)
    return _filled(escape(line), lambda name: _value(name, values))


def _value(name: str, values: Values) -> str:
    said = escape(values(name).text).replace("\n", "<br>\n")
    return _anchor(values(name).text, said) if name.endswith("_link") else said


def _anchor(address: str, words: str) -> str:
    return f'<a href="{escape(address)}">{words}</a>' if address else words
