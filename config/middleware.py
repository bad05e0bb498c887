"""Headers every page carries."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from bookings import selectors

# 'self' only: no inline code, nothing from elsewhere. Charts are served as images of our own.
CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)


class PolicyHeaders:
    """Content policy on every page; private pages are neither cached nor indexed."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", CONTENT_POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "private, no-store")
            response.headers.setdefault("X-Robots-Tag", "noindex")
        return response


class ShopZone:
    """Show and read every time in the shop's zone, whatever zone the machine or the visitor is in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        shop = selectors.shop()
        with timezone.override(shop.zone if shop else None):
            return self.get_response(request)
