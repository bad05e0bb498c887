"""A rider's walk through the booking pages with Django's client, the moment passed along."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

from django.http import HttpResponse
from django.test import Client

from bookings.models import Bike, BookingRequest, Rider, Visit

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)  # a Monday, winter time
BIKE = {
    "description": "Tarn 650, blue",
    "registration": "rb19 xyz",
    "kind": "faired",
    "condition": "crusted",
    "storage": "outside",
    "road_salt": "heavy",
    "riding_months": ["1", "2", "11", "12"],
    "km_per_year": "12000",
    "washes_per_year": "20",
}
RIDER = {"name": "Robin Ashdown", "email": "robin@example.org", "phone": "07700 900123", "remarks": "Alarm fitted."}


def client_at(moment: datetime = NOW, **kwargs: Any) -> Client:
    """A browser that lives at `moment`."""
    return Client(headers={"X-Rimebook-Now": moment.isoformat()}, **kwargs)


@dataclass
class Walk:
    """One booking in one browser; remembers every address it was sent to."""

    client: Client = field(default_factory=client_at)
    tier: str = "full-treatment"
    addresses: list[str] = field(default_factory=list)
    sealed: str = ""

    def begin(self) -> Any:
        """Choose the tier; the answer is the bike page."""
        response = self.followed(self._seen(self.client.get(f"/book/{self.tier}/bike/")))
        self.key = parse_qs(urlsplit(self.addresses[-1]).query)["draft"][0]
        return response

    def page(self, step: str) -> str:
        """Address of one of the booking's pages."""
        return f"/book/{self.tier}/{step}/?draft={self.key}"

    def get(self, step: str) -> Any:
        """Open or reload a page."""
        return self._seen(self.client.get(self.page(step)))

    def send(self, step: str, answers: dict[str, Any], **changes: Any) -> Any:
        """Send a page's form with the hidden field of the page last seen; the answer is unfollowed."""
        posted = answers | ({"draft": self.sealed} if self.sealed else {}) | changes
        return self._seen(self.client.post(self.page(step), posted))

    def tell_bike(self, **changes: Any) -> Any:
        """Send the bike page and go on to the days."""
        return self.followed(self.send("bike", BIKE | changes))

    def choose(self, number: int = 0) -> Any:
        """Take the nth start shown and go on to the last page."""
        self.start = starts_shown(self.get("day"))[number]
        return self.followed(self.send("day", {"start": self.start}))

    def to_last_page(self) -> Any:
        """All pages but the last, answered."""
        self.begin()
        self.tell_bike()
        return self.choose()

    def ask(self, **changes: Any) -> Any:
        """Send the last page; the answer is unfollowed."""
        return self.send("you", RIDER | changes)

    def followed(self, response: HttpResponse) -> Any:
        """The page a redirect leads to."""
        assert response.status_code == 302, response.content.decode()
        return self._seen(self.client.get(response.headers["Location"]))

    def _seen(self, response: Any) -> Any:
        if hidden := re.search(r'name="draft" value="([^"]*)"', response.content.decode()):
            self.sealed = hidden.group(1)
        if "Location" in response.headers:
            self.addresses.append(response.headers["Location"])
        return response


def starts_shown(response: Any) -> list[str]:
    """Values of the starts on a page, in order."""
    return re.findall(r'name="start" value="([^"]+)"', response.content.decode())


def rows_made() -> tuple[int, int, int, int]:
    """How many visits, requests, bikes and riders there are."""
    return Visit.objects.count(), BookingRequest.objects.count(), Bike.objects.count(), Rider.objects.count()
