"""Notices that are due, as tests of sending need them."""

from __future__ import annotations

from datetime import timedelta

import pytest

from bookings.models import Shop
from reminders.models import Notice
from reminders.services.outbox import owe
from tests.parts.stories import MORNING, pencilled


@pytest.fixture
def due_notice(shop_world: Shop) -> Notice:
    """A service notice that is due."""
    pencilled()
    return Notice.objects.get()


def as_recall(notice: Notice) -> Notice:
    """The same message as a recall, of which never two may go out."""
    rider = notice.rider
    recall = owe(
        kind=Notice.Kind.RECALL,
        rider=rider,
        subject_key=f"bike:{notice.bike_id}",
        cycle="2026-27",
        due_at=MORNING,
        not_after=MORNING + timedelta(days=9),
        now=MORNING,
        bike=notice.bike,
    )
    assert recall is not None
    Notice.objects.filter(pk=notice.pk).delete()
    # Frozen already, so that the test is about handing over and not about words.
    Notice.objects.filter(pk=recall.pk).update(
        composed_at=MORNING, subject_line="Before winter", text_body="A day before winter.", html_body="<p>A day.</p>"
    )
    recall.refresh_from_db()
    return recall
