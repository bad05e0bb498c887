"""Calendars to subscribe to, and the pages on which their addresses are made, changed and stopped."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from bookings import selectors as bookings
from bookings.links import bike_of
from bookings.models import Bike
from bookings.views.staff_door import moment_of, staff_page
from reminders import links
from reminders.models import Feed
from reminders.services import feeds
from reminders.views.public import private


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponseBase:
    """The calendar itself. Who asks with what they have learns cheaply that nothing has changed (RFC 9110, 13)."""
    found = links.feed_of(token)
    if found is None or bookings.shop() is None:
        raise Http404
    now = moment_of(request)
    content = feeds.content(found, now=now)
    response = HttpResponse(content.body, content_type="text/calendar; charset=utf-8")
    etag = f'"{content.digest}"'
    since = int(content.same_since.timestamp())
    answer = get_conditional_response(request, etag=etag, last_modified=since, response=response)
    assert answer is not None
    answer.headers["ETag"] = etag
    answer.headers["Last-Modified"] = http_date(since)
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.headers["Content-Disposition"] = 'inline; filename="rimebook.ics"'
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def own(request: HttpRequest) -> HttpResponse:
    """The shop's days in one's own calendar program."""
    found = Feed.objects.filter(user=request.user.pk).first()
    if request.method == "POST":
        _change(request, found, bike=None)
        return redirect("notices:own-calendar")
    return render(request, "reminders/staff/calendar.html", _context(found))


@require_http_methods(["GET", "HEAD", "POST"])
@private
def of_bike(request: HttpRequest, token: str) -> HttpResponse:
    """The due months of a bike in its rider's calendar program."""
    bike = bike_of(token)
    if bike is None:
        raise Http404
    found = Feed.objects.filter(bike=bike).select_related("bike").first()
    if request.method == "POST":
        _change(request, found, bike=bike)
        return redirect("notices:bike-calendar", token=token)
    return render(request, "reminders/public/calendar.html", _context(found) | {"bike": bike, "token": token})


def _change(request: HttpRequest, found: Feed | None, bike: Bike | None) -> None:
    """Make, change or stop an address, as the pressed button says."""
    now, what = moment_of(request), request.POST.get("what", "")
    if what == "make":
        user = request.user if bike is None and request.user.is_authenticated else None
        feeds.open_for(user=user, bike=bike, now=now)
        messages.success(request, _("Here is your address. Put it into your calendar program as a subscription."))
    elif what == "change" and found is not None:
        feeds.renew(found, now=now)
        messages.success(request, _("The address is new; the old one has stopped."))
    elif what == "stop" and found is not None:
        feeds.close(found)
        messages.success(request, _("The address has stopped. Programs that used it get nothing any more."))
    else:
        messages.info(request, _("Nothing has been changed."))


def _context(found: Feed | None) -> dict[str, object]:
    is_open = found is not None and found.is_open
    address = links.public("notices:feed", links.feed_token(found)) if found is not None and is_open else ""
    return {"feed": found if is_open else None, "address": address}
