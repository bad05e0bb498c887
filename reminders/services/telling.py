"""What riders and staff tell of a bike is kept with who said it and when, and the estimate is made again at once.

A mistake is taken back and stays on record; what is told twice is kept once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from django.db import transaction
from django.utils.translation import gettext as _

from bookings.models import Bike
from bookings.rules.errors import FieldError, InputErrors
from reminders import selectors
from reminders.models import Told
from reminders.services.schedules import renew_bike

OLDEST = timedelta(days=3 * 366)
MOST_TOLD = 500

Row = TypeVar("Row", bound=Told)


@dataclass(frozen=True)
class Teller:
    """Who speaks: the rider through their private page, or a member of staff."""

    kind: Told.Teller
    name: str

    @property
    def is_rider(self) -> bool:
        """Riders may correct themselves, the workshop anybody."""
        return self.kind == Told.Teller.RIDER


@transaction.atomic
def take_back(*, row: Told, teller: Teller, now: datetime) -> bool:
    """Strike out what was told by mistake; False when it was struck out already, or is not the teller's to strike."""
    lock(row.bike)
    fresh = selectors.standing(type(row), row.bike).filter(pk=row.pk).first()
    if fresh is None or (teller.is_rider and fresh.teller != Told.Teller.RIDER):
        return False
    strike(fresh, teller, now)
    renew_bike(row.bike, now=now)
    return True


def lock(bike: Bike) -> None:
    """Let nobody else tell of this bike meanwhile; its key stays free for rows that refer to it."""
    Bike.objects.select_for_update(no_key=True).get(pk=bike.pk)


def keep(kind: type[Row], bike: Bike, teller: Teller, now: datetime, **facts: object) -> Row:
    """Write down what was told. Raises InputErrors when a bike has more on record than an honest one would."""
    if selectors.standing(kind, bike).count() >= MOST_TOLD:
        refuse([FieldError("", _("So much is on record for this bike that no more fits in. Please ring us."))])
    said = {"bike": bike, "teller": teller.kind, "told_by": teller.name[:150], "told_at": now}
    return kind._default_manager.create(**said, **facts)


def strike(row: Told, teller: Teller, now: datetime) -> None:
    """Strike a row out; it stays on record with who did so."""
    row.taken_back_at, row.taken_back_by = now, teller.name[:150]
    row.save(update_fields=["taken_back_at", "taken_back_by"])


def refuse(errors: Iterable[FieldError]) -> None:
    """Raise InputErrors when there are any."""
    if found := list(errors):
        raise InputErrors(found)


def day_errors(field: str, day: date, today: date) -> list[FieldError]:
    """Why nothing can be told of a day."""
    if day > today:
        return [FieldError(field, _("This day is still to come. Tell us once it is past."))]
    if day < today - OLDEST:
        return [FieldError(field, _("This day is too long ago to matter now: give one within the last three years."))]
    return []
