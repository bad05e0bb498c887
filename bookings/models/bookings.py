"""Visits, the quarter-hours they hold, and the trail of who changed what."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.models.catalogue import Tier
from bookings.models.requests import BookingRequest
from bookings.models.riders import Bike
from bookings.models.shop import Bay, Closure
from bookings.rules.types import VisitState
from bookings.text import VISIT_STATE


class Visit(models.Model):
    """One stay of one bike: work starts at `starts_at`, the bike is promised cured at `promised_at`, both UTC."""

    request = models.OneToOneField(BookingRequest, on_delete=models.PROTECT, related_name="visit")
    bike = models.ForeignKey(Bike, on_delete=models.PROTECT, related_name="visits")
    tier = models.ForeignKey(Tier, on_delete=models.PROTECT, related_name="visits")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="visits")
    state = models.CharField(max_length=20, choices=VISIT_STATE, default=VisitState.PENCILLED.value)
    starts_at = models.DateTimeField()
    promised_at = models.DateTimeField()
    booked_minutes = models.PositiveSmallIntegerField()
    usual_minutes = models.PositiveSmallIntegerField(help_text="Median of the estimate the promise was made on.")
    length_reasons = models.JSONField(default=list, help_text="[[words, factor], …] behind the length.")
    pencilled_until = models.DateTimeField(null=True, blank=True)
    # What calendars know this visit by: the number rises with every change they must take over.
    calendar_uid = models.CharField(max_length=120, unique=True)
    calendar_sequence = models.PositiveIntegerField(default=0)
    calendar_stamp = models.DateTimeField()
    link_serial = models.PositiveIntegerField(default=0, help_text="Raised to revoke every private link sent so far.")
    rider_reply = models.CharField(max_length=12, blank=True, help_text="What the rider's calendar answered.")
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["starts_at", "pk"]
        indexes = [models.Index(fields=["state", "starts_at"])]
        constraints = [
            models.CheckConstraint(condition=models.Q(starts_at__lt=models.F("promised_at")), name="visit_has_length"),
            models.CheckConstraint(
                condition=~models.Q(state=VisitState.PENCILLED.value) | models.Q(pencilled_until__isnull=False),
                name="pencilled_visit_lapses",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.tier} · {self.bike}"

    @property
    def work_until(self) -> datetime:
        """When the booked work ends and the bay is free again."""
        return self.starts_at + timedelta(minutes=self.booked_minutes)


class Claim(models.Model):
    """One quarter-hour of one bay, held by a visit or a closure. Unique, so the database refuses a double booking."""

    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="claims")
    quarter = models.BigIntegerField(
        help_text="Quarter-hours since 1970-01-01T00:00Z; clock changes need no special case."
    )
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, blank=True, related_name="claims")
    closure = models.ForeignKey(Closure, on_delete=models.CASCADE, null=True, blank=True, related_name="claims")
    expires_at = models.DateTimeField(null=True, blank=True, help_text="When a pencilled hold lapses; empty is firm.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["bay", "quarter"], name="one_claim_per_bay_and_quarter"),
            models.CheckConstraint(
                condition=models.Q(visit__isnull=False, closure__isnull=True)
                | models.Q(visit__isnull=True, closure__isnull=False),
                name="claim_has_one_holder",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bay_id}@{self.quarter}"


class VisitEvent(models.Model):
    """Who changed a visit, when and why; only ever added to."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="events")
    at = models.DateTimeField()
    actor = models.CharField(max_length=150)
    action = models.CharField(max_length=60)
    from_state = models.CharField(max_length=20, blank=True)
    to_state = models.CharField(max_length=20, choices=VISIT_STATE)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ["at", "pk"]
        verbose_name = _("change of a visit")

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.action}"
