"""The door every staff page goes through: who may come in, the shop's own time, refusals put into words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import user_passes_test
from django.contrib.auth.models import AbstractBaseUser, AnonymousUser
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from bookings import selectors
from bookings.models import Visit
from bookings.rules.safety import ForbiddenCoat, OpenSafetyItems
from bookings.rules.transitions import WrongState
from bookings.services.diary import DiaryRefusal
from bookings.services.jobs import StillCuring
from bookings.text import SAFETY_ITEM

View = Callable[..., HttpResponse]

REFUSALS = (WrongState, DiaryRefusal, ForbiddenCoat, OpenSafetyItems, StillCuring)
DAY_AND_TIME = "D j M, H:i"


def _is_staff(user: AbstractBaseUser | AnonymousUser) -> bool:
    return bool(user.is_active and getattr(user, "is_staff", False))


def staff_page(view: View) -> View:
    """Only for staff who have signed in; times are read and shown in the shop's zone."""

    @user_passes_test(_is_staff, login_url="sign-in")
    @wraps(view)
    def inside(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        shop = selectors.shop()
        if shop is None:
            return render(request, "bookings/staff/no_shop.html", status=503)
        with timezone.override(shop.zone):
            return view(request, *args, **kwargs)

    return inside


def actor(request: HttpRequest) -> str:
    """The name the trail keeps."""
    assert request.user.is_authenticated
    return request.user.get_full_name() or request.user.get_username()


def moment_of(request: HttpRequest) -> datetime:
    """The one instant this request lives at."""
    now: datetime = request.now  # type: ignore[attr-defined]
    return now


def local(moment: datetime) -> datetime:
    """A moment by the shop's clock, which `staff_page` has made the current one."""
    return moment.astimezone(timezone.get_current_timezone())


def found_visit(primary_key: int) -> Visit:
    """The visit with its trail and job; raises Http404."""
    visit = selectors.visit_detail(primary_key)
    if visit is None:
        raise Http404(_("There is no such visit."))
    return visit


def in_words(refusal: Exception) -> list[str]:
    """A refusal of the rules as sentences for the person at the bench."""
    if isinstance(refusal, OpenSafetyItems):
        labels = dict(SAFETY_ITEM)
        return [_("Not signed off yet: %(check)s.") % {"check": labels[item]} for item in refusal.items]
    if isinstance(refusal, StillCuring):
        until = date_format(local(refusal.until), DAY_AND_TIME)
        return [_("The coats still cure, until %(until)s. The bike stays dry and here till then.") % {"until": until}]
    text = str(refusal)
    return [text[:1].upper() + text[1:]]
