"""What a rider has told so far, until it becomes a visit.

Kept twice: in the session, so that going back and reloading show it again; and signed inside each form, so that a
page left open still works after the session has gone. What the sent page carries wins, as the rider saw that.
Nothing of it stands in an address but a random key, which is also the key that makes two submits one booking.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

from django.core import signing
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

from bookings.rules.types import BikeKind, Condition, RoadSalt, Storage
from bookings.services.requests import BikeFacts

FIELD = "draft"
_SESSION = "drafts"
_BOOKED = "booked"
_SALT = "bookings.draft"
_MOST_KEPT = 5


class BadDraft(ValueError):
    """What a form carried was altered, cut short or made for another booking."""


@dataclass
class Draft:
    """`bike` and `rider` hold the cleaned answers of their forms, `start` an ISO 8601 instant; empty until answered."""

    key: str
    bike: dict[str, Any] = field(default_factory=dict)
    start: str = ""
    rider: dict[str, Any] = field(default_factory=dict)

    @property
    def submission_key(self) -> UUID:
        """The same for every submit of this booking. Not the key itself: this one travels on in calendar entries."""
        return UUID(bytes=salted_hmac(_SALT, self.key, algorithm="sha256").digest()[:16], version=4)

    @property
    def starts_at(self) -> datetime:
        """The chosen start in UTC."""
        return datetime.fromisoformat(self.start).astimezone(UTC)

    @property
    def kind(self) -> BikeKind:
        """How the bike is built."""
        return BikeKind(self.bike["kind"])

    @property
    def condition(self) -> Condition:
        """What it looks like, as told."""
        return Condition(self.bike["condition"])

    @property
    def bike_facts(self) -> BikeFacts:
        """The bike as the service wants it."""
        return BikeFacts(
            description=self.bike["description"],
            registration=self.bike["registration"],
            kind=self.kind,
            storage=Storage(self.bike["storage"]),
            riding_months=tuple(self.bike["riding_months"]),
            km_per_year=self.bike["km_per_year"],
            washes_per_year=self.bike["washes_per_year"],
            road_salt=RoadSalt(self.bike["road_salt"]),
        )

    def sealed(self) -> str:
        """The draft for a hidden field, signed."""
        return signing.dumps(asdict(self), salt=_SALT, compress=True)


def new_key() -> str:
    """A key nobody can guess."""
    return str(uuid4())


def key_of(request: HttpRequest) -> str | None:
    """The key in the address; None when it is missing or no key at all."""
    try:
        return str(UUID(request.GET.get(FIELD, "")))
    except ValueError:
        return None


def current(request: HttpRequest, key: str) -> Draft | None:
    """The draft the sent page carries, else the one the session keeps. Raises BadDraft."""
    if sealed := request.POST.get(FIELD):
        return _opened(sealed, key)
    kept = request.session.get(_SESSION, {}).get(key)
    return Draft(**kept) if kept else None


def keep(request: HttpRequest, draft: Draft) -> None:
    """Remember the draft; of several bikes at once, the latest few."""
    kept = request.session.get(_SESSION, {})
    kept.pop(draft.key, None)
    kept[draft.key] = asdict(draft)
    request.session[_SESSION] = dict(list(kept.items())[-_MOST_KEPT:])


def became_visit(request: HttpRequest, draft: Draft, token: str) -> None:
    """Forget what was typed, and remember where it led."""
    kept = request.session.get(_SESSION, {})
    kept.pop(draft.key, None)
    request.session[_SESSION] = kept
    booked = request.session.get(_BOOKED, {})
    request.session[_BOOKED] = dict([*booked.items(), (draft.key, token)][-_MOST_KEPT:])


def visit_token_of(request: HttpRequest, key: str) -> str | None:
    """Where this browser's booking with this key led, if it has been made."""
    token: str | None = request.session.get(_BOOKED, {}).get(key)
    return token


def _opened(sealed: str, key: str) -> Draft:
    try:
        draft = Draft(**signing.loads(sealed, salt=_SALT))
    except (signing.BadSignature, TypeError, ValueError) as error:
        raise BadDraft("a draft that this shop has not signed") from error
    if draft.key != key:
        raise BadDraft("a draft of another booking")
    return draft
