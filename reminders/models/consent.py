"""Who may be written to about what."""

from __future__ import annotations

from django.db import models

from bookings.models import Rider


class RecallConsent(models.Model):
    """A rider's yes to being told before winter, with when and in which words it was given; a no stops at once."""

    rider = models.OneToOneField(Rider, on_delete=models.CASCADE, related_name="recall_consent")
    given_at = models.DateTimeField()
    wording = models.CharField(max_length=300)
    source = models.CharField(max_length=40)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.CharField(max_length=40, blank=True)

    def __str__(self) -> str:
        return f"{self.rider}: {'no' if self.withdrawn_at else 'yes'}"


class Suppression(models.Model):
    """An address that mail must not go to, because it bounced or its owner complained."""

    address = models.CharField(max_length=254, unique=True, help_text="Lower case.")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.address
