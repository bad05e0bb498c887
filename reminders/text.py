"""Estimates and their numbers in words: months and shares, never a false day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from math import exp

from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from reminders.protection.inspection import area_limit_percent

CAUSES = {
    "age": gettext_lazy("time itself"),
    "climate": gettext_lazy("damp air"),
    "salt": gettext_lazy("salted roads"),
    "riding": gettext_lazy("riding"),
    "washing": gettext_lazy("washing"),
}


def number(value: float, unit: str = "1") -> str:
    """A number of the estimate as people write it, with its unit; 1 is the unit of pure numbers."""
    plain = f"{value:,.10g}"
    return plain if unit == "1" else f"{plain} {unit}"


def month_range(early: date | None, late: date | None) -> str:
    """A range of months such as “March to June 2027”; open where nothing falls due within the horizon."""
    if early is None:
        return _("not within the years we can look ahead")
    if late is None:
        return _("%(month)s or later") % {"month": month(early)}
    if (early.year, early.month) == (late.year, late.month):
        return month(early)
    first = str(MONTHS[early.month]) if early.year == late.year else month(early)
    return _("%(first)s to %(last)s") % {"first": first, "last": month(late)}


def month(day: date) -> str:
    """A month with its year."""
    return f"{MONTHS[day.month]} {day.year}"


def course(percent: int, half: date | None, early: date | None, late: date | None, today: date | None = None) -> str:
    """How a coat goes on from `today`: what is left, when half will be, and when it is, or was, due."""
    left = _("about %(percent)s %% left today") % {"percent": percent} if percent else _("little or nothing left today")
    steps = [left]
    if half:
        steps.append(_("about half by %(month)s") % {"month": month(half)})
    due = _("was due %(months)s") if today and late and late < today else _("due %(months)s")
    return ", ".join([*steps, due % {"months": month_range(early, late)}])


def salted_months(first: date, last: date) -> str:
    """The months of a salt season in a sentence."""
    return _("Roads around here are usually salted from %(first)s to %(last)s.") % {
        "first": month(first),
        "last": month(last),
    }


def wear_reason(shares: Mapping[str, float]) -> str:
    """The largest cause of wear in a plain sentence; `shares` sum to 1."""
    cause = max(CAUSES, key=lambda name: shares.get(name, 0.0))
    return _("%(share)s of the wear comes from %(cause)s.") % {
        "share": _share(shares.get(cause, 0.0)),
        "cause": CAUSES[cause],
    }


def _share(share: float) -> str:
    words = [
        (0.29, _("About a quarter")),
        (0.41, _("About a third")),
        (0.58, _("About half")),
        (0.71, _("About two thirds")),
        (0.85, _("About three quarters")),
    ]
    return next((text for limit, text in words if share < limit), _("Nearly all"))


# A corroded area as people see it, by the rating it is given: the part thought of as a sheet of A4.
LIKENESS = {
    9: gettext_lazy("pinpoints, a pea in all"),
    8: gettext_lazy("a fingertip in all"),
    7: gettext_lazy("a small coin in all"),
    6: gettext_lazy("a large coin in all"),
    5: gettext_lazy("a matchbox in all"),
    4: gettext_lazy("two matchboxes in all"),
    3: gettext_lazy("up to a tenth of it"),
    2: gettext_lazy("up to a quarter of it"),
    1: gettext_lazy("up to half of it"),
}
FILM_LEFT = [
    (1.0, gettext_lazy("everywhere")),
    (0.9, gettext_lazy("nearly everywhere")),
    (0.75, gettext_lazy("on about three quarters")),
    (0.5, gettext_lazy("on about half")),
    (0.25, gettext_lazy("on about a quarter")),
    (0.1, gettext_lazy("on very little")),
    (0.0, gettext_lazy("nowhere")),
]


def rust_seen(rating: int) -> str:
    """A rating of the corroded area in plain words with the share of the area."""
    if rating == 10:
        return _("no rust and no white bloom")
    if rating == 0:
        return _("more than half of it")
    return f"{LIKENESS[rating]} (≤ {area_limit_percent(rating):g} %)"


def film_seen(film_left: float | None) -> str:
    """Where a film still sheds water, in words."""
    if film_left is None:
        return _("not looked at")
    return str(min(FILM_LEFT, key=lambda choice: abs(choice[0] - film_left))[1])


def pace(log_rate: float) -> str:
    """How fast coats wear beside the table, in words; `log_rate` is the natural logarithm of the factor."""
    factor = exp(log_rate)
    return str(next((words for limit, words in _PACES if factor < limit), _FASTEST))


# Limits lie half-way between the shares they part.
_PACES = [
    (0.4, gettext_lazy("less than half as fast as the table says")),
    (0.58, gettext_lazy("about half as fast as the table says")),
    (0.71, gettext_lazy("about a third slower than the table says")),
    (0.85, gettext_lazy("about a quarter slower than the table says")),
    (0.95, gettext_lazy("about a tenth slower than the table says")),
    (1.05, gettext_lazy("as fast as the table says")),
    (1.17, gettext_lazy("about a tenth faster than the table says")),
    (1.29, gettext_lazy("about a quarter faster than the table says")),
    (1.42, gettext_lazy("about a third faster than the table says")),
    (1.75, gettext_lazy("about half as fast again as the table says")),
    (2.5, gettext_lazy("about twice as fast as the table says")),
]
_FASTEST = gettext_lazy("more than twice as fast as the table says")
