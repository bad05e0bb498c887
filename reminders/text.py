"""Estimates in words: months and shares, never a false day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

CAUSES = {
    "age": gettext_lazy("time itself"),
    "climate": gettext_lazy("damp air"),
    "salt": gettext_lazy("salted roads"),
    "riding": gettext_lazy("riding"),
    "washing": gettext_lazy("washing"),
}


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


def course(percent: int, half: date | None, early: date | None, late: date | None) -> str:
    """How a coat goes on from today: what is left, when half will be, and when it is due."""
    left = _("about %(percent)s %% left today") % {"percent": percent} if percent else _("little or nothing left today")
    steps = [left]
    if half:
        steps.append(_("about half by %(month)s") % {"month": month(half)})
    return ", ".join([*steps, _("due %(months)s") % {"months": month_range(early, late)}])


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
