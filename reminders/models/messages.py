"""The outbox: every message we owe is a row before it is anything else."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from bookings.models import Bike, Rider, Visit


class Notice(models.Model):
    """A message we owe one rider, or ourselves. `state` tells its life; its text is frozen at the first hand-over."""

    class Kind(models.TextChoices):
        PENCILLED = "pencilled", _("visit pencilled")
        CONFIRMED = "confirmed", _("visit confirmed")
        CHANGED = "changed", _("visit changed")
        CALLED_OFF = "called_off", _("visit called off")
        DAY_BEFORE = "day_before", _("the day before")
        READY = "ready", _("bike ready")
        CARE_SHEET = "care_sheet", _("care sheet")
        RECALL = "recall", _("before winter")
        DUE_SOON = "due_soon", _("coats due soon")
        ALL_WELL = "all_well", _("is all well?")
        MORNING = "morning", _("the day ahead, to ourselves")

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
    rider = models.ForeignKey(
        Rider, on_delete=models.CASCADE, null=True, blank=True, related_name="notices", help_text="Empty: to ourselves."
    )
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
        # With the key, so that the first hundred of thousands due at one moment are read off it in order.
        indexes = [models.Index(fields=["state", "due_at", "id"])]
        constraints = [
            models.UniqueConstraint(fields=["kind", "subject_key", "cycle"], name="one_notice_per_cause"),
            models.CheckConstraint(
                condition=~models.Q(state="sending") | models.Q(lease_token__isnull=False, lease_until__isnull=False),
                name="sending_holds_a_lease",
            ),
            models.CheckConstraint(
                condition=models.Q(rider__isnull=True, kind="morning")
                | (models.Q(rider__isnull=False) & ~models.Q(kind="morning")),
                name="only_our_own_mail_has_no_rider",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} to {self.recipient}"

    @property
    def is_recall(self) -> bool:
        """Mail of the recall stream needs a yes, carries unsubscribe headers and is never sent twice by itself; all
        else is service mail."""
        return self.kind in RECALL_STREAM

    @property
    def round(self) -> str:
        """The cycle, without the count of copies that were sent again on purpose."""
        return self.cycle.partition(COPY_MARK)[0]


# Between a cycle and the number of a copy.
COPY_MARK = "+"
# What nudges towards a new visit; everything else is about one that is booked or has just been.
RECALL_STREAM = (Notice.Kind.RECALL, Notice.Kind.DUE_SOON)
# What may wait a day: it yields to the daily limit of a rider, and is never handed over in quiet hours.
MAY_WAIT = (*RECALL_STREAM, Notice.Kind.ALL_WELL)


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
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [models.UniqueConstraint(fields=["provider", "event_id"], name="one_row_per_provider_event")]

    def __str__(self) -> str:
        return f"{self.provider}: {self.kind}"


class Handling(models.Model):
    """What a person did about a notice: sent it again on purpose, or took it off the list."""

    notice = models.ForeignKey(Notice, on_delete=models.CASCADE, related_name="handlings")
    at = models.DateTimeField()
    by = models.CharField(max_length=150)
    words = models.CharField(max_length=200)

    class Meta:
        ordering = ["at", "pk"]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by}: {self.words}"


class NoticeText(models.Model):
    """The shop's own wording of a kind; only ever added to, the newest is in force. Empty means ours again."""

    kind = models.CharField(max_length=20, choices=Notice.Kind)
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField(blank=True)
    saved_at = models.DateTimeField()
    saved_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-saved_at", "-pk"]
        indexes = [models.Index(fields=["kind", "saved_at"])]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.saved_at:%Y-%m-%d %H:%M}"

    @property
    def is_ours(self) -> bool:
        """Whether this version sets the kind back to the wording that comes with Rimebook."""
        return not self.body
