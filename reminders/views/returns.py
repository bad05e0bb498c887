"""Something is not right: the rider's page to say so, and the press with which staff have seen to it."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from bookings.views.staff_door import actor, moment_of, staff_page
from reminders import links
from reminders.forms.messages import NotRightForm
from reminders.models import ReturnAsk
from reminders.services import returns


@require_http_methods(["GET", "HEAD", "POST"])
def not_right(request: HttpRequest, token: str) -> HttpResponse:
    """Say what is not right after a visit; the workbench hears of it at once."""
    visit = links.visit_not_right(token)
    if visit is None:
        raise Http404
    form = NotRightForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        returns.ask(visit=visit, words=form.cleaned_data["words"], now=moment_of(request))
        return redirect("notices:not-right", token=token)
    asks = list(visit.return_asks.select_related("return_visit"))
    context = {"visit": visit, "form": form, "asks": asks}
    response = render(request, "reminders/public/not_right.html", context, status=422 if form.is_bound else 200)
    response.headers["Referrer-Policy"] = "same-origin"
    return response


@staff_page
@require_POST
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody has seen to it without another visit."""
    if returns.settle(get_object_or_404(ReturnAsk, pk=pk), by=actor(request), now=moment_of(request)):
        messages.success(request, _("Taken off the list."))
    return redirect("notices:outbox")
