"""Calendars to subscribe to."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from bookings.models import Bike


class Feed(models.Model):
    """One private calendar address: of a member of staff or of a bike. The address is signed from the key and the
    serial, so that nothing secret is stored, and raising the serial ends it."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, null=True, blank=True, related_name="feed"
    )
    bike = models.OneToOneField(Bike, on_delete=models.CASCADE, null=True, blank=True, related_name="feed")
    serial = models.PositiveIntegerField(default=1, help_text="Raised to end every address given out so far.")
    is_open = models.BooleanField(default=True)
    made_at = models.DateTimeField()
    # What it last held, so that its readers learn truly since when nothing has changed.
    digest = models.CharField(max_length=64, blank=True)
    same_since = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(user__isnull=False, bike__isnull=True)
                | models.Q(user__isnull=True, bike__isnull=False),
                name="feed_has_one_owner",
            )
        ]

    def __str__(self) -> str:
        return f"Calendar of {self.user or self.bike}"
