"""The phone desk's forms: a booking taken while the caller is on the line."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from bookings import selectors
from bookings.contact import read_phone
from bookings.forms.plain import OneLineField
from bookings.forms.public import StartForm
from bookings.rules.types import BikeKind, Condition
from bookings.text import BIKE_KIND, CONDITION, RECALL_AGREED_BY_PHONE


class CallForm(StartForm):
    """A booking for a bike we know: which tier, how it looks, and a start among those free."""

    tier = forms.ChoiceField(label=_("Tier"), widget=forms.RadioSelect)
    condition = forms.ChoiceField(
        label=_("As told, the bike is"), choices=CONDITION, initial=Condition.DIRTY.value, widget=forms.RadioSelect
    )
    remarks = forms.CharField(
        label=_("Remarks (if any)"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    recall_agreed = forms.BooleanField(label=RECALL_AGREED_BY_PHONE, required=False)
    submission_key = forms.UUIDField(widget=forms.HiddenInput)
    from_day = forms.DateField(required=False, widget=forms.HiddenInput)

    first_part = ["tier", "condition"]
    last_part = ["remarks", "recall_agreed"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tiers = self.fields["tier"]
        assert isinstance(tiers, forms.ChoiceField)
        tiers.choices = [(tier.code, tier.name) for tier in selectors.tiers()]
        self.fields["start"].label = _("Free times")
        for name in ("tier", "condition"):
            self.fields[name].widget.attrs["class"] = "roomy"

    def before_times(self) -> list[BoundField]:
        """What has to be known before times can be offered."""
        return [self[name] for name in self.first_part]

    def after_times(self) -> list[BoundField]:
        """What can be asked once a time is found."""
        return [self[name] for name in self.last_part]


class NewCallForm(CallForm):
    """A booking for a caller we do not know yet."""

    name = OneLineField(label=_("Name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    phone = OneLineField(
        label=_("Phone"),
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label=_("Email (for the confirmation, if there is one)"),
        required=False,
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    description = OneLineField(label=_("Bike"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    registration = OneLineField(
        label=_("Registration (if it has one)"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    kind = forms.ChoiceField(
        label=_("How it is built"), choices=BIKE_KIND, initial=BikeKind.BARE.value, widget=forms.RadioSelect
    )

    first_part = ["name", "phone", "description", "registration", "kind", "condition", "tier"]
    last_part = ["email", "remarks", "recall_agreed"]
    field_order = [*first_part, "start", *last_part]

    def __init__(self, *args: Any, region: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.region = region
        self.phone_e164 = ""
        self.fields["kind"].widget.attrs["class"] = "roomy"

    def clean_phone(self) -> str:
        """The number as typed; `phone_e164` is set beside it, so that a refused form shows what was typed."""
        typed = str(self.cleaned_data["phone"])
        self.phone_e164 = read_phone(typed, self.region) if typed else ""
        return typed

    def clean_registration(self) -> str:
        return str(self.cleaned_data["registration"]).upper()

    def clean(self) -> dict[str, Any]:
        facts = self.cleaned_data
        if not {"email", "phone"} & set(self.errors) and not facts.get("email") and not facts.get("phone"):
            self.add_error("phone", ValidationError(_("Take a phone number or an email address.")))
        return facts
