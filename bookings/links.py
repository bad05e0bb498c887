"""Private links: signed, for one purpose, revocable by raising the row's serial; no address or name inside."""

from __future__ import annotations

from django.core.signing import BadSignature, Signer

from bookings.models import Bike, Visit

VISIT_PAGE = "bookings.visit-page"
BIKE_PAGE = "bookings.bike-page"


def visit_token(visit: Visit) -> str:
    """The token of a visit's private page; the same each time, so that a resent mail is byte for byte the same."""
    return Signer(salt=VISIT_PAGE).sign_object([visit.pk, visit.link_serial])


def bike_token(bike: Bike) -> str:
    """The token of a bike's private page."""
    return Signer(salt=BIKE_PAGE).sign_object([bike.pk, bike.link_serial])


def visit_of(token: str) -> Visit | None:
    """The visit a token opens, or None for one that is forged, revoked or for another purpose."""
    key = _opened(token, VISIT_PAGE)
    return (
        key and Visit.objects.select_related("bike__rider", "tier", "bay").filter(pk=key[0], link_serial=key[1]).first()
    )


def bike_of(token: str) -> Bike | None:
    """The bike a token opens, or None."""
    key = _opened(token, BIKE_PAGE)
    return key and Bike.objects.select_related("rider").filter(pk=key[0], link_serial=key[1]).first()


def _opened(token: str, purpose: str) -> tuple[int, int] | None:
    try:
        primary_key, serial = Signer(salt=purpose).unsign_object(token)
        return int(primary_key), int(serial)
    except (BadSignature, ValueError, TypeError):
        return None
