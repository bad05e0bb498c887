"""What somebody asked for, kept as they said it."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.models.catalogue import Tier
from bookings.models.riders import Bike
from bookings.rules.types import Condition
from bookings.text import CONDITION


class BookingRequest(models.Model):
    """A request for a tier on a bike, online or by phone. One form sent twice is one request."""

    class Source(models.TextChoices):
        ONLINE = "online", _("online")
        PHONE = "phone", _("by phone")
        RECALL = "recall", _("after a pre-winter notice")

    submission_key = models.UUIDField(unique=True, help_text="Made with the form; a second submit finds the first.")
    source = models.CharField(max_length=10, choices=Source)
    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="requests")
    tier = models.ForeignKey(Tier, on_delete=models.PROTECT, related_name="requests")
    condition_told = models.CharField(max_length=20, choices=CONDITION, default=Condition.DIRTY.value)
    remarks = models.TextField(blank=True)
    recall_agreed = models.BooleanField(default=False, help_text="Said yes to a word before winter.")
    taken_by = models.CharField(max_length=150, blank=True, help_text="Who took the call; empty when online.")
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.tier} for {self.bike}"
