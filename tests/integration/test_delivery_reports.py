"""What a provider reports later: taken in once, whatever the order, and only from who knows the secret."""

from __future__ import annotations

import base64
import json
from datetime import timedelta

import pytest
from anymail.signals import AnymailTrackingEvent, tracking
from django.test import Client
from django.urls import include, path
from pytest_django import Settings

from bookings.models import Shop
from config.urls import urlpatterns as site
from reminders import selectors
from reminders.models import Notice, ProviderEvent, Suppression
from reminders.services import sending
from tests.parts.stories import MORNING, pencilled

pytestmark = pytest.mark.django_db
urlpatterns = [*site, path("anymail/", include("anymail.urls"))]
State = Notice.State


@pytest.fixture
def notice(shop_world: Shop) -> Notice:
    pencilled()
    return Notice.objects.get()


def report(notice: Notice | None, kind: str, event_id: str = "e1", **facts: object) -> None:
    event = AnymailTrackingEvent(
        event_type=kind,
        event_id=event_id,
        timestamp=MORNING,
        recipient="ines@example.org",
        metadata={"notice": str(notice.pk)} if notice else {},
        **facts,
    )
    tracking.send(sender=object, event=event, esp_name="Postmark")


def test_a_notice_in_doubt_is_settled_by_the_provider_s_word(notice: Notice) -> None:
    Notice.objects.update(state=State.IN_DOUBT, handed_over_at=MORNING)
    report(notice, "delivered")
    notice.refresh_from_db()
    assert notice.state == State.SENT
    assert sending.sweep(now=MORNING + timedelta(minutes=5)) == 0


def test_one_that_waits_to_be_sent_again_is_not(notice: Notice) -> None:
    Notice.objects.update(handed_over_at=MORNING, due_at=MORNING + timedelta(minutes=1))
    report(notice, "delivered")
    assert sending.sweep(now=MORNING + timedelta(minutes=5)) == 0


def test_a_word_about_a_message_never_handed_over_settles_nothing(notice: Notice) -> None:
    report(notice, "delivered")
    notice.refresh_from_db()
    assert notice.state == State.WAITING


def test_a_bounce_suppresses_and_shows_to_staff_once(notice: Notice) -> None:
    sending.sweep(now=MORNING)
    for _ in range(3):
        report(notice, "bounced", description="no such mailbox")
    notice.refresh_from_db()
    assert notice.state == State.FAILED and "no such mailbox" in notice.outcome
    assert Suppression.objects.filter(address="ines@example.org").count() == 1
    assert ProviderEvent.objects.count() == 1
    report(notice, "delivered", event_id="e2")  # late and out of order
    notice.refresh_from_db()
    assert notice.state == State.FAILED


def test_a_complaint_stops_recall_mail_and_the_address(notice: Notice) -> None:
    report(notice, "complained")
    assert notice.rider and not selectors.agrees_to_recall(notice.rider)
    assert Suppression.objects.filter(address="ines@example.org").exists()


def test_news_of_a_message_we_do_not_know_is_kept_and_does_nothing(notice: Notice) -> None:
    report(None, "opened")
    assert ProviderEvent.objects.get().notice is None


def post(client: Client, notice: Notice, secret: str) -> int:
    """A delivery report in Postmark's form (from memory of its webhook documentation)."""
    payload = {
        "RecordType": "Delivery",
        "MessageID": "883953f4-6105-42a2-a16a-77a8eac79483",
        "Recipient": "ines@example.org",
        "DeliveredAt": "2026-10-05T09:05:00Z",
        "Details": "accepted",
        "Metadata": {"notice": str(notice.pk)},
    }
    credentials = base64.b64encode(secret.encode()).decode()
    answer = client.post(
        "/anymail/postmark/tracking/",
        json.dumps(payload),
        content_type="application/json",
        headers={"Authorization": f"Basic {credentials}"},
    )
    return answer.status_code


@pytest.mark.urls(__name__)
def test_reports_come_in_by_the_webhook_and_only_with_its_secret(
    notice: Notice, client: Client, settings: Settings
) -> None:
    settings.ANYMAIL = {"WEBHOOK_SECRET": "shop:a long secret"}
    Notice.objects.update(state=State.IN_DOUBT, handed_over_at=MORNING)
    assert post(client, notice, "shop:guessed") == 400
    assert Notice.objects.get().state == State.IN_DOUBT and not ProviderEvent.objects.exists()
    for _ in range(2):
        assert post(client, notice, "shop:a long secret") == 200
    assert Notice.objects.get().state == State.SENT
    assert ProviderEvent.objects.count() == 1
