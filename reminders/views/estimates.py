"""The numbers of the estimate: for staff to edit with a reason, for everybody to read with their sources."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from statistics import NormalDist
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from bookings import selectors as bookings
from bookings.rules.errors import InputErrors
from bookings.views.staff_door import actor, moment_of, staff_page
from reminders import selectors
from reminders.forms.estimates import ParameterForm
from reminders.models import ParameterChange
from reminders.protection.parameter_table import DEFAULTS, PUBLISHED
from reminders.protection.parameters import MODEL_VERSION, Parameter
from reminders.services import estimates
from reminders.text import number

GROUPS = {
    "coat": gettext_lazy("How long coats last"),
    "zone": gettext_lazy("Parts of the bike"),
    "storage": gettext_lazy("Where the bike stands"),
    "salt": gettext_lazy("Salted roads"),
    "brine": gettext_lazy("Salt that stays on the bike"),
    "band": gettext_lazy("How wide the span of months is"),
    "learning": gettext_lazy("What inspections teach"),
    "inspection": gettext_lazy("How an inspection is read"),
}
RECENT_CHANGES = 20


@dataclass(frozen=True)
class ShownNumber:
    """One number of the table as pages show it; `change` is the shop's own doing, None while the table's stands."""

    row: Parameter
    in_force: float
    change: ParameterChange | None

    @property
    def meaning(self) -> str:
        """What it is, as a sentence begins."""
        return self.row.meaning[:1].upper() + self.row.meaning[1:]

    @property
    def value(self) -> str:
        """The value in force, with its unit."""
        return number(self.in_force, self.row.unit)

    @property
    def of_the_table(self) -> str:
        """The value of the table, with its unit."""
        return number(self.row.value, self.row.unit)

    @property
    def span(self) -> str:
        """Its range."""
        return _("%(low)s to %(high)s") % {"low": number(self.row.low), "high": number(self.row.high)}


def _shown(key: str) -> ShownNumber:
    return ShownNumber(DEFAULTS.row(key), selectors.parameters_in_force()[key], selectors.own_values().get(key))


def _groups() -> list[tuple[str, list[ShownNumber]]]:
    """The whole table in its order; a family of numbers without a title of its own goes by its key."""
    own, in_force = selectors.own_values(), selectors.parameters_in_force()
    shown = (ShownNumber(row, in_force[row.key], own.get(row.key)) for row in DEFAULTS.rows)
    return [(str(GROUPS.get(family, family)), list(rows)) for family, rows in groupby(shown, _family)]


def _family(shown: ShownNumber) -> str:
    return shown.row.key.partition(".")[0]


@dataclass(frozen=True)
class ShownChange:
    """One line of history."""

    change: ParameterChange
    meaning: str
    value: str


def _history(changes: Iterable[ParameterChange]) -> list[ShownChange]:
    lines = []
    for change in changes:
        row = DEFAULTS.row(change.key) if change.key in DEFAULTS else None
        value = _("back to the table") if change.value is None else number(change.value, row.unit if row else "1")
        lines.append(ShownChange(change, row.meaning if row else change.key, value))
    return lines


def _outdated() -> int:
    return selectors.schedules_outdated(selectors.knowledge().basis).count()


@require_safe
@staff_page
def parameters(request: HttpRequest) -> HttpResponse:
    """Every number, what the shop changed, and how far the schedules have followed."""
    context = {
        "groups": _groups(),
        "outdated": _outdated(),
        "refused": selectors.live_schedules().exclude(refusal=""),
        "history": _history(selectors.parameter_changes()[:RECENT_CHANGES]),
        "obstacle": selectors.climate_obstacle(),
    }
    return render(request, "reminders/staff/parameters.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def parameter(request: HttpRequest, key: str) -> HttpResponse:
    """One number: GET shows it with its history, POST sets another value."""
    if key not in DEFAULTS:
        raise Http404
    form = ParameterForm(request.POST or None, row=DEFAULTS.row(key))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid() and _set(request, key, form):
            messages.success(request, _("Kept. %(follow)s") % {"follow": _follow()})
            return redirect("estimate:parameters")
    context = {
        "shown": _shown(key),
        "form": form,
        "history": _history(selectors.parameter_changes().filter(key=key)),
    }
    return render(request, "reminders/staff/parameter.html", context, status=status)


def _set(request: HttpRequest, key: str, form: ParameterForm) -> bool:
    try:
        estimates.set_parameter(key=key, by=actor(request), now=moment_of(request), **form.cleaned_data)
    except InputErrors as refused:
        for error in refused.errors:
            form.add_error(error.field, f"{error.message[:1].upper()}{error.message[1:]}.")
        return False
    return True


def _follow() -> str:
    waiting = _outdated()
    if not waiting:
        return _("No schedule stands on it yet.")
    return ngettext(
        "%(count)s schedule is computed again within minutes.",
        "%(count)s schedules are computed again within minutes.",
        waiting,
    ) % {"count": waiting}


@require_POST
@staff_page
def set_back(request: HttpRequest, key: str) -> HttpResponse:
    """Return one number to the table's value."""
    if key not in DEFAULTS:
        raise Http404
    why = _("Set back to the value of the table.")
    if estimates.set_back(key=key, why=why, by=actor(request), now=moment_of(request)):
        messages.success(request, _("Set back. %(follow)s") % {"follow": _follow()})
    else:
        messages.info(request, _("The value of the table is in force already."))
    return redirect("estimate:parameters")


@require_safe
def how(request: HttpRequest) -> HttpResponse:
    """How the estimate is made: the model in plain words and every number with its basis and source."""
    in_force = selectors.parameters_in_force()
    months = selectors.climate_months()
    context: dict[str, Any] = {
        "groups": _groups(),
        "coefficients": _coefficients(),
        "published_sources": sorted({row.source for row in PUBLISHED}),
        "model_version": MODEL_VERSION,
        "outside": round(100 * NormalDist().cdf(-in_force["band.z"])),
        "half_life_days": number(in_force["brine.half_life_days"]),
        "lead_days": number(in_force["salt.lead_days"]),
        "climate_sources": sorted({month.source for month in months if month.source}),
        "weather": selectors.weather_span(),
        "shop_known": bookings.shop() is not None,
    }
    return render(request, "reminders/public/how.html", context)


def _coefficients() -> tuple[list[str], list[tuple[str, list[str]]]]:
    """The published functions as a table: names of the coefficients, then a row for each metal."""
    by_metal = [(metal, list(rows)) for metal, rows in groupby(PUBLISHED, lambda row: row.key.split(".")[1])]
    names = [row.key.rpartition(".")[2] for row in by_metal[0][1]]
    return names, [(metal, [number(row.value) for row in rows]) for metal, rows in by_metal]
