"""What every calendar we write has in common: plain lines, UTC, addresses no parser trips over."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from icalendar import Calendar, vCalAddress, vText

PRODUCT_ID = "-//Rimebook//Workshop diary//EN"
# C0 and C1 controls with DEL, and the two Unicode line separators: one parser drops the whole attendee on a NUL.
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_CONTROLS_BUT_NEWLINE = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f]+")
# RFC 6868 codes a quote as ^', which parsers without it show to people as it stands; icalendar's own parser takes a
# backslash before the semicolon for an escape and swallows the next parameter.
_UNSAFE_IN_PARAMETER = str.maketrans({'"': "'", "^": " ", "\\": "/"})
_ADDRESS = re.compile(r"[^\s<>\",;:\\@]+@[^\s<>\",;:\\@]+")


def plain(text: str) -> str:
    """One line of text without control characters."""
    return _CONTROLS.sub(" ", text).strip()


def calendar_of(method: str) -> Calendar:
    """A calendar with nothing in it yet."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT_ID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method)
    return calendar


def is_address(text: str) -> bool:
    """Whether a text can stand behind mailto:."""
    return _ADDRESS.fullmatch(text) is not None


def person(name: str, email: str) -> vCalAddress:
    """A calendar user with a name."""
    address = vCalAddress(f"mailto:{email}")
    common_name = plain(name.translate(_UNSAFE_IN_PARAMETER))
    if common_name:
        address.params["CN"] = vText(common_name)
    return address


def paragraphs(text: str) -> str:
    """Text with line ends as they are meant and no other control characters."""
    unified = re.sub("\r\n?|[\u2028\u2029\x85]", "\n", text)
    return _CONTROLS_BUT_NEWLINE.sub(" ", unified).strip()


def utc(moment: datetime) -> datetime:
    """A moment as calendars know it: UTC, whole seconds."""
    return moment.astimezone(UTC).replace(microsecond=0)
