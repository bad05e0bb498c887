"""Riders and their bikes."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.rules.types import BikeKind, RoadSalt, Storage
from bookings.text import BIKE_KIND, ROAD_SALT, STORAGE


def all_months() -> list[int]:
    """Default of the riding season: a bike ridden the year round."""
    return list(range(1, 13))


class Rider(models.Model):
    """A person whose bike comes to the shop. At least one of email and phone is known."""

    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("email"), blank=True)
    phone_e164 = models.CharField(_("phone"), max_length=16, blank=True, help_text="E.164, such as +447700900123")
    created_at = models.DateTimeField()
    email_confirmed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "pk"]
        indexes = [models.Index(fields=["phone_e164"]), models.Index(fields=["email"])]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(email="") | ~models.Q(phone_e164=""),
                name="rider_can_be_reached",
                violation_error_message=_("Give an email address or a phone number."),
            )
        ]

    def __str__(self) -> str:
        return self.name


class Bike(models.Model):
    """A bike and how it lives; the habits feed the estimate of when each coat is due."""

    rider = models.ForeignKey(Rider, on_delete=models.PROTECT, related_name="bikes")
    description = models.CharField(_("bike"), max_length=120)
    registration = models.CharField(_("registration"), max_length=20, blank=True)
    kind = models.CharField(_("kind"), max_length=20, choices=BIKE_KIND, default=BikeKind.BARE.value)
    storage = models.CharField(_("where it stands"), max_length=20, choices=STORAGE, default=Storage.UNHEATED.value)
    riding_months = models.JSONField(_("months ridden"), default=all_months)
    km_per_year = models.PositiveIntegerField(
        _("distance a year"), default=6000, validators=[MinValueValidator(0), MaxValueValidator(150_000)]
    )
    washes_per_year = models.PositiveSmallIntegerField(
        _("washes a year"), default=12, validators=[MinValueValidator(0), MaxValueValidator(365)]
    )
    road_salt = models.CharField(
        _("salt on its roads"), max_length=10, choices=ROAD_SALT, default=RoadSalt.NORMAL.value
    )
    link_serial = models.PositiveIntegerField(default=0, help_text="Raised to revoke every private link sent so far.")
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["description", "pk"]
        indexes = [models.Index(fields=["registration"])]

    def __str__(self) -> str:
        return f"{self.description} ({self.registration})" if self.registration else self.description
