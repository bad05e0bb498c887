"""What the rider's page of a bike and the workbench page of it have in common: the forms by which more is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from bookings.models import Bike
from bookings.rules.errors import InputErrors
from reminders import selectors
from reminders.forms.readings import OdometerForm, TellingForm, TourForm, WashForm
from reminders.models import OdometerReading, Told, Tour, Wash
from reminders.services import readings, telling
from reminders.services.telling import Teller
from reminders.text import month_range

FORMS: dict[str, type[TellingForm]] = {"odometer": OdometerForm, "wash": WashForm, "tour": TourForm}
NOTE: dict[str, Callable[..., Told]] = {
    "odometer": readings.note_odometer,
    "wash": readings.note_wash,
    "tour": readings.note_tour,
}
ROWS: dict[str, type[Told]] = {"odometer": OdometerReading, "wash": Wash, "tour": Tour}


@dataclass(frozen=True)
class Heard:
    """How a POST went: the forms to show again, and the one refused, if any."""

    forms: dict[str, TellingForm]
    refused: TellingForm | None = None


def blank(today: date) -> dict[str, TellingForm]:
    """The forms with nothing in them; each has a prefix, since they stand on one page."""
    return {what: form(prefix=what, today=today) for what, form in FORMS.items()}


def hear(request: HttpRequest, bike: Bike, teller: Teller, now: datetime) -> Heard:
    """Take what a POST tells of a bike; `what` says which form it is, or what is taken back."""
    today, what = selectors.today(now), request.POST.get("what", "")
    forms, before = blank(today), due_months(bike)
    if what in FORMS:
        form = forms[what] = FORMS[what](request.POST, prefix=what, today=today)
        if not _is_kept(form, NOTE[what], bike=bike, teller=teller, now=now):
            return Heard(forms, form)
        messages.success(request, " ".join([_("Noted."), *changes(before, bike)]))
    elif (row := _named(request, bike)) and telling.take_back(row=row, teller=teller, now=now):
        messages.success(request, " ".join([_("Taken back."), *changes(before, bike)]))
    else:
        messages.info(request, _("There was nothing to take back. Nothing has been changed."))
    return Heard(forms)


def _is_kept(form: TellingForm, note: Callable[..., Told], **who: Any) -> bool:
    if not form.is_valid():
        return False
    try:
        note(**who, **form.cleaned_data)
    except InputErrors as refused:
        form.add_refusals(refused.errors)
        return False
    return True


def _named(request: HttpRequest, bike: Bike) -> Told | None:
    """The row of this bike that a “take it back” stands beside."""
    kind = ROWS.get(request.POST.get("kind", ""))
    key = request.POST.get("row", "")
    if kind is None or not key.isascii() or not key.isdigit() or len(key) > 18:
        return None
    return selectors.standing(kind, bike).filter(pk=int(key)).first()


def due_months(bike: Bike) -> dict[int, str]:
    """The months in which each coat is due, by its key: kept from before a change, to tell what became of them."""
    return {row.coat_id: month_range(row.due_early, row.due_late) for row in selectors.coats_due(bike)}


def changes(before: dict[int, str], bike: Bike) -> list[str]:
    """What became of the months in which coats are due, in sentences."""
    rows = selectors.coats_due(bike)
    if selectors.climate_obstacle() or any(row.schedule.refusal for row in rows):
        return [_("It counts as soon as the estimate can be made again.")]
    moved = []
    for row in rows:
        months, was = month_range(row.due_early, row.due_late), before.get(row.coat_id, "")
        if was and months != was:
            part = capfirst(f"{row.coat.get_zone_display()}, {row.coat.get_kind_display()}")
            moved.append(
                _("%(part)s: now due %(months)s (was %(was)s).") % {"part": part, "months": months, "was": was}
            )
    if rows and not moved:
        return [_("The estimate was made again; the months stay as they were.")]
    return moved
