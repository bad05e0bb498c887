"""The outbox: every message we owe is a row before it is anything else."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.models import Bike, Rider, Visit


class Notice(models.Model):
    """A message we owe one rider. Its life is told by `state`; its text is frozen at the first hand-over."""

    class Kind(models.TextChoices):
        PENCILLED = "pencilled", _("visit pencilled")
        CONFIRMED = "confirmed", _("visit confirmed")
        CHANGED = "changed", _("visit changed")
        CALLED_OFF = "called_off", _("visit called off")
        DAY_BEFORE = "day_before", _("the day before")
        READY = "ready", _("bike ready")
        CARE_SHEET = "care_sheet", _("care sheet")
        RECALL = "recall", _("before winter")

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting for its time")
        SENDING = "sending", _("being handed over")
        SENT = "sent", _("handed over")
        IN_DOUBT = "in_doubt", _("in doubt: perhaps handed over")
        FAILED = "failed", _("could not be delivered")
        DROPPED = "dropped", _("no longer needed")

    kind = models.CharField(max_length=20, choices=Kind)
    subject_key = models.CharField(max_length=40, help_text="What it is about: visit:12 or bike:5.")
    cycle = models.CharField(max_length=40, help_text="Which time round: a calendar sequence or a season.")
    rider = models.ForeignKey(Rider, on_delete=models.CASCADE, related_name="notices")
    bike = models.ForeignKey(Bike, on_delete=models.CASCADE, null=True, blank=True, related_name="notices")
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, blank=True, related_name="notices")
    recipient = models.EmailField()
    state = models.CharField(max_length=12, choices=State, default=State.WAITING)
    due_at = models.DateTimeField()
    not_after = models.DateTimeField(null=True, blank=True, help_text="Past this moment it would only confuse.")
    created_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    handed_over_at = models.DateTimeField(null=True, blank=True, help_text="Set before the last dot of a hand-over.")
    settled_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=300, blank=True, help_text="Why it stands where it stands, in words.")
    message_id = models.CharField(max_length=200, unique=True)
    # Frozen when first composed, so that a second hand-over carries the same bytes.
    composed_at = models.DateTimeField(null=True, blank=True)
    subject_line = models.CharField(max_length=200, blank=True)
    text_body = models.TextField(blank=True)
    html_body = models.TextField(blank=True)
    calendar_method = models.CharField(max_length=10, blank=True)
    calendar_text = models.TextField(blank=True)
    picture_png = models.BinaryField(default=b"", blank=True)

    class Meta:
        ordering = ["due_at", "pk"]
        indexes = [models.Index(fields=["state", "due_at"])]
        constraints = [
            models.UniqueConstraint(fields=["kind", "subject_key", "cycle"], name="one_notice_per_cause"),
            models.CheckConstraint(
                condition=~models.Q(state="sending") | models.Q(lease_token__isnull=False, lease_until__isnull=False),
                name="sending_holds_a_lease",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} to {self.recipient}"

    @property
    def is_recall(self) -> bool:
        """Recall mail carries unsubscribe headers and is never sent twice; all else is service mail."""
        return self.kind == self.Kind.RECALL


class Attempt(models.Model):
    """One try to hand a notice over, and how the other side answered."""

    notice = models.ForeignKey(Notice, on_delete=models.CASCADE, related_name="tries")
    at = models.DateTimeField()
    outcome = models.CharField(max_length=20)
    phase = models.CharField(max_length=20, blank=True)
    code = models.PositiveSmallIntegerField(null=True, blank=True)
    words = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.outcome}"


class ProviderEvent(models.Model):
    """What a mail provider told us later; unique, because providers tell twice."""

    provider = models.CharField(max_length=40)
    event_id = models.CharField(max_length=200)
    notice = models.ForeignKey(Notice, on_delete=models.SET_NULL, null=True, blank=True, related_name="events")
    kind = models.CharField(max_length=30)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["provider", "event_id"], name="one_row_per_provider_event")]

    def __str__(self) -> str:
        return f"{self.provider}: {self.kind}"
