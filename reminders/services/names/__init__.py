"""The names that texts of notices may use, by kind."""

from __future__ import annotations

from reminders.models import Notice
from reminders.services.names import coats, day, visits  # noqa: F401 (each puts its names into the table)
from reminders.services.names.registry import NAMES, Name, Subject

__all__ = ["NEEDED", "Name", "Subject", "names_for", "shown"]
Kind = Notice.Kind
shown = coats.shown

_RIDER = ("rider", "bike", "bike_and_plate", "shop", "shop_phone", "home_link")
_VISIT = ("tier", "start_day", "weekday", "start_time", "start_short", "ready_by", "when", "visit_link")
_BOOKED = (*_RIDER, *_VISIT, "calendar_link", "hold_note")
_SAFE = ("before_riding", "never_coat")
_COATS = ("picture", "estimate_note", "bike_link")
_DAY = (
    "today",
    "in_short",
    "visits_today",
    "in_the_house",
    "waiting_for_yes",
    "not_right",
    "notices_in_trouble",
    "bikes_due",
    "today_link",
    "notices_link",
)
_OF_KIND: dict[str, tuple[str, ...]] = {
    Kind.PENCILLED: (*_BOOKED, "held_until"),
    Kind.CONFIRMED: _BOOKED,
    Kind.CHANGED: _BOOKED,
    Kind.CALLED_OFF: (*_RIDER, *_VISIT, "lapse_note"),
    Kind.DAY_BEFORE: _BOOKED,
    Kind.READY: (*_RIDER, *_VISIT, *_SAFE, "key_note"),
    Kind.CARE_SHEET: (*_RIDER, "tier", *_SAFE, *_COATS, "coats", "wash_note", "collected_day"),
    Kind.RECALL: (*_RIDER, *_VISIT, *_COATS, "why_now", "held_until", "answer_link"),
    Kind.DUE_SOON: (*_RIDER, *_COATS, "coats_soon"),
    Kind.ALL_WELL: (*_RIDER, "tier", "collected_day", "not_right_link", *_SAFE),
    Kind.MORNING: (*_DAY, "shop", "shop_phone"),
}
# What a text may not lose: how to stay safe, that months are an estimate, and the one way to answer.
NEEDED: dict[str, tuple[str, ...]] = {
    Kind.PENCILLED: ("when", "visit_link"),
    Kind.CONFIRMED: ("when", "visit_link"),
    Kind.CHANGED: ("when", "hold_note", "visit_link"),
    Kind.CALLED_OFF: ("start_day", "start_time"),
    Kind.DAY_BEFORE: ("when",),
    Kind.READY: ("before_riding",),
    Kind.CARE_SHEET: ("coats", "estimate_note", "before_riding", "never_coat"),
    Kind.RECALL: ("when", "held_until", "answer_link", "estimate_note"),
    Kind.DUE_SOON: ("coats_soon", "estimate_note"),
    Kind.ALL_WELL: ("not_right_link",),
    Kind.MORNING: (),
}


def names_for(kind: str) -> dict[str, Name]:
    """The names a text of this kind may use, in the order they are listed."""
    return {name: NAMES[name] for name in _OF_KIND[kind]}
