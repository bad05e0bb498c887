"""What the shop offers and what it works with."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.text import COAT_KIND


class Tier(models.Model):
    """A service package riders choose from."""

    code = models.SlugField(unique=True)
    name = models.CharField(_("name"), max_length=80)
    summary = models.TextField(_("what it does"))
    protects = models.TextField(_("what it protects"), blank=True)
    price_minor_units = models.PositiveIntegerField(_("price in the smallest coin"), default=0)
    usual_minutes = models.PositiveSmallIntegerField(
        _("usual work minutes"), validators=[MinValueValidator(15)], help_text=_("For a bare bike that is only dirty.")
    )
    curing_minutes = models.PositiveIntegerField(
        _("usual standing time after the work"),
        default=0,
        help_text=_("Until the coats are dry; no work, but no bike."),
    )
    position = models.PositiveSmallIntegerField(default=0)
    offered = models.BooleanField(_("offered now"), default=True)

    class Meta:
        ordering = ["position", "pk"]

    def __str__(self) -> str:
        return self.name


class Step(models.Model):
    """One piece of work in a tier, in the order it is done."""

    tier = models.ForeignKey(Tier, on_delete=models.CASCADE, related_name="steps")
    name = models.CharField(max_length=120)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["tier", "position", "pk"]

    def __str__(self) -> str:
        return self.name


class Product(models.Model):
    """Something that is put on a bike. The product's own sheet wins over every figure here."""

    name = models.CharField(max_length=80, unique=True)
    coat_kind = models.CharField(max_length=20, choices=COAT_KIND)
    nominal_life_days = models.PositiveIntegerField(
        null=True, blank=True, help_text="Days at reference load; empty takes the estimate's table."
    )
    curing_minutes = models.PositiveIntegerField(default=0, help_text="Dry standing time before the bike may leave.")
    no_wash_days = models.PositiveSmallIntegerField(default=0)
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name
