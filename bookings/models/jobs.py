"""What was done to a bike during a visit."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from bookings.models.bookings import Visit
from bookings.models.catalogue import Product, Step
from bookings.rules.safety import NEVER_COATED
from bookings.rules.types import Condition
from bookings.text import COAT_KIND, CONDITION, METHOD, SAFETY_ITEM, ZONE


class Job(models.Model):
    """The record of one visit's work, opened at drop-off and closed at collection."""

    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="job")
    dropped_off_at = models.DateTimeField()
    odometer_km = models.PositiveIntegerField()
    key_tag = models.CharField(max_length=20)
    condition_seen = models.CharField(max_length=20, choices=CONDITION, default=Condition.DIRTY.value)
    damage_notes = models.TextField(blank=True)
    may_remove_fasteners = models.BooleanField(default=False)
    fasteners_removed = models.BooleanField(default=False)
    collector_name = models.CharField(max_length=120, blank=True)
    work_started_at = models.DateTimeField(null=True, blank=True)
    work_finished_at = models.DateTimeField(null=True, blank=True)
    cured_at = models.DateTimeField(null=True, blank=True, help_text="Earliest moment the bike may leave.")
    ready_at = models.DateTimeField(null=True, blank=True)
    collected_at = models.DateTimeField(null=True, blank=True)
    collected_by = models.CharField(max_length=120, blank=True)

    def __str__(self) -> str:
        return f"Job of {self.visit}"


class StepDone(models.Model):
    """A step ticked, by whom and when. Ticking twice, from two devices, is one tick."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="steps_done")
    step = models.ForeignKey(Step, on_delete=models.PROTECT)
    done_at = models.DateTimeField()
    done_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["done_at", "pk"]
        constraints = [models.UniqueConstraint(fields=["job", "step"], name="one_tick_per_step")]

    def __str__(self) -> str:
        return str(self.step)


class CoatApplied(models.Model):
    """One coat on one zone. The database itself refuses zones that may never be coated."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="coats")
    zone = models.CharField(max_length=20, choices=ZONE)
    kind = models.CharField(max_length=20, choices=COAT_KIND)
    product = models.ForeignKey(Product, on_delete=models.PROTECT)
    batch = models.CharField(max_length=40, blank=True)
    method = models.CharField(max_length=10, choices=METHOD)
    applied_at = models.DateTimeField()
    applied_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["zone", "kind", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["job", "zone", "kind"], name="one_coat_of_a_kind_per_zone"),
            models.CheckConstraint(
                condition=~Q(zone__in=sorted(zone.value for zone in NEVER_COATED)), name="never_coat_what_can_kill"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.get_zone_display()}"


class SafetySignOff(models.Model):
    """Somebody looked, and says so by name."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="sign_offs")
    item = models.CharField(max_length=30, choices=SAFETY_ITEM)
    signed_at = models.DateTimeField()
    signed_by = models.CharField(max_length=150)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["job", "item"], name="one_sign_off_per_item")]

    def __str__(self) -> str:
        return self.get_item_display()
