"""What actions on a visit ask of the staff, and what the bench records."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from bookings import selectors
from bookings.forms.plain import OneLineField, PlainForm
from bookings.forms.public import StartForm, WholeNumberField
from bookings.models import CoatApplied, Product, Step, Visit
from bookings.rules import safety
from bookings.rules.types import CoatKind, Zone
from bookings.text import CONDITION, METHOD, SAFETY_ITEM, ZONE


def _line(
    label: Any, *, required: bool = True, help_text: Any = "", max_length: int = 200, **attrs: str
) -> OneLineField:
    widget = forms.TextInput(attrs={"autocomplete": "off", **attrs})
    return OneLineField(label=label, required=required, help_text=help_text, max_length=max_length, widget=widget)


class ActForm(PlainForm):
    """An action that needs no more than a press."""

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        self.visit = visit
        super().__init__(*args, **kwargs)


class ConfirmForm(ActForm):
    """Who said yes."""

    said_yes_by = _line(_("Who said yes?"), max_length=120)
    note = _line(_("Note (if any)"), required=False)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"said_yes_by": visit.bike.rider.name})
        super().__init__(*args, visit=visit, **kwargs)


class ReasonForm(ActForm):
    """Why, in a few words; the trail keeps it."""

    reason = _line(_("Why?"), help_text=_("A few words; the trail of this visit keeps them."))


class NoteForm(ActForm):
    """A remark for the trail, if any."""

    reason = _line(_("Note (if any)"), required=False)


class MoveForm(StartForm):
    """Another time, chosen from what is really free."""

    reason = _line(_("Why? (if known)"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["start"].label = _("New time")


class DropOffForm(ActForm):
    """What is noted when the bike is handed in."""

    odometer_km = WholeNumberField(label=_("Odometer, in km"), min_value=0, max_value=2_000_000)
    key_tag = _line(_("Key tag"), help_text=_("Number of the hook the key hangs on."), max_length=20)
    condition_seen = forms.ChoiceField(label=_("As seen, the bike is"), choices=CONDITION, widget=forms.RadioSelect)
    damage_notes = forms.CharField(
        label=_("Damage and marks found on the walk round (if any)"),
        help_text=_("Agree on them with the rider before the first spray."),
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    may_remove_fasteners = forms.BooleanField(label=_("The rider agrees to fasteners being taken out"), required=False)
    collector_name = _line(_("Who may collect, if somebody else"), required=False, max_length=120)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"condition_seen": visit.request.condition_told})
        super().__init__(*args, visit=visit, **kwargs)

    def clean_key_tag(self) -> str:
        """One hook holds one key: the wrong key given out is somebody's ride home."""
        tag: str = self.cleaned_data["key_tag"]
        if other := selectors.keys_in_the_house().get(tag.casefold()):
            raise forms.ValidationError(_("That hook holds the key of %(bike)s."), params={"bike": other})
        return tag


class HandOverForm(ActForm):
    """Who took the bike."""

    collected_by = _line(_("Handed to"), help_text=_("The person who took bike and key."), max_length=120)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        job = getattr(visit, "job", None)
        expected = job.collector_name if job and job.collector_name else visit.bike.rider.name
        kwargs.setdefault("initial", {"collected_by": expected})
        super().__init__(*args, visit=visit, **kwargs)


class ZonesField(forms.MultipleChoiceField):
    """Zones of the bike; only those that may be coated are offered."""

    def valid_value(self, value: Any) -> bool:
        # Any zone is read, so that a forbidden one is refused by the rule itself, with its reason.
        return value in set(Zone)


class CoatForm(PlainForm):
    """One product put on one zone or several."""

    zone = ZonesField(
        label=_("Where"),
        choices=[choice for choice in ZONE if choice[0] in safety.COATED_ZONES],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick at least one part.")},
    )
    product = forms.ModelChoiceField(
        label=_("Product"),
        queryset=Product.objects.none(),
        empty_label=None,
        widget=forms.RadioSelect(attrs={"class": "roomy"}),
    )
    batch = _line(_("Batch on the tin (if any)"), required=False, max_length=40, autocapitalize="characters")
    method = forms.ChoiceField(label=_("How"), choices=METHOD, widget=forms.RadioSelect)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        products = self.fields["product"]
        assert isinstance(products, forms.ModelChoiceField)
        products.queryset = selectors.products()
        for name in ("zone", "method"):
            self.fields[name].widget.attrs["class"] = "side-by-side"

    def clean(self) -> dict[str, Any]:
        facts = self.cleaned_data
        if facts.get("product"):
            for zone in facts.get("zone", []):
                try:
                    safety.check_coat(Zone(zone), CoatKind(facts["product"].coat_kind))
                except safety.ForbiddenCoat as refusal:
                    self.add_error("zone", str(refusal))
        return facts


class BenchForm(PlainForm):
    """A press on the bench: which row it was beside."""

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, rows in (
            ("step", Step.objects.filter(tier=visit.tier_id)),
            ("coat", CoatApplied.objects.filter(job__visit=visit)),
        ):
            if isinstance(field := self.fields.get(name), forms.ModelChoiceField):
                field.queryset = rows


class StepForm(BenchForm):
    """A step of this visit's tier."""

    step = forms.ModelChoiceField(label=_("Step"), queryset=Step.objects.none())


class CoatRowForm(BenchForm):
    """A coat recorded on this visit."""

    coat = forms.ModelChoiceField(label=_("Coat"), queryset=CoatApplied.objects.none())


class FastenersForm(BenchForm):
    """Whether any fastener came out."""

    removed = forms.TypedChoiceField(
        label=_("Fasteners taken out"),
        choices=[("yes", _("yes")), ("no", _("no"))],
        coerce=lambda value: value == "yes",
    )


class SignOffForm(BenchForm):
    """One safety check, put to a name."""

    item = forms.ChoiceField(label=_("Check"), choices=SAFETY_ITEM)
    note = _line(_("Note"), required=False)
