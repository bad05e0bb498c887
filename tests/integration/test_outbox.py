"""What is owed, what leaves, what is replaced and what is dropped; on whatever engine the run uses."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import vobject
from django.core import mail
from django.db import IntegrityError, transaction
from django.test import Client

from bookings import signals
from bookings.models import Shop, Visit, VisitEvent
from bookings.services import bookings
from bookings.text import RECALL_AGREED_ONLINE
from reminders import links, selectors
from reminders.models import Notice, RecallConsent, Suppression
from reminders.services import claiming, consent, outcomes, sending
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import COMMUTER, MORNING, STAFF, confirmed, pencilled, ready

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LATER = MORNING + timedelta(hours=2)


def kinds(**fields: object) -> list[str]:
    return list(Notice.objects.filter(**fields).order_by("pk").values_list("kind", flat=True))


def test_a_change_and_the_notice_it_causes_are_written_together(shop_world: Shop) -> None:
    visit = confirmed()
    assert kinds(visit=visit) == [Kind.PENCILLED, Kind.CONFIRMED]
    notice = Notice.objects.get(kind=Kind.CONFIRMED)
    assert notice.recipient == "ines@example.org"
    assert re.fullmatch(r"<rimebook\.n[0-9a-f]{32}@example\.com>", notice.message_id)


def test_a_change_that_is_rolled_back_owes_nothing(shop_world: Shop) -> None:
    visit = pencilled()
    with pytest.raises(RuntimeError), transaction.atomic():
        bookings.confirm(visit=visit, now=MORNING, actor=STAFF)
        raise RuntimeError
    assert kinds(visit=visit) == [Kind.PENCILLED]


def test_a_notice_that_cannot_be_written_takes_the_change_back(shop_world: Shop) -> None:
    visit = pencilled()

    def refuse(sender: object, visit: Visit, event: VisitEvent, **_: object) -> None:
        raise IntegrityError

    signals.visit_changed.connect(refuse)
    try:
        with pytest.raises(IntegrityError):
            bookings.confirm(visit=visit, now=MORNING, actor=STAFF)
    finally:
        signals.visit_changed.disconnect(refuse)
    visit.refresh_from_db()
    assert visit.state == "pencilled"


def test_a_confirmation_carries_an_invitation_twice_the_same(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    visit = confirmed()
    assert sending.sweep(now=LATER) == 1
    [received] = smtp_sink.messages
    message = received.message
    assert received.recipients == ["ines@example.org"]
    assert message["Message-ID"] == Notice.objects.get(kind=Kind.CONFIRMED).message_id
    assert message["Auto-Submitted"] == "auto-generated"
    assert "List-Unsubscribe" not in message
    assert [part.get_content_type() for part in message.walk()] == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "text/html",
        "text/calendar",
        "application/ics",
    ]
    parts = {part.get_content_type(): part for part in message.walk()}
    calendar = parts["text/calendar"]
    assert calendar.get_param("method") == "REQUEST"
    assert calendar["Content-Transfer-Encoding"] == "base64" and calendar["Content-Disposition"] is None
    content = calendar.get_payload(decode=True)
    assert isinstance(content, bytes)
    assert content == parts["application/ics"].get_payload(decode=True)
    assert b"\r\n" in content and b"\r\r\n" not in content
    event = vobject.readOne(content.decode()).vevent
    assert event.uid.value == visit.calendar_uid
    assert (event.sequence.value, event.status.value) == ("1", "CONFIRMED")
    assert event.dtstart.value == visit.starts_at
    text = parts["text/plain"].get_content()
    assert "your visit is confirmed" in text and "http://testserver/visit/" in text
    received.content.decode("ascii")  # seven bits, whatever the names


def test_names_of_any_script_arrive_whole(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    pencilled(name='Žofie "Jiskra" Ørn^n', email="zofie@example.org")
    sending.sweep(now=MORNING)
    [received] = smtp_sink.messages
    received.content.decode("ascii")
    assert 'Žofie "Jiskra" Ørn^n' in received.message.get_body(("plain",)).get_content()  # type: ignore[union-attr]


def test_a_newer_message_about_a_visit_replaces_the_unsent_older_one(shop_world: Shop) -> None:
    visit = confirmed()
    assert Notice.objects.get(kind=Kind.PENCILLED).state == State.DROPPED
    bookings.call_off(visit=visit, now=LATER, actor=STAFF, reason="snow")
    assert Notice.objects.get(kind=Kind.CONFIRMED).state == State.DROPPED
    assert sending.sweep(now=LATER) == 1
    [message] = mail.outbox
    assert message.subject.startswith("Called off")
    assert "snow" not in str(message.body)  # reasons staff write are theirs


def test_two_messages_about_one_visit_do_not_overtake_each_other(shop_world: Shop) -> None:
    visit = pencilled()
    [first] = claiming.claim(now=MORNING)
    bookings.confirm(visit=visit, now=MORNING, actor=STAFF)
    assert claiming.claim(now=MORNING) == []
    outcomes.drop(first, reason="done with", now=MORNING)
    [second] = claiming.claim(now=MORNING)
    assert second.kind == Kind.CONFIRMED


def test_what_no_longer_fits_is_dropped_with_the_reason(shop_world: Shop) -> None:
    visit = confirmed()
    Notice.objects.update(state=State.WAITING)  # as if the older ones had not been replaced in time
    Visit.objects.filter(pk=visit.pk).update(state="called_off")
    assert sending.sweep(now=LATER) == 0
    assert set(Notice.objects.values_list("state", flat=True)) == {State.DROPPED}
    assert Notice.objects.get(kind=Kind.CONFIRMED).outcome == "The visit is now: called off."
    assert mail.outbox == []


def test_after_days_of_silence_old_notices_are_not_sent_in_a_burst(shop_world: Shop) -> None:
    pencilled()
    assert sending.sweep(now=MORNING + timedelta(days=3)) == 0
    assert "time had passed" in Notice.objects.get().outcome
    assert mail.outbox == []


def test_an_address_that_bounced_gets_nothing(shop_world: Shop) -> None:
    Suppression.objects.create(address="ines@example.org", reason="came back", at=MORNING)
    pencilled(email="Ines@example.org")
    sending.sweep(now=MORNING)
    assert "came back" in Notice.objects.get().outcome
    assert mail.outbox == []


def test_a_rider_without_an_address_is_owed_nothing_by_mail(shop_world: Shop) -> None:
    visit = pencilled(email="")
    assert kinds() == []
    assert selectors.without_email([visit]) == [visit]


def test_running_everything_twice_sends_nothing_twice(shop_world: Shop) -> None:
    confirmed()
    assert sending.sweep(now=LATER) == 1
    assert sending.sweep(now=LATER) == 0
    assert len(mail.outbox) == 1


def test_a_lease_that_was_lost_settles_nothing(shop_world: Shop) -> None:
    pencilled()
    [slow] = claiming.claim(now=MORNING)
    outcomes.recover(now=MORNING + claiming.LEASE)
    outcomes.drop(slow, reason="too late", now=MORNING)
    assert Notice.objects.get().state == State.WAITING


def test_the_bike_ready_notice_asks_for_a_brake_test(shop_world: Shop) -> None:
    _, moment = ready()
    sending.sweep(now=moment)
    body = str(mail.outbox[-1].body)
    assert mail.outbox[-1].subject == "Ready: your Grey twin"
    assert "squeeze both brakes" in body and "qualified mechanic" in body


# Consent and the way out of it


def test_a_tick_on_the_form_is_kept_as_consent(shop_world: Shop) -> None:
    rider = pencilled().bike.rider
    kept = RecallConsent.objects.get(rider=rider)
    assert kept.given_at == MORNING and kept.wording == str(RECALL_AGREED_ONLINE) and selectors.agrees_to_recall(rider)
    other = pencilled(name="Bo", email="bo@example.org", phone="+447700900124", recall_agreed=False).bike.rider
    assert not selectors.agrees_to_recall(other)


def test_leaving_shows_on_get_and_acts_on_post_without_cookie_or_token(shop_world: Shop) -> None:
    rider = pencilled().bike.rider
    address = links.public("notices:leave", links.leave_token(rider)).removeprefix("http://testserver")
    scanner = Client(enforce_csrf_checks=True)
    for _ in range(2):
        assert b"Stop it" in scanner.get(address).content
        assert scanner.head(address).status_code == 200
    assert selectors.agrees_to_recall(rider)
    # RFC 8058, 3.2: the mail program posts exactly this, with no cookie, and follows no redirect.
    answer = scanner.post(address, "List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 200
    assert not selectors.agrees_to_recall(rider)
    assert scanner.post(address).status_code == 200
    assert scanner.get(address + "x").status_code == 404
    assert scanner.get("/recall/forged/leave/").status_code == 404


def test_leaving_counts_for_the_address_and_not_for_one_entry(shop_world: Shop) -> None:
    first = pencilled().bike.rider
    second = pencilled(phone="", bike=COMMUTER).bike.rider
    assert first.pk != second.pk
    consent.withdraw(first, by="link in a mail", now=MORNING)
    assert not selectors.agrees_to_recall(second)


# The workbench page


def test_the_notices_page_tells_every_state_and_resends_on_purpose(shop_world: Shop, staff_client: Client) -> None:
    pencilled()
    notice = Notice.objects.get()
    Notice.objects.filter(pk=notice.pk).update(state=State.IN_DOUBT, outcome="Perhaps delivered.")
    page = staff_client.get("/workbench/notices/", headers={"X-Rimebook-Now": MORNING.isoformat()})
    assert page.status_code == 200 and b"In doubt" in page.content and b"Perhaps delivered." in page.content
    again = f"/workbench/notices/{notice.pk}/again/"
    assert staff_client.get(again).status_code == 405
    assert staff_client.post(again, headers={"X-Rimebook-Now": MORNING.isoformat()}).status_code == 302
    assert sending.sweep(now=MORNING) == 1
    staff_client.post(again, headers={"X-Rimebook-Now": MORNING.isoformat()})
    assert sending.sweep(now=MORNING) == 0


def test_what_somebody_has_seen_to_leaves_the_list(shop_world: Shop, staff_client: Client) -> None:
    pencilled()
    notice = Notice.objects.get()
    Notice.objects.update(state=State.FAILED, outcome="The address does not work.")
    headers = {"X-Rimebook-Now": MORNING.isoformat()}
    assert b"07700 900123" in staff_client.get("/workbench/notices/", headers=headers).content
    for _ in range(2):
        answer = staff_client.post(f"/workbench/notices/{notice.pk}/seen-to/", headers=headers)
        assert answer.status_code == 302
    notice.refresh_from_db()
    assert notice.outcome == "Seen to by morgan. The address does not work."
    assert not selectors.late_or_doubtful(MORNING).exists()
    assert sending.sweep(now=MORNING) == 0


def test_the_notices_page_is_for_staff(shop_world: Shop, client: Client) -> None:
    for answer in (client.get("/workbench/notices/"), client.post("/workbench/notices/1/again/")):
        assert answer.status_code == 302 and "sign-in" in answer["Location"]
