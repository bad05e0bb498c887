"""What riders and staff can tell of a bike: a reading, a wash, a tour; and how its zones were found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from bookings.forms.plain import PlainForm
from bookings.forms.public import WholeNumberField
from bookings.models import CoatApplied
from bookings.rules.errors import FieldError
from bookings.rules.types import Zone
from bookings.text import ZONE
from reminders.services.inspection import ZoneFound
from reminders.services.readings import MOST_KM
from reminders.text import FILM_LEFT, rust_seen

_KM = {"required": _("Give the kilometres."), "invalid": _("Give the kilometres as a whole number, without commas.")}


class DayField(forms.DateField):
    """A day: from the browser's own calendar, or typed as people write it."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        kwargs.setdefault("input_formats", ["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d %B %Y", "%d %b %Y"])
        invalid = _("Give a day that exists, such as 2026-03-14.")
        kwargs.setdefault("error_messages", {"invalid": invalid, "required": _("Give the day.")})
        super().__init__(**kwargs)


class TellingForm(PlainForm):
    """Something told of a bike; `today` is offered as the day."""

    days: Sequence[str] = ()

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.days:
            self.fields[name].initial = today

    def add_refusals(self, errors: Iterable[FieldError]) -> None:
        """Put what the rules refuse at the fields it concerns."""
        for error in errors:
            self.add_error(error.field if error.field in self.fields else None, error.message)


class OdometerForm(TellingForm):
    """A reading of the odometer."""

    on = DayField(label=_("Read on"))
    km = WholeNumberField(label=_("Odometer, in km"), min_value=0, max_value=MOST_KM, error_messages=_KM)
    days = ("on",)


class WashForm(TellingForm):
    """A wash."""

    on = DayField(label=_("Washed on"))
    days = ("on",)


class TourForm(TellingForm):
    """A tour, or any stretch of riding that was not like the rest of the year."""

    first_day = DayField(label=_("First day"))
    last_day = DayField(label=_("Last day"))
    km = WholeNumberField(
        label=_("Kilometres ridden in these days"),
        help_text=_("A guess will do. 1,000 miles are about 1,600 km."),
        min_value=1,
        max_value=200_000,
        error_messages=_KM,
    )
    salted = forms.TypedChoiceField(
        label=_("Were the roads salted?"),
        choices=[("no", _("no")), ("yes", _("yes, at least some of them"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": _("Say whether the roads were salted.")},
    )


@dataclass(frozen=True)
class ZoneFields:
    """The fields of one zone for the page, with the coats that are on it."""

    words: str
    coats: Sequence[CoatApplied]
    rust: BoundField
    film: BoundField


class FindingsForm(TellingForm):
    """Every zone that carries a coat, each graded or left out."""

    on = DayField(label=_("Looked at on"), help_text=_("Before any cleaning, when the bike came in."))
    days = ("on",)

    def __init__(self, *args: Any, coats: Mapping[str, Sequence[CoatApplied]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.coats = coats
        for zone in coats:
            self.fields[zone] = forms.TypedChoiceField(
                label=_("Rust or white bloom"),
                choices=[("", _("not graded")), *((rating, rust_seen(rating)) for rating in range(10, -1, -1))],
                coerce=int,
                empty_value=None,
                required=False,
            )
            self.fields[f"{zone}-film"] = forms.TypedChoiceField(
                label=_("Water still beads and runs off"),
                choices=[("", _("not looked at")), *((str(share), words) for share, words in FILM_LEFT)],
                coerce=float,
                empty_value=None,
                required=False,
            )

    def zones(self) -> list[ZoneFields]:
        """What the page shows, in the order of the bike's parts."""
        return [
            ZoneFields(str(words), self.coats[zone], self[zone], self[f"{zone}-film"])
            for zone, words in ZONE
            if zone in self.coats
        ]

    def found(self) -> list[ZoneFound]:
        """The zones that were graded."""
        facts = self.cleaned_data
        return [
            ZoneFound(Zone(zone), facts[zone], facts[f"{zone}-film"])
            for zone in self.coats
            if facts.get(zone) is not None
        ]

    def clean(self) -> dict[str, Any]:
        facts = self.cleaned_data
        for zone in self.coats:
            if facts.get(f"{zone}-film") is not None and facts.get(zone) is None:
                self.add_error(zone, _("Grade the rust too, even if there is none."))
        if not self.errors and not self.found():
            self.add_error(None, _("Grade at least one part."))
        return facts
