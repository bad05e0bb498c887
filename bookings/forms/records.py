"""Forms of the records kept by hand: what is typed there obeys the same rules as everywhere else."""

from __future__ import annotations

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from bookings import selectors
from bookings.contact import read_phone
from bookings.models import Bike, Rider, Shop


class PhoneForm(forms.ModelForm):
    """A record with a phone number, read as people type it and stored as E.164."""

    def clean_phone_e164(self) -> str:
        typed = str(self.cleaned_data["phone_e164"] or "")
        if not typed:
            return ""
        shop = selectors.shop()
        region = self.cleaned_data.get("phone_region") or (shop.phone_region if shop else "GB")
        return read_phone(typed, region)


class RiderRecordForm(PhoneForm):
    """A rider."""

    # Longer than what is stored, for blanks and brackets.
    phone_e164 = forms.CharField(label=_("phone"), max_length=40, required=False)

    class Meta:
        model = Rider
        fields = ("name", "email", "phone_e164")


class ShopRecordForm(PhoneForm):
    """The shop; its own region reads its number."""

    phone_e164 = forms.CharField(label=_("phone"), max_length=40)

    class Meta:
        model = Shop
        # The region stands before the number, which is read by it.
        fields = (
            "name",
            "email",
            "phone_region",
            "phone_e164",
            "address",
            "time_zone",
            "currency",
            "road_salt",
            "salt_season_from",
            "salt_season_to",
            "so2_deposition_mg_m2_day",
            "chloride_deposition_mg_m2_day",
            "pencil_hold_minutes",
            "booking_notice_minutes",
            "quiet_from",
            "quiet_until",
            "recall_lead_days",
            "most_notices_a_day",
            "all_well_after_days",
            "morning_mail_at",
            "morning_mail_also_to",
        )

    def clean_morning_mail_also_to(self) -> str:
        """Addresses with commas between; the one that is none is named."""
        given = [address.strip() for address in self.cleaned_data["morning_mail_also_to"].split(",")]
        for address in filter(None, given):
            try:
                validate_email(address)
            except ValidationError as error:
                raise ValidationError(
                    _("“%(address)s” is not an email address. Put a comma between two."), params={"address": address}
                ) from error
        return ", ".join(filter(None, given))


class BikeRecordForm(forms.ModelForm):
    """A bike and its habits."""

    riding_months = forms.TypedMultipleChoiceField(
        label=_("months ridden"),
        choices=[(number, name) for number, name in MONTHS.items()],
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = Bike
        fields = (
            "rider",
            "description",
            "registration",
            "kind",
            "storage",
            "riding_months",
            "km_per_year",
            "washes_per_year",
            "road_salt",
        )
