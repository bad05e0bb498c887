"""A member of staff at the workbench, at a moment of the invented shop's year."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from bookings.clock import HEADER
from bookings.models import CoatApplied, Job, Product, SafetySignOff, StepDone, Visit, VisitEvent
from tests.parts.visits import NOW


def staff_at(moment: datetime = NOW, *, name: str = "morgan", enforce_csrf_checks: bool = False) -> Client:
    """A client signed in to the workbench, living at `moment`."""
    user, _ = User.objects.get_or_create(username=name, defaults={"is_staff": True, "first_name": "Morgan"})
    client = Client(headers={HEADER: moment.isoformat()}, enforce_csrf_checks=enforce_csrf_checks)
    client.force_login(user)
    return client


def act(visit: Visit, verb: str, moment: datetime = NOW, **typed: str) -> Any:
    """Press one of the visit's actions."""
    return staff_at(moment).post(reverse("staff:act", args=[visit.pk, verb]), typed)


def press(visit: Visit, verb: str, moment: datetime = NOW, **typed: Any) -> Any:
    """Press something at the bench."""
    return staff_at(moment).post(reverse("staff:press", args=[visit.pk, verb]), typed)


def text(response: Any) -> str:
    """What a page says, as sent."""
    return str(response.content, "utf-8")


def rows() -> list[object]:
    """Everything the workbench may change, to see that nothing has."""
    kinds = (Visit, VisitEvent, Job, CoatApplied, StepDone, SafetySignOff)
    return [list(kind.objects.order_by("pk").values()) for kind in kinds]


def film() -> str:
    """The clear film, as forms name it."""
    return str(Product.objects.get(coat_kind="clear_film").pk)
