"""Calling bikes back before winter."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.models import Bike, Visit
from reminders.models.schedules import Schedule


class Recall(models.Model):
    """One bike's call before one salt season; unique, so no bike is called twice for the same winter."""

    class Answer(models.TextChoices):
        ACCEPTED = "accepted", _("takes the day")
        NOT_THIS_YEAR = "not_this_year", _("not this year")
        SOLD = "sold", _("the bike is sold")

    bike = models.ForeignKey(Bike, on_delete=models.CASCADE, related_name="recalls")
    schedule = models.ForeignKey(Schedule, on_delete=models.CASCADE, related_name="recalls")
    season = models.CharField(max_length=20, help_text="The winter it is for, such as 2026-27.")
    earliest = models.DateField()
    ideal = models.DateField()
    latest = models.DateField()
    # The proposed day is a pencilled visit held for the rider, so it cannot be given away meanwhile.
    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="recall")
    created_at = models.DateTimeField()
    answer = models.CharField(max_length=20, choices=Answer, blank=True, help_text="What the rider said to it.")
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["ideal", "pk"]
        constraints = [models.UniqueConstraint(fields=["bike", "season"], name="one_recall_per_bike_and_winter")]

    def __str__(self) -> str:
        return f"{self.bike} before {self.season}"
