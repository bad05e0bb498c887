"""The rider's forms: the bike and how it lives, a time, who asks."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from bookings.contact import read_phone
from bookings.forms.plain import OneLineField, PlainForm
from bookings.rules.types import BikeKind, Condition, RoadSalt, Storage
from bookings.text import BIKE_KIND, CONDITION, RECALL_AGREED_ONLINE, ROAD_SALT, STORAGE

_DIGITS = {"inputmode": "numeric", "autocomplete": "off"}


class WholeNumberField(forms.IntegerField):
    """A whole number in a text box: number boxes change under a mouse wheel and take an “e” for a digit."""

    widget = forms.TextInput(attrs=_DIGITS)

    def to_python(self, value: Any) -> int | None:
        if isinstance(value, str):
            value = value.replace(" ", "").replace("\u00a0", "").replace("\u202f", "")
        return super().to_python(value)


class BikeForm(PlainForm):
    """The bike as it is now, and how it lives."""

    description = OneLineField(
        label=_("Which bike is it?"),
        help_text=_("Make, model and year, or however you would describe it."),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("Say which bike it is, so that we know it when it arrives.")},
    )
    registration = OneLineField(
        label=_("Registration (if it has one)"),
        max_length=20,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    kind = forms.ChoiceField(
        label=_("How is it built?"), choices=BIKE_KIND, initial=BikeKind.BARE.value, widget=forms.RadioSelect
    )
    condition = forms.ChoiceField(
        label=_("What does it look like now?"),
        help_text=_("An honest answer gives an honest length; nobody will mind."),
        choices=CONDITION,
        initial=Condition.DIRTY.value,
        widget=forms.RadioSelect,
    )
    storage = forms.ChoiceField(
        label=_("Where does it stand between rides?"),
        choices=STORAGE,
        initial=Storage.UNHEATED.value,
        widget=forms.RadioSelect,
    )
    road_salt = forms.ChoiceField(
        label=_("How often are its winter roads salted?"),
        choices=ROAD_SALT,
        initial=RoadSalt.NORMAL.value,
        widget=forms.RadioSelect,
    )
    riding_months = forms.TypedMultipleChoiceField(
        label=_("In which months is it ridden?"),
        help_text=_("All are ticked. Take away the months it rests."),
        choices=[(str(number), name) for number, name in MONTHS.items()],
        coerce=int,
        initial=[str(number) for number in MONTHS],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick at least one month in which the bike is ridden.")},
    )
    km_per_year = WholeNumberField(
        label=_("About how many kilometres a year?"),
        help_text=_("A guess will do. 1,000 miles are about 1,600 km."),
        initial=6000,
        min_value=0,
        max_value=150_000,
    )
    washes_per_year = WholeNumberField(label=_("About how many washes a year?"), initial=12, min_value=0, max_value=365)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["riding_months"].widget.attrs["class"] = "months"

    def clean_registration(self) -> str:
        return str(self.cleaned_data["registration"]).upper()


class StartField(forms.ChoiceField):
    """A start among those shown; one that is free but not shown is as good."""

    def __init__(self, **kwargs: Any) -> None:
        self.free: frozenset[str] = frozenset()
        super().__init__(widget=forms.RadioSelect, **kwargs)

    def valid_value(self, value: Any) -> bool:
        return str(value) in self.free


class StartForm(PlainForm):
    """A time, chosen from what is really free."""

    start = StartField(
        label=_("When will you bring the bike?"),
        error_messages={
            "required": _("Choose a time."),
            "invalid_choice": _("That time is no longer free. Please choose another."),
        },
    )

    def __init__(
        self, *args: Any, free: Iterable[datetime], shown: list[tuple[str, list[tuple[str, str]]]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["start"]
        assert isinstance(field, StartField)
        field.free = frozenset(stamp(start) for start in free)
        field.choices = shown

    def clean_start(self) -> datetime:
        return datetime.fromisoformat(self.cleaned_data["start"])


def stamp(start: datetime) -> str:
    """A start as a form carries it: ISO 8601, UTC, to the minute."""
    return f"{start:%Y-%m-%dT%H:%M}Z"


class RiderForm(PlainForm):
    """Who asks, and how to reach them."""

    name = OneLineField(
        label=_("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Tell us your name.")},
    )
    email = forms.EmailField(
        label=_("Email"),
        help_text=_("For the confirmation and the calendar entry."),
        max_length=254,
        required=False,
        widget=forms.EmailInput(attrs={"autocomplete": "email", "spellcheck": "false"}),
        error_messages={"invalid": _("Check this address: it should look like name@example.org.")},
    )
    phone = OneLineField(
        label=_("Phone"),
        help_text=_("At least one of email and phone; with both we reach you soonest."),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )
    remarks = forms.CharField(
        label=_("Anything we should know? (if you like)"),
        help_text=_("An alarm, matt paint, luggage, a part that needs care, who else may bring the bike."),
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    recall_agreed = forms.BooleanField(
        label=RECALL_AGREED_ONLINE,
        help_text=_("Only about this bike, about once a year. Each such letter has a link that stops them at once."),
        required=False,
    )

    def __init__(self, *args: Any, region: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.region = region

    def clean_phone(self) -> str:
        """The number as typed; `phone_e164` is set beside it, so that a refused form shows what was typed."""
        typed = str(self.cleaned_data["phone"])
        self.phone_e164 = read_phone(typed, self.region) if typed else ""
        return typed

    def clean(self) -> dict[str, Any]:
        facts = self.cleaned_data
        if not {"email", "phone"} & set(self.errors) and not facts.get("email") and not facts.get("phone"):
            self.add_error(
                "email", ValidationError(_("Give an email address or a phone number, so that we can answer."))
            )
        return facts


class CallOffForm(PlainForm):
    """Why a rider calls off, if they care to say."""

    reason = OneLineField(
        label=_("Would you tell us why? (if you like)"),
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
