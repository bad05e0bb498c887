"""Providers' webhooks by literal payloads through the address, signed as each provider signs (Mailgun: HMAC-SHA256 of
timestamp and token; Postmark: basic authentication). The payloads' form follows the tests of django-anymail (BSD)."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from collections.abc import Callable
from email.message import EmailMessage
from typing import Any

import pytest
from django.test import Client
from django.urls import include, path
from pytest_django import Settings

from bookings.models import Shop, Visit
from config.urls import urlpatterns as site
from reminders import selectors
from reminders.models import Notice, ProviderEvent, Suppression
from reminders.selectors.messages import late_or_doubtful
from reminders.services import sending
from tests.integration.test_replies import SHAPES, reply
from tests.parts.stories import MORNING, confirmed, pencilled

pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]
urlpatterns = [*site, path("anymail/", include("anymail.urls"))]
State = Notice.State
SECRET = "shop:a long secret"
SIGNING_KEY = "key-for-tests-only"
NEVER = "no such mailbox here"


@pytest.fixture(autouse=True)
def secrets(settings: Settings) -> None:
    settings.ANYMAIL = {"WEBHOOK_SECRET": SECRET, "MAILGUN_WEBHOOK_SIGNING_KEY": SIGNING_KEY}


@pytest.fixture
def sent(shop_world: Shop) -> Notice:
    pencilled()
    sending.sweep(now=MORNING)
    return Notice.objects.get(state=State.SENT)


def basic(secret: str) -> dict[str, str]:
    return {"Authorization": f"Basic {base64.b64encode(secret.encode()).decode()}"}


def signature(token: str, key: str = SIGNING_KEY) -> dict[str, str]:
    timestamp = "1759655100"
    digest = hmac.new(key.encode(), f"{timestamp}{token}".encode(), hashlib.sha256).hexdigest()
    return {"timestamp": timestamp, "token": token, "signature": digest}


def mailgun(
    client: Client, kind: str, reference: str, token: str, key: str = SIGNING_KEY, secret: str = SECRET, **facts: Any
) -> int:
    payload = {
        "signature": signature(token, key),
        "event-data": {
            "event": kind,
            "id": "CPgfbmQMTCKtHW6uIWtuVe",
            "timestamp": 1759655100.123,
            "recipient": "ines@example.org",
            "message": {"headers": {"message-id": "20261005.1.abc@mg.example.com", "to": "ines@example.org"}},
            "user-variables": {"notice": reference},
            **facts,
        },
    }
    answer = client.post(
        "/anymail/mailgun/tracking/", json.dumps(payload), content_type="application/json", headers=basic(secret)
    )
    return answer.status_code


def postmark(client: Client, kind: str, reference: str, secret: str = SECRET, **facts: Any) -> int:
    payload = {
        "RecordType": kind,
        "MessageID": "883953f4-6105-42a2-a16a-77a8eac79483",
        "Metadata": {"notice": reference},
        **facts,
    }
    answer = client.post(
        "/anymail/postmark/tracking/", json.dumps(payload), content_type="application/json", headers=basic(secret)
    )
    return answer.status_code


def mailgun_bounce(client: Client, reference: str, number: int) -> int:
    status = {"code": 550, "message": "5.1.1 unknown", "description": NEVER}
    facts: dict[str, Any] = {"severity": "permanent", "reason": "bounce", "delivery-status": status}
    return mailgun(client, "failed", reference, f"bounce{number}", **facts)


def postmark_bounce(client: Client, reference: str, number: int) -> int:
    facts: dict[str, Any] = {
        "ID": 4323372036854775807 + number,
        "Type": "HardBounce",
        "TypeCode": 1,
        "Email": "ines@example.org",
    }
    said = {"Description": "The server was unable to deliver your message", "Details": NEVER}
    return postmark(client, "Bounce", reference, **facts, **said, BouncedAt="2026-10-05T09:05:00Z")


def mailgun_delivery(client: Client, reference: str) -> int:
    return mailgun(client, "delivered", reference, "delivery")


def postmark_delivery(client: Client, reference: str) -> int:
    facts = {"Recipient": "ines@example.org", "DeliveredAt": "2026-10-05T09:05:00Z", "Details": "accepted"}
    return postmark(client, "Delivery", reference, **facts)


def mailgun_complaint(client: Client, reference: str) -> int:
    return mailgun(client, "complained", reference, "complaint")


def postmark_complaint(client: Client, reference: str) -> int:
    facts: dict[str, Any] = {"ID": 42, "Type": "SpamComplaint", "TypeCode": 512, "Email": "ines@example.org"}
    return postmark(client, "SpamComplaint", reference, **facts, BouncedAt="2026-10-05T09:05:00Z")


BOUNCES = [mailgun_bounce, postmark_bounce]
DELIVERIES = [mailgun_delivery, postmark_delivery]
COMPLAINTS = [mailgun_complaint, postmark_complaint]
BOTH = ["mailgun", "postmark"]


@pytest.mark.parametrize(("bounce", "delivery"), zip(BOUNCES, DELIVERIES, strict=True), ids=BOTH)
def test_a_bounce_is_one_suppression_and_one_thing_to_do_in_any_order(
    sent: Notice, client: Client, bounce: Callable[..., int], delivery: Callable[..., int]
) -> None:
    for number in (1, 1, 2):  # told again, and told again under another number
        assert bounce(client, str(sent.pk), number) == 200
    assert delivery(client, str(sent.pk)) == 200  # late and out of order
    sent.refresh_from_db()
    assert sent.state == State.FAILED and NEVER in sent.outcome
    assert Suppression.objects.filter(address="ines@example.org").count() == 1
    assert list(late_or_doubtful(MORNING)) == [sent]
    assert ProviderEvent.objects.filter(notice=sent).count() == 3
    Notice.objects.filter(pk=sent.pk).update(state=State.DROPPED)  # somebody has rung
    assert bounce(client, str(sent.pk), 3) == 200
    assert not late_or_doubtful(MORNING).exists()


def test_what_is_only_put_off_is_no_bounce(sent: Notice, client: Client) -> None:
    assert mailgun(client, "failed", str(sent.pk), "t1", severity="temporary", reason="generic") == 200
    assert postmark(client, "Bounce", str(sent.pk), ID=7, Type="Transient", Email="ines@example.org") == 200
    sent.refresh_from_db()
    assert sent.state == State.SENT and not Suppression.objects.exists()
    assert [event.kind for event in sent.events.all()] == ["deferred", "deferred"]


@pytest.mark.parametrize("complaint", COMPLAINTS, ids=BOTH)
def test_a_complaint_stops_recall_mail_and_the_address(
    sent: Notice, client: Client, complaint: Callable[..., int]
) -> None:
    assert sent.rider is not None and selectors.agrees_to_recall(sent.rider)
    for _ in range(2):
        assert complaint(client, str(sent.pk)) == 200
    assert not selectors.agrees_to_recall(sent.rider)
    assert selectors.suppressed("ines@example.org")
    assert ProviderEvent.objects.count() == 1


@pytest.mark.parametrize("delivery", DELIVERIES, ids=BOTH)
def test_a_notice_in_doubt_is_settled(sent: Notice, client: Client, delivery: Callable[..., int]) -> None:
    Notice.objects.update(state=State.IN_DOUBT, handed_over_at=MORNING)
    for _ in range(2):
        assert delivery(client, str(sent.pk)) == 200
    sent.refresh_from_db()
    assert sent.state == State.SENT and ProviderEvent.objects.count() == 1


FOREIGN = ["", "0", "999999", "9" * 40, "²", "-1", "1; drop", "None", "1\x00"]


@pytest.mark.parametrize("reference", FOREIGN, ids=repr)
@pytest.mark.parametrize("delivery", DELIVERIES, ids=BOTH)
def test_a_reference_that_is_not_ours_does_nothing(
    sent: Notice, client: Client, delivery: Callable[..., int], reference: str
) -> None:
    Notice.objects.update(state=State.IN_DOUBT, handed_over_at=MORNING)
    assert delivery(client, reference) == 200
    assert Notice.objects.get().state == State.IN_DOUBT
    assert ProviderEvent.objects.get().notice is None


def test_words_no_database_keeps_are_no_crash(sent: Notice, client: Client) -> None:
    facts: dict[str, Any] = {"severity": "permanent", "delivery-status": {"description": "bad\x00 mailbox\n" * 90}}
    assert mailgun(client, "failed", str(sent.pk), "odd", **facts) == 200
    sent.refresh_from_db()
    assert sent.state == State.FAILED and "\x00" not in sent.outcome


def test_forged_reports_are_refused_and_change_nothing(sent: Notice, client: Client) -> None:
    key = str(sent.pk)
    answers = [
        mailgun(client, "failed", key, "f1", key="guessed"),
        mailgun(client, "failed", key, "f2", secret="shop:guessed"),
        postmark(client, "Bounce", key, secret="shop:guessed", ID=1, Type="HardBounce", Email="ines@example.org"),
        client.post("/anymail/postmark/tracking/", "{}", content_type="application/json").status_code,
        client.post("/anymail/mailgun/tracking/", "{}", content_type="application/json").status_code,
        client.post("/anymail/mailgun/inbound_mime/", {"body-mime": "x"}, headers=basic(SECRET)).status_code,
    ]
    assert all(400 <= answer < 500 for answer in answers), answers
    sent.refresh_from_db()
    assert sent.state == State.SENT and not ProviderEvent.objects.exists() and not Suppression.objects.exists()


def inbound_by_mailgun(client: Client, mail: EmailMessage, key: str = SIGNING_KEY) -> int:
    fields = {"recipient": "workshop@example.com", "sender": "ines@example.org", "body-mime": mail.as_string()}
    answer = client.post("/anymail/mailgun/inbound_mime/", {**fields, **signature("in1", key)}, headers=basic(SECRET))
    return answer.status_code


def inbound_by_postmark(client: Client, mail: EmailMessage, secret: str = SECRET) -> int:
    payload = {
        "FromFull": {"Email": "ines@example.org", "Name": "Ines", "MailboxHash": ""},
        "OriginalRecipient": "workshop@example.com",
        "Headers": [{"Name": "Return-Path", "Value": "<ines@example.org>"}],
        "RawEmail": mail.as_string(),
    }
    answer = client.post(
        "/anymail/postmark/inbound/", json.dumps(payload), content_type="application/json", headers=basic(secret)
    )
    return answer.status_code


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__)
@pytest.mark.parametrize("provider", [inbound_by_mailgun, inbound_by_postmark], ids=BOTH)
def test_a_calendar_s_answer_comes_in_by_each_provider_in_each_form(
    shop_world: Shop, client: Client, provider: Callable[..., int], shape: Callable[[bytes], EmailMessage]
) -> None:
    visit = confirmed()
    mail = shape(reply(visit.calendar_uid, partstat="TENTATIVE"))
    mail["From"], mail["To"], mail["Subject"] = "ines@example.org", "workshop@example.com", "Tentative"
    for _ in range(2):
        assert provider(client, mail) == 200
    visit.refresh_from_db()
    assert (visit.rider_reply, visit.state) == ("tentative", "confirmed")
    assert visit.events.filter(action="replied").count() == 1


def test_a_forged_answer_is_refused_at_the_door(shop_world: Shop, client: Client) -> None:
    visit = confirmed()
    mail = SHAPES[0](reply(visit.calendar_uid))
    assert inbound_by_mailgun(client, mail, key="guessed") == 400
    assert inbound_by_postmark(client, mail, secret="shop:guessed") == 400
    assert Visit.objects.get().rider_reply == ""
