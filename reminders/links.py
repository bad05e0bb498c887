"""Tokens of the links in mail: signed, each for one purpose, without an address or a name inside."""

from __future__ import annotations

from urllib.parse import urljoin

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.urls import reverse

from bookings.models import Rider, Visit
from reminders.models import Feed, Recall

ANSWER = "reminders.recall-answer"
LEAVE = "reminders.recall-leave"
NOT_RIGHT = "reminders.not-right"
FEED = "reminders.feed"


def answer_token(recall: Recall) -> str:
    """Opens the answer page of one recall, until the bike's private links are revoked."""
    return Signer(salt=ANSWER).sign_object([recall.pk, recall.bike.link_serial])


def recall_of(token: str) -> Recall | None:
    """The recall a token opens, or None for one that is forged, revoked or for another purpose."""
    key = _opened(token, ANSWER, 2)
    found = key and Recall.objects.select_related("bike__rider", "visit__tier", "visit__bay").filter(pk=key[0]).first()
    return found if key and found and found.bike.link_serial == key[1] else None


def leave_token(rider: Rider) -> str:
    """Ends recall mail to one rider; never expires, for old mail must still be able to stop new mail."""
    return Signer(salt=LEAVE).sign_object([rider.pk])


def rider_leaving(token: str) -> Rider | None:
    """The rider a leave token is for, or None."""
    key = _opened(token, LEAVE, 1)
    return Rider.objects.filter(pk=key[0]).first() if key else None


def not_right_token(visit: Visit) -> str:
    """Opens the page on which to say what is not right after a visit, until its private links are revoked."""
    return Signer(salt=NOT_RIGHT).sign_object([visit.pk, visit.link_serial])


def visit_not_right(token: str) -> Visit | None:
    """The visit such a token is for, or None."""
    key = _opened(token, NOT_RIGHT, 2)
    found = key and Visit.objects.select_related("bike__rider", "tier").filter(pk=key[0], link_serial=key[1]).first()
    return found or None


def feed_token(feed: Feed) -> str:
    """Opens one calendar feed, until its serial is raised, it is closed, or the bike's private links are revoked."""
    return Signer(salt=FEED).sign_object([feed.pk, feed.serial, feed.bike.link_serial if feed.bike else 0])


def feed_of(token: str) -> Feed | None:
    """The open feed a token is for, or None; nobody who has left the shop reads its days."""
    key = _opened(token, FEED, 3)
    if key is None:
        return None
    found = Feed.objects.select_related("user", "bike").filter(pk=key[0], serial=key[1], is_open=True).first()
    if found is None or (found.bike and found.bike.link_serial != key[2]):
        return None
    return None if found.user and not (found.user.is_active and found.user.is_staff) else found


def public(view: str, *arguments: object) -> str:
    """Full address of a page, from the settings and never from the request that caused the mail."""
    return urljoin(settings.PUBLIC_URL + "/", reverse(view, args=arguments).lstrip("/"))


def _opened(token: str, purpose: str, length: int) -> list[int] | None:
    try:
        parts = [int(part) for part in Signer(salt=purpose).unsign_object(token)]
    except (BadSignature, ValueError, TypeError):
        return None
    return parts if len(parts) == length else None
