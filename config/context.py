"""What the frame around every page needs to know."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from bookings import selectors


def frame(request: HttpRequest) -> dict[str, Any]:
    """The shop, for name and phone at the same place on each page, and whether a local mailbox runs."""
    return {"shop": selectors.shop(), "has_mailbox": bool(settings.MAILBOX_DIR)}
