"""Staff's page of the place: twelve months as they usually are, days as they were measured, tables brought in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods

from bookings.views.staff_door import moment_of, staff_page
from reminders import selectors
from reminders.forms.estimates import ClimateForm, ForgetForm, ImportForm
from reminders.protection.types import Climate, Observation
from reminders.services import estimates
from reminders.text import number

DAYS_SHOWN = 12
COLUMNS = {"temperature_c": "°C", "minimum_temperature_c": "°C", "relative_humidity_percent": "%", "frost_days": "1"}

MEASURED = {
    "temperature_c": gettext_lazy("means"),
    "minimum_temperature_c": gettext_lazy("lowest"),
    "relative_humidity_percent": gettext_lazy("humidity"),
}


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def climate(request: HttpRequest) -> HttpResponse:
    """The twelve months as one form, and what is known of single days."""
    posted = request.POST if request.method == "POST" else None
    form = ClimateForm(posted, known=selectors.climate_months())
    if posted is not None and form.is_valid():
        assert form.climate is not None
        estimates.write_climate(climate=form.climate, source=form.cleaned_data["source"])
        messages.success(request, _("The twelve months are kept. Schedules are computed again within minutes."))
        return redirect("estimate:climate")
    return _climate_page(request, form, ForgetForm(), 422 if form.errors else 200)


def _climate_page(request: HttpRequest, form: ClimateForm, forget_form: ForgetForm, status: int) -> HttpResponse:
    context = {
        "form": form,
        "forget_form": forget_form,
        "weather": selectors.weather_span(),
        "obstacle": selectors.climate_obstacle(),
    }
    return render(request, "reminders/staff/climate.html", context, status=status)


@require_http_methods(["POST"])
@staff_page
def forget(request: HttpRequest) -> HttpResponse:
    """Take observed days out again."""
    form = ForgetForm(request.POST)
    if not form.is_valid():
        return _climate_page(request, ClimateForm(known=selectors.climate_months()), form, 422)
    gone = estimates.forget_weather(**form.cleaned_data)
    words = ngettext("%(count)s day was taken out.", "%(count)s days were taken out.", gone) % {"count": gone}
    messages.success(request, words)
    return redirect("estimate:climate")


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def bring(request: HttpRequest) -> HttpResponse:
    """A table: looked at first, then written whole or not at all."""
    now = moment_of(request)
    today = selectors.today(now)
    step = request.POST.get("step", "")
    if request.method != "POST" or step == "edit":
        return _bring_page(request, ImportForm(initial=request.POST.dict(), today=today), 200)
    form = ImportForm(request.POST, request.FILES, today=today)
    if not form.is_valid():
        return _bring_page(request, form, 422)
    if step != "write":
        context = {"form": form, **_preview(form.read)}
        return render(request, "reminders/staff/import_preview.html", context)
    source = form.cleaned_data["source"]
    if isinstance(form.read, Climate):
        estimates.write_climate(climate=form.read, source=source)
        messages.success(request, _("The twelve months are kept. Schedules are computed again within minutes."))
    else:
        fresh = estimates.write_weather(days=form.read, source=source, now=now)
        words = ngettext("%(count)s day is new or different.", "%(count)s days are new or different.", fresh)
        messages.success(request, words % {"count": fresh})
    return redirect("estimate:climate")


def _bring_page(request: HttpRequest, form: ImportForm, status: int) -> HttpResponse:
    return render(request, "reminders/staff/import.html", {"form": form, "columns": form.columns()}, status=status)


def _preview(read: Climate | Sequence[Observation]) -> dict[str, Any]:
    return {"months": _months(read)} if isinstance(read, Climate) else {"days": _days(read)}


def _months(read: Climate) -> list[tuple[str, list[tuple[str, str]]]]:
    """By month: each figure as it would be, with what it was where that differs."""
    known = {row.month: row for row in selectors.climate_months()}
    rows = []
    for month, name in MONTHS.items():
        figures = []
        for column, unit in COLUMNS.items():
            values = getattr(read, column)
            new = number(values[month - 1], unit) if values else ""
            before = getattr(known.get(month), column, None)
            old = "" if before is None else number(before, unit)
            figures.append((new, old if old != new else ""))
        rows.append((str(name), figures))
    return rows


def _days(read: Sequence[Observation]) -> dict[str, Any]:
    """How many days are new, different and the same, the bounds of the figures, and the first of what would change."""
    known = selectors.known_weather(day.on for day in read)
    changing = [day for day in read if day.on in known and known[day.on] != day]
    fresh = [day for day in read if day.on not in known]
    return {
        "first": read[0].on,
        "last": read[-1].on,
        "missing": (read[-1].on - read[0].on).days + 1 - len(read),
        "fresh": len(fresh),
        "changing": len(changing),
        "same": len(read) - len(fresh) - len(changing),
        "bounds": [(words, *_bounds(read, column)) for column, words in MEASURED.items()],
        "shown": [(day, known.get(day.on)) for day in _first(changing, fresh)],
    }


def _bounds(read: Sequence[Observation], column: str) -> tuple[str, str]:
    values = [getattr(day, column) for day in read]
    return number(min(values), COLUMNS[column]), number(max(values), COLUMNS[column])


def _first(changing: list[Observation], fresh: list[Observation]) -> list[Observation]:
    """Days that would be overwritten count for more than new ones."""
    return sorted([*changing, *fresh][:DAYS_SHOWN], key=_on)


def _on(day: Observation) -> date:
    return day.on
