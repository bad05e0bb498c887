"""Today and the week: who comes, what is in the house, who waits for a yes, and how full the days are."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bookings import selectors
from bookings.models import Visit
from bookings.rules.types import VisitState
from bookings.views.staff_door import local, moment_of, staff_page
from bookings.views.staff_next import NextThing, next_thing

DAYS_AHEAD = 8
DAYS_IN_WEEK = 7
# Today's list follows the course of the work backwards: what can leave first makes room.
_BY_URGENCY = [VisitState.READY, VisitState.CURING, VisitState.IN_WORK, VisitState.DROPPED_OFF]
_EXPECTED = {VisitState.CONFIRMED, VisitState.PENCILLED}


@require_safe
@staff_page
def today(request: HttpRequest) -> HttpResponse:
    """What is on the bench, who comes, who still has to say yes, and the room of the days ahead."""
    now = moment_of(request)
    day = local(now).date()
    ahead = selectors.room(first_day=day, days=DAYS_AHEAD, now=now)
    house = sorted(selectors.in_the_house(), key=lambda visit: (_BY_URGENCY.index(VisitState(visit.state)), visit.pk))
    late = selectors.visits().filter(state=VisitState.CONFIRMED, starts_at__lt=_midnight(now))
    context = {
        "day": day,
        "house": [(visit, next_thing(visit, now)) for visit in house],
        "coming": _with_next([visit for visit in ahead[0].visits if visit.state in _EXPECTED], request),
        "overdue": _with_next(list(late), request),
        "waiting": list(selectors.pencilled(now)),
        "days": ahead,
        "tomorrow": ahead[1],
    }
    return render(request, "bookings/staff/today.html", context)


def _midnight(now: datetime) -> datetime:
    return local(now).replace(hour=0, minute=0, second=0, microsecond=0)


def _with_next(visits: list[Visit], request: HttpRequest) -> list[tuple[Visit, NextThing | None]]:
    return [(visit, next_thing(visit, moment_of(request))) for visit in visits]


@require_safe
@staff_page
def week(request: HttpRequest) -> HttpResponse:
    """Seven days from Monday, with what fills them."""
    now = moment_of(request)
    asked = request.GET.get("from", "")
    day = _day(asked)
    is_nonsense = bool(asked) and day is None
    here = day or local(now).date()
    monday = here - timedelta(days=here.weekday())
    context = {
        "days": selectors.room(first_day=monday, days=DAYS_IN_WEEK, now=now),
        "monday": monday,
        "today": local(now).date(),
        "before": monday - timedelta(days=DAYS_IN_WEEK),
        "after": monday + timedelta(days=DAYS_IN_WEEK),
        "not_a_day": asked if is_nonsense else "",
    }
    return render(request, "bookings/staff/week.html", context, status=404 if is_nonsense else 200)


def _day(text: str) -> date | None:
    """A day of this century, or None."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if 2000 <= day.year < 2100 else None
