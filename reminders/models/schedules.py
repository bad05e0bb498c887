"""When each coat is due again, with everything the estimate was made from."""

from __future__ import annotations

from django.db import models

from bookings.models import Bike, CoatApplied, Visit


class Schedule(models.Model):
    """The protection schedule that follows from one visit. Inputs and version let it be derived again."""

    bike = models.ForeignKey(Bike, on_delete=models.CASCADE, related_name="schedules")
    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="schedule")
    computed_at = models.DateTimeField()
    as_of = models.DateField()
    model_version = models.CharField(max_length=40)
    inputs = models.JSONField()
    parameters = models.JSONField(default=dict, help_text="Every number of the model as it was; none: its table.")
    basis = models.CharField(
        max_length=64,
        blank=True,
        db_index=True,
        help_text="Fingerprint of the numbers and the place asked with.",
    )
    refusal = models.CharField(max_length=300, blank=True, help_text="Why it could not be asked again, in words.")
    salt_from = models.DateField(null=True, blank=True)
    salt_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-computed_at", "-pk"]

    def __str__(self) -> str:
        return f"Schedule of {self.bike}"


class CoatDue(models.Model):
    """The estimate for one coat; dates are empty where nothing falls due within the horizon."""

    schedule = models.ForeignKey(Schedule, on_delete=models.CASCADE, related_name="coats")
    coat = models.OneToOneField(CoatApplied, on_delete=models.CASCADE, related_name="due")
    protection_left = models.FloatField(help_text="0–1 at `as_of`.")
    due_early = models.DateField(null=True, blank=True)
    due_likely = models.DateField(null=True, blank=True)
    due_late = models.DateField(null=True, blank=True)
    act_by = models.DateField(null=True, blank=True, help_text="Before the salt season it would not outlast.")
    wear_share = models.JSONField(help_text="{age, climate, salt, riding, washing}, summing to 1.")
    extrapolated = models.BooleanField(default=False)

    class Meta:
        ordering = ["due_likely", "pk"]

    def __str__(self) -> str:
        return f"{self.coat}: {self.due_likely}"
