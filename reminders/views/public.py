"""Riders' pages of reminders: an answer to a recall, and the way out of recall mail.

Links in mail are followed by scanners too, so a GET shows and only a POST acts.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from bookings.links import visit_token
from bookings.rules.transitions import WrongState
from bookings.rules.types import VisitState
from bookings.services.diary import DiaryRefusal
from reminders import links, selectors
from reminders.models import Recall
from reminders.services import consent, recall

View = Callable[..., HttpResponse]
DECLINES = {Recall.Answer.NOT_THIS_YEAR.value, Recall.Answer.SOLD.value}


def private(view: View) -> View:
    """The address of the page is its key: it must not travel on to another site."""

    @wraps(view)
    def inside(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        response.headers["Referrer-Policy"] = "same-origin"
        return response

    return inside


@require_http_methods(["GET", "HEAD", "POST"])
@private
def answer(request: HttpRequest, token: str) -> HttpResponse:
    """The rider's answer to the proposed day."""
    found = links.recall_of(token)
    if found is None or found.visit is None:
        raise Http404
    if request.method == "POST":
        return _take_answer(request, found, token)
    return render(request, "reminders/public/answer.html", _answer_context(request, found, token))


def _answer_context(request: HttpRequest, found: Recall, token: str) -> dict[str, Any]:
    visit = found.visit
    assert visit is not None
    now = request.now  # type: ignore[attr-defined]
    held = visit.state == VisitState.PENCILLED and visit.pencilled_until is not None and visit.pencilled_until >= now
    return {
        "recall": found,
        "visit": visit,
        "token": token,
        "is_held": held and not found.answer,
        "visit_token": visit_token(visit),
        "answers": Recall.Answer,
    }


def _take_answer(request: HttpRequest, found: Recall, token: str) -> HttpResponse:
    now = request.now  # type: ignore[attr-defined]
    said = request.POST.get("answer", "")
    try:
        if said == Recall.Answer.ACCEPTED:
            recall.accept(found, now=now)
        elif said in DECLINES:
            recall.decline(found, Recall.Answer(said), now=now)
        else:
            messages.error(request, _("Please choose one of the answers. Nothing has been changed."))
            return render(request, "reminders/public/answer.html", _answer_context(request, found, token), status=422)
    except (WrongState, DiaryRefusal):
        messages.error(request, _("That day has been let go meanwhile. Please choose another one, or ring us."))
        fresh = links.recall_of(token)
        assert fresh is not None
        return render(request, "reminders/public/answer.html", _answer_context(request, fresh, token), status=409)
    return redirect("notices:answer", token=token)


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@private
def leave(request: HttpRequest, token: str) -> HttpResponse:
    """Stop recall mail. A POST acts at once and without a cookie, as RFC 8058 wants it from mail programs."""
    rider = links.rider_leaving(token)
    if rider is None:
        raise Http404
    if request.method == "POST":
        consent.withdraw(rider, by="link in a mail", now=request.now)  # type: ignore[attr-defined]
    stopped = not selectors.agrees_to_recall(rider)
    return render(request, "reminders/public/leave.html", {"stopped": stopped})
