"""The workbench pages of notices: each one's whole life, sending again on purpose, and how the shop words them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail import EmailMultiAlternatives
from django.test import Client

from bookings.models import Shop
from reminders.models import Attempt, Handling, Notice, NoticeText, ProviderEvent
from reminders.services import sending, texts
from tests.parts.stories import MORNING, confirmed, pencilled
from tests.parts.worlds import STAFF_NAME

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LATER = MORNING + timedelta(hours=2)
AT = {"X-Rimebook-Now": LATER.isoformat()}
WHO = STAFF_NAME


def get(client: Client, address: str) -> str:
    answer = client.get(address, headers=AT)
    assert answer.status_code == 200, address
    return answer.content.decode()


def post(client: Client, address: str, **fields: str) -> tuple[int, str]:
    answer = client.post(address, fields, headers=AT, follow=True)
    return answer.status_code, answer.content.decode()


@pytest.fixture
def sent(shop_world: Shop) -> Notice:
    pencilled()
    sending.sweep(now=MORNING)
    return Notice.objects.get(state=State.SENT)


def test_a_notice_tells_its_whole_life(sent: Notice, staff_client: Client) -> None:
    Attempt.objects.create(
        notice=sent, at=MORNING, outcome="later", phase="recipient", code=450, words="4.2.1 mailbox busy"
    )
    ProviderEvent.objects.create(
        provider="Mailgun", event_id="e", notice=sent, kind="deferred", at=LATER, words="greylisted"
    )
    page = get(staff_client, f"/workbench/notices/{sent.pk}/")
    for words in (
        "Owed: visit pencilled",
        "Written, in the words below",
        "The server asks to try later (at the rider&#x27;s address).",
        "450 4.2.1 mailbox busy",
        "Mailgun: The rider&#x27;s server asks the provider to try later.",
        "greylisted",
        "Handed over",
        sent.message_id.strip("<>"),
        "We hold this time until",
        "puts the visit into",
    ):
        assert words in page, words
    assert page.index("Owed") < page.index("450 4.2.1") < page.index("greylisted")


def test_a_fresh_copy_goes_out_on_purpose_and_says_so(sent: Notice, staff_client: Client) -> None:
    sent.rider.email = "ines.new@example.org"  # type: ignore[union-attr]
    sent.rider.save()  # type: ignore[union-attr]
    for _ in range(2):  # pressed twice
        status, page = post(staff_client, f"/workbench/notices/{sent.pk}/copy/", number="1")
        assert status == 200 and "A fresh copy goes out now" in page
    copy = Notice.objects.exclude(pk=sent.pk).get()
    assert (copy.kind, copy.recipient, copy.round) == (sent.kind, "ines.new@example.org", sent.round)
    assert copy.message_id != sent.message_id
    sending.sweep(now=LATER)
    assert mail.outbox[-1].to == ["ines.new@example.org"]
    handling = Handling.objects.get()
    assert handling.by == WHO and "ines.new@example.org" in handling.words
    assert f"{WHO}: A fresh copy was sent" in get(staff_client, f"/workbench/notices/{sent.pk}/")
    # And a second time on purpose is a second copy; a number that is none makes nothing.
    assert 'name="number" value="2"' in get(staff_client, f"/workbench/notices/{sent.pk}/")
    for number in ("2", "7", "", "x", "²"):
        post(staff_client, f"/workbench/notices/{sent.pk}/copy/", number=number)
    assert Notice.objects.count() == 3


def test_what_no_longer_fits_is_not_sent_again(sent: Notice, staff_client: Client) -> None:
    visit = sent.visit
    assert visit is not None
    visit.state = "called_off"
    visit.save()
    _, page = post(staff_client, f"/workbench/notices/{sent.pk}/copy/", number="1")
    assert "Nothing was sent again. The visit is now: called off." in page
    assert Notice.objects.count() == 1 and not Handling.objects.exists()


def test_a_failed_one_leaves_the_list_with_its_copy(sent: Notice, staff_client: Client) -> None:
    Notice.objects.update(state=State.FAILED, outcome="refused")
    assert "Nothing is late, in doubt or failed" not in get(staff_client, "/workbench/notices/")
    post(staff_client, f"/workbench/notices/{sent.pk}/copy/", number="1")
    assert "Nothing is late, in doubt or failed" in get(staff_client, "/workbench/notices/")


def test_seen_to_is_kept_with_who(sent: Notice, staff_client: Client) -> None:
    Notice.objects.update(state=State.IN_DOUBT)
    post(staff_client, f"/workbench/notices/{sent.pk}/seen-to/")
    post(staff_client, f"/workbench/notices/{sent.pk}/seen-to/")
    assert Handling.objects.get().by == WHO
    assert Notice.objects.get().state == State.DROPPED


@pytest.mark.parametrize("kind", list(Kind), ids=str)
def test_every_kind_can_be_looked_at_kept_and_set_back(shop_world: Shop, staff_client: Client, kind: str) -> None:
    confirmed()
    address = f"/workbench/notices/texts/{kind}/"
    assert "Names you can use" in get(staff_client, address)
    now_used = texts.ours(kind)
    wanted = {"subject": f"Word: {now_used.subject}", "body": now_used.body + "\nKeep dry & well.\n"}
    status, page = post(staff_client, address, what="look", **wanted)
    assert status == 200 and "This is how it looks" in page and "Keep dry &amp; well." in page
    assert "{" not in page.split('class="letter card">')[1].split("</div>")[0]
    shown = staff_client.post(address, wanted | {"what": "page"}, headers=AT)
    assert "Keep dry &amp; well." in shown.content.decode() and "sandbox" in shown["Content-Security-Policy"]
    assert "cid:" not in shown.content.decode()
    assert not NoticeText.objects.exists()
    status, page = post(staff_client, address, what="keep", **wanted)
    assert "Kept." in page and WHO in page
    assert texts.in_force(kind).subject == wanted["subject"]
    status, page = post(staff_client, address, what="keep", **wanted)
    assert "like this already" in page and NoticeText.objects.count() == 1
    post(staff_client, f"{address}set-back/")
    post(staff_client, f"{address}set-back/")
    assert texts.in_force(kind) == texts.ours(kind) and NoticeText.objects.count() == 2
    assert "set back to our wording" in get(staff_client, address)


WRONG = [
    ({"body": "Hello {ridder}\n\n{when}\n\n{visit_link}"}, "body", "{ridder} is not a name"),
    ({"body": "Hello {{ rider }}\n\n{when}\n\n{visit_link}"}, "body", "brace without a name"),
    ({"body": "{% load x %}\n\n{when}\n\n{visit_link}"}, "body", "brace without a name"),
    ({"body": "Hello {rider.email}\n\n{when}\n\n{visit_link}"}, "body", "brace without a name"),
    ({"body": "Hello {rider}"}, "body", "{when} must not be missing"),
    ({"subject": "{coats}"}, "subject", "{coats} is not a name"),
    ({"subject": ""}, "subject", "required"),
    ({"body": "x" * 7000}, "body", "at most 6000"),
]


@pytest.mark.parametrize(("change", "field", "words"), WRONG, ids=range(len(WRONG)))
@pytest.mark.parametrize("what", ["look", "keep"])
def test_a_wrong_wording_is_named_at_its_field_and_nothing_is_lost(
    shop_world: Shop, staff_client: Client, what: str, change: dict[str, str], field: str, words: str
) -> None:
    fields = {"subject": "Pencilled", "body": texts.ours("pencilled").body} | change
    answer = staff_client.post("/workbench/notices/texts/pencilled/", {**fields, "what": what}, headers=AT)
    assert answer.status_code == 422
    form = answer.context["form"]
    assert words in " ".join(form.errors[field]), form.errors
    assert form["body"].value() == fields["body"]
    assert not NoticeText.objects.exists()


def test_the_shop_s_words_reach_the_rider_escaped_in_html(shop_world: Shop, staff_client: Client) -> None:
    body = "Hi <b>{rider}</b>,\n\n{when}\n\n{lapse}See it: {visit_link}".replace("{lapse}", "")
    post(staff_client, "/workbench/notices/texts/pencilled/", subject="Hi {rider}", body=body, what="keep")
    pencilled(name="Tom <i>T</i>")
    sending.sweep(now=MORNING)
    [message] = mail.outbox
    assert isinstance(message, EmailMultiAlternatives)
    html = str(message.alternatives[0][0])
    assert message.subject == "Hi Tom <i>T</i>"
    assert "Hi <b>Tom <i>T</i></b>," in message.body
    assert "Hi &lt;b&gt;Tom &lt;i&gt;T&lt;/i&gt;&lt;/b&gt;," in html
    assert ">See it</a>" in html


def test_no_such_kind_and_nobody_from_outside(shop_world: Shop, staff_client: Client, client: Client) -> None:
    assert staff_client.get("/workbench/notices/texts/nothing/").status_code == 404
    assert staff_client.get("/workbench/notices/999/").status_code == 404
    for address in ("/workbench/notices/texts/", "/workbench/notices/texts/ready/", "/workbench/notices/1/"):
        assert client.get(address).status_code == 302
