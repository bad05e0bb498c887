"""The workbench pages of one bike: habits, coats and when they are due, what was told, and what is found on return."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.dates import MONTHS
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from bookings.links import bike_token
from bookings.models import Bike
from bookings.rules.errors import InputErrors
from bookings.views.staff_door import actor, moment_of, staff_page
from reminders import selectors
from reminders.forms.readings import FindingsForm
from reminders.models import Told, ZoneFinding
from reminders.protection.inspection import read_log_rate
from reminders.services import inspection
from reminders.services.schedules import renew_bike
from reminders.services.telling import Teller, take_back
from reminders.text import film_seen, pace, rust_seen
from reminders.views import telling
from reminders.views.coats import coat_rows, learnt_words
from reminders.views.told import told_rows


def _found_bike(pk: int) -> Bike:
    return get_object_or_404(Bike.objects.select_related("rider"), pk=pk)


def _teller(request: HttpRequest) -> Teller:
    return Teller(Told.Teller.STAFF, actor(request))


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def bike_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything known of a bike. A POST tells more of it, as the rider's page does."""
    bike, now = _found_bike(pk), moment_of(request)
    today = selectors.today(now)
    if request.method != "POST":
        context = _context(request, bike) | {"forms": telling.blank(today)}
        return render(request, "reminders/staff/bike.html", context)
    if request.POST.get("what") == "again":
        return _again(request, bike)
    heard = telling.hear(request, bike, _teller(request), now)
    if heard.refused is None:
        return redirect(reverse("notices:staff-bike", args=[pk]) + "#told")
    context = _context(request, bike) | {"forms": heard.forms, "form": heard.refused}
    return render(request, "reminders/staff/bike.html", context, status=422)


def _again(request: HttpRequest, bike: Bike) -> HttpResponse:
    """Make the estimate again, for habits that were mended in the records."""
    before = telling.due_months(bike)
    if renew_bike(bike, now=moment_of(request)):
        messages.success(request, " ".join(telling.changes(before, bike)))
    else:
        schedule = selectors.latest_schedule(bike)
        reason = selectors.climate_obstacle() or (schedule.refusal if schedule else _("no coat of ours is on it."))
        messages.error(request, _("It could not be made: %(reason)s") % {"reason": reason})
    return redirect(reverse("notices:staff-bike", args=[bike.pk]) + "#coats")


def _context(request: HttpRequest, bike: Bike) -> dict[str, Any]:
    today = selectors.today(moment_of(request))
    return {
        "bike": bike,
        "token": bike_token(bike),
        "today": today,
        "months": [MONTHS[month] for month in bike.riding_months],
        "rows": coat_rows(bike, today),
        "schedule": selectors.latest_schedule(bike),
        "learnt": learnt_words(bike),
        "told": told_rows(bike, today, by_rider=False),
        "findings": [_shown(row) for row in selectors.findings(bike)],
        "visits": bike.visits.select_related("tier").order_by("-starts_at"),
    }


def _shown(row: ZoneFinding) -> dict[str, Any]:
    """A finding in words, with what it says by itself."""
    reading = read_log_rate(selectors.finding_of(row), selectors.parameters_in_force())
    says = _("by itself: wore %(pace)s") % {"pace": pace(reading.mean)} if reading else _("too early to tell a pace")
    return {
        "row": row,
        "rust": rust_seen(row.rating),
        "film": film_seen(row.film_left),
        "expected_percent": round(min(row.forecast_worn, 9.9) * 10) * 10,
        "says": says,
    }


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def findings(request: HttpRequest, pk: int) -> HttpResponse:
    """Grade each zone of a returning bike that carries a coat; or take a finding back."""
    bike, now = _found_bike(pk), moment_of(request)
    if request.method == "POST" and "take_back" in request.POST:
        return _take_back(request, bike)
    coats = selectors.coats_to_grade(bike, selectors.today(now))
    data = request.POST if request.method == "POST" else None
    form = FindingsForm(data, today=selectors.today(now), coats=coats)
    if form.is_bound and _is_kept(form, bike, request):
        said = learnt_words(bike)[:1] or [_("So far it tells no more than that the coats are not used up.")]
        messages.success(request, " ".join([_("Noted."), *said]))
        return redirect(reverse("notices:staff-bike", args=[pk]) + "#findings")
    obstacle = selectors.climate_obstacle()
    context = {"bike": bike, "form": form, "obstacle": obstacle, "has_coats": bool(coats)}
    return render(request, "reminders/staff/findings.html", context, status=422 if form.is_bound else 200)


def _is_kept(form: FindingsForm, bike: Bike, request: HttpRequest) -> bool:
    if not form.is_valid():
        return False
    if obstacle := selectors.climate_obstacle():
        form.add_error(None, obstacle)
        return False
    try:
        inspection.note_findings(
            bike=bike,
            on=form.cleaned_data["on"],
            found=form.found(),
            teller=_teller(request),
            now=moment_of(request),
        )
    except InputErrors as refused:
        form.add_refusals(refused.errors)
        return False
    return True


def _take_back(request: HttpRequest, bike: Bike) -> HttpResponse:
    key = request.POST["take_back"]
    known = selectors.standing(ZoneFinding, bike)
    row = known.filter(pk=int(key)).first() if key.isascii() and key.isdigit() and len(key) <= 18 else None
    if row and take_back(row=row, teller=_teller(request), now=moment_of(request)):
        messages.success(request, _("Taken back. The estimate was made again without it."))
    else:
        messages.info(request, _("There was nothing to take back. Nothing has been changed."))
    return redirect(reverse("notices:staff-bike", args=[bike.pk]) + "#findings")
