"""The rider's page of a bike: how its coats are, when they are due, and what the rider can tell of it."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from bookings.links import bike_of
from bookings.models import Bike
from reminders import charts, selectors
from reminders.models import Told
from reminders.services.telling import Teller
from reminders.views import telling
from reminders.views.coats import coat_rows, learnt_words
from reminders.views.public import private
from reminders.views.told import told_rows


def _bike(token: str) -> Bike:
    bike = bike_of(token)
    if bike is None:
        raise Http404
    return bike


@require_http_methods(["GET", "HEAD", "POST"])
@private
def bike_page(request: HttpRequest, token: str) -> HttpResponse:
    """What is left on each part of a bike, and when it is due; an estimate, and says so. A POST tells more of it."""
    bike, now = _bike(token), request.now  # type: ignore[attr-defined]
    today = selectors.today(now)
    if request.method != "POST":
        return render(
            request, "reminders/public/bike.html", _context(bike, token, now) | {"forms": telling.blank(today)}
        )
    heard = telling.hear(request, bike, Teller(Told.Teller.RIDER, bike.rider.name), now)
    if heard.refused is None:
        return redirect(reverse("notices:bike", args=[token]) + "#told")
    context = _context(bike, token, now) | {"forms": heard.forms, "form": heard.refused}
    return render(request, "reminders/public/bike.html", context, status=422)


def _context(bike: Bike, token: str, now: Any) -> dict[str, Any]:
    today = selectors.today(now)
    return {
        "bike": bike,
        "token": token,
        "rows": coat_rows(bike, today),
        "schedule": selectors.latest_schedule(bike),
        "today": today,
        "learnt": learnt_words(bike)[:1],
        "told": told_rows(bike, today, by_rider=True),
    }


@require_safe
@private
def bike_chart(request: HttpRequest, token: str) -> HttpResponse:
    """The picture of the same estimate."""
    today = selectors.today(request.now)  # type: ignore[attr-defined]
    lines = charts.coat_lines(_bike(token), today)
    if not lines:
        raise Http404
    return HttpResponse(charts.protection_svg(lines, today), content_type="image/svg+xml")
