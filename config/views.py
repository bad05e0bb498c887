"""Answers the frame gives by itself."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

# A booking needs no sign-in, so sending it again on purpose lends a forger nothing they could not do themselves.
_SENT_AGAIN_BELOW = "/book/"


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its token: for a booking, everything typed comes back with a button to send it once more."""
    answers: list[tuple[str, str]] = []
    if request.path.startswith(_SENT_AGAIN_BELOW):
        answers = [
            (name, value)
            for name, values in request.POST.lists()
            if name != "csrfmiddlewaretoken"
            for value in values
            if isinstance(value, str)
        ]
    response = render(request, "403_csrf.html", {"answers": answers}, status=403)
    if answers:
        response.headers["Cache-Control"] = "private, no-cache"  # so that the way back still finds it
    return response
