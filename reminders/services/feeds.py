"""Calendars to subscribe to: the days of the shop for a member of staff, the due months of one bike for its rider.

A feed is a convenience and never how anybody is told: programs read it once an hour at best, some once a day. It holds
no rider's name, address or number.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import parseaddr

from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from bookings import ics
from bookings import selectors as bookings
from bookings.models import Bike, Visit
from bookings.rules.types import VisitState
from reminders import links, selectors
from reminders.models import CoatDue, Feed
from reminders.services.names.visits import SHORT, at

BEHIND, AHEAD = timedelta(days=30), timedelta(days=200)
# So long a visit called off still shows as such, for programs that do not take away what is missing.
GONE_SHOWN = timedelta(days=30)
STATUS = {
    VisitState.PENCILLED: ics.Status.TENTATIVE,
    VisitState.CALLED_OFF: ics.Status.CANCELLED,
    VisitState.MISSED: ics.Status.CANCELLED,
}


@dataclass(frozen=True)
class Content:
    """What a feed holds now, and since when it has been just that."""

    body: bytes
    digest: str
    same_since: datetime


def open_for(*, user: User | None = None, bike: Bike | None = None, now: datetime) -> Feed:
    """The feed of a member of staff or a bike, with a new address if it was closed."""
    feed, made = Feed.objects.get_or_create(user=user, bike=bike, defaults={"made_at": now})
    return feed if made or feed.is_open else renew(feed, now=now)


@transaction.atomic
def renew(feed: Feed, *, now: datetime) -> Feed:
    """Give the feed another address; all before it end at once."""
    fresh = Feed.objects.select_for_update(of=("self",)).get(pk=feed.pk)
    fresh.serial += 1
    fresh.is_open, fresh.made_at = True, now
    fresh.save(update_fields=["serial", "is_open", "made_at"])
    return fresh


def close(feed: Feed) -> None:
    """End every address of the feed."""
    Feed.objects.filter(pk=feed.pk).update(is_open=False)


def content(feed: Feed, *, now: datetime) -> Content:
    """The feed as it stands; what has not changed keeps its bytes and its moment."""
    shop = bookings.require_shop()
    with timezone.override(shop.zone), translation.override(settings.LANGUAGE_CODE):
        entries = _days(now) if feed.bike is None else _coats(feed.bike)
        name = shop.name if feed.bike is None else _("%(bike)s: coats due") % {"bike": feed.bike.description}
    body = ics.feed(name, entries, organizer=(shop.name, parseaddr(settings.MAIL_FROM)[1]))
    digest = hashlib.sha256(body).hexdigest()
    if feed.digest != digest or feed.same_since is None:
        feed.digest, feed.same_since = digest, now.replace(microsecond=0)
        feed.save(update_fields=["digest", "same_since"])
    return Content(body, digest, feed.same_since)


def _days(now: datetime) -> list[ics.Entry]:
    """Every visit of the months around; one called off long ago is left out."""
    gone = [VisitState.CALLED_OFF, VisitState.MISSED]
    visits = bookings.visits().filter(starts_at__gte=now - BEHIND, starts_at__lt=now + AHEAD)
    shown = visits.exclude(state__in=gone, changed_at__lt=now - GONE_SHOWN).select_related("job")
    return [_visit(visit) for visit in shown.order_by("starts_at", "pk")]


def _visit(visit: Visit) -> ics.Entry:
    job = getattr(visit, "job", None)
    lines = [
        str(visit.get_state_display()),
        _("key %(tag)s") % {"tag": job.key_tag} if job else "",
        _("promised for %(at)s") % {"at": at(visit.promised_at, SHORT)},
    ]
    return ics.Entry(
        uid=f"day-{visit.calendar_uid}",
        stamp=visit.changed_at,
        starts=visit.starts_at,
        ends=visit.work_until,
        summary=f"{visit.tier}: {visit.bike.description}",
        description="\n".join(filter(None, lines)),
        status=STATUS.get(VisitState(visit.state), ics.Status.CONFIRMED),
        sequence=visit.calendar_sequence,
        url=links.public("staff:visit", visit.pk),
        takes_time=visit.state not in (VisitState.CALLED_OFF, VisitState.MISSED),
    )


def _coats(bike: Bike) -> list[ics.Entry]:
    return [_window(row) for row in selectors.coats_due(bike) if row.due_early]


def _window(row: CoatDue) -> ics.Entry:
    """The days from early to late; where nothing falls due within the horizon on the late side, as far as is known."""
    assert row.due_early is not None
    last = row.due_late or row.due_likely or row.due_early
    facts = {"zone": row.coat.get_zone_display(), "coat": row.coat.get_kind_display()}
    return ics.Entry(
        uid=f"coat-{row.coat_id}@rimebook",
        stamp=row.schedule.computed_at,
        starts=row.due_early,
        ends=max(last, row.due_early),
        summary=_("%(zone)s, %(coat)s: due by estimate") % facts,
        description=_(
            "An estimate from where the bike stands, how it is ridden and the salt on its roads; no promise."
        ),
    )
