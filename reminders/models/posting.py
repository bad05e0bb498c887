"""What handing over needs to remember: finished bytes, how much has left lately, when a tick last ran."""

from __future__ import annotations

from django.db import models

from reminders.models.messages import Notice


class Packed(models.Model):
    """A notice as the bytes an SMTP server is given. Apart from the notice, whose row is rewritten at each step."""

    notice = models.OneToOneField(Notice, on_delete=models.CASCADE, primary_key=True, related_name="packed")
    facts = models.CharField(max_length=32, help_text="Digest of what it was written from; other facts, other bytes.")
    content = models.BinaryField()

    class Meta:
        verbose_name_plural = "packed"

    def __str__(self) -> str:
        return f"{self.notice_id}: {len(self.content)} bytes"


class Pace(models.Model):
    """How many notices of a stream have been taken for hand-over in the minute that began at `minute`."""

    stream = models.CharField(max_length=10, primary_key=True)
    minute = models.DateTimeField()
    taken = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.stream}: {self.taken}"


class Tick(models.Model):
    """When work that repeats may run again: whoever moves `next_at` on has the turn, however many clocks tick."""

    name = models.CharField(max_length=40, primary_key=True)
    next_at = models.DateTimeField()
    turns = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.name}, next at {self.next_at:%Y-%m-%d %H:%M:%S}"
