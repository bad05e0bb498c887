"""The one reader of the clock.

Rules and services take `now` as an argument. Doors (views, tasks, commands) ask here, so that the demo and
tests can tell a story over two years by passing the moment instead of patching time.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

HEADER = "X-Rimebook-Now"


def moment(passed: str | None = None) -> datetime:
    """The present instant in UTC, or the passed ISO 8601 one where settings allow it."""
    if passed and settings.ACCEPT_PASSED_NOW:
        return datetime.fromisoformat(passed).astimezone(timezone.get_default_timezone())
    return timezone.now()


class RequestClock:
    """Give each request one `now`, so that a page never straddles two instants."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.now = moment(request.headers.get(HEADER))  # type: ignore[attr-defined]
        return self.get_response(request)
