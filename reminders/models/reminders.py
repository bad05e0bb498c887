"""Calling bikes back: before winter, or because something is not right."""

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


class ReturnAsk(models.Model):
    """A rider says that something is not right after a visit. The next visit of the bike answers it, or somebody
    sees to it otherwise; asking twice while one is open is one."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="return_asks")
    words = models.TextField(max_length=2000)
    asked_at = models.DateTimeField()
    return_visit = models.OneToOneField(
        Visit, on_delete=models.SET_NULL, null=True, blank=True, related_name="answers_ask"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit"], condition=models.Q(settled_at__isnull=True), name="one_open_ask_per_visit"
            )
        ]

    def __str__(self) -> str:
        return f"Not right after {self.visit}"
