"""The chart in care sheets and in words before winter: in its place, said in words too, the same bytes each time."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from io import BytesIO

import pytest
from matplotlib.image import imread

from bookings.models import Shop
from config import mailbox
from reminders import charts, selectors
from reminders.mailer.letters import RAW_MESSAGE, Shape, mail_message
from reminders.models import Notice, Schedule
from reminders.services import planning, sending
from reminders.services.composing import compose, letter_of
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import COATS, collected

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LAST_YEAR = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
AUTUMN = datetime(2026, 9, 3, 9, 0, tzinfo=UTC)


def care_sheet() -> Notice:
    _, moment = collected(LAST_YEAR)
    planning.plan(now=moment)
    return Notice.objects.get(kind=Kind.CARE_SHEET)


def recall() -> Notice:
    care_sheet()
    planning.plan(now=AUTUMN)
    return Notice.objects.get(kind=Kind.RECALL)


def types(message: EmailMessage) -> list[str]:
    return [part.get_content_type() for part in message.walk()]


def sent(notice: Notice, sink: SmtpSink) -> EmailMessage:
    assert sending.sweep(now=notice.due_at) >= 1
    return next(kept.message for kept in sink.messages if kept.message["Message-ID"] == notice.message_id)


def test_the_picture_belongs_to_the_page_and_the_page_names_it(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    notice = care_sheet()
    message = sent(notice, smtp_sink)
    assert types(message) == ["multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png"]
    page, picture = list(message.walk())[3:]
    assert picture["Content-Disposition"].startswith("inline")
    name = str(picture["Content-ID"]).strip("<>")
    html = str(page.get_content())
    assert html.count(f'src="cid:{name}"') == 1 and name.endswith("@example.com")
    [alternative_text] = re.findall(r'alt="([^"]+)"', html)
    assert "list below" in alternative_text
    content = picture.get_payload(decode=True)
    assert isinstance(content, bytes) and len(content) < 150_000
    assert imread(BytesIO(content)).shape[1] == pytest.approx(2 * charts.MAIL_WIDTH_PIXELS, abs=1)


def test_a_recall_keeps_its_invitation_beside_the_picture(shop_world: Shop, smtp_sink: SmtpSink) -> None:
    message = sent(recall(), smtp_sink)
    assert types(message) == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
        "text/calendar",
        "application/ics",
    ]
    calendar = next(part for part in message.walk() if part.get_content_type() == "text/calendar")
    assert calendar.get_param("method") == "REQUEST" and calendar["Content-Disposition"] is None


@pytest.mark.parametrize("make", [care_sheet, recall])
def test_both_bodies_say_in_words_what_the_picture_shows(shop_world: Shop, make: object) -> None:
    notice = make()  # type: ignore[operator]
    composed = compose(notice, now=notice.due_at)
    plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", composed.html))
    for words in (composed.text, plain):
        lines = re.findall(r"left today, .*?due ", words)
        assert len(lines) == len(COATS), words
        assert "usually salted from October" in words and "estimate" in words


def test_a_second_hand_over_carries_the_same_bytes_though_the_estimate_has_changed(
    shop_world: Shop, smtp_sink: SmtpSink
) -> None:
    notice = care_sheet()
    sending.sweep(now=notice.due_at)
    Schedule.objects.update(parameters={"coat.clear_film.nominal_life_days": 400.0})
    Notice.objects.filter(pk=notice.pk).update(state=State.WAITING, settled_at=None)
    sending.sweep(now=notice.due_at + timedelta(hours=1))
    first, second = [kept.content for kept in smtp_sink.messages if kept.message["Message-ID"] == notice.message_id]
    assert first == second
    notice.refresh_from_db()
    assert bytes(notice.picture_png).startswith(b"\x89PNG")


def test_the_same_estimate_is_drawn_in_the_same_bytes(shop_world: Shop) -> None:
    visit = care_sheet().visit
    assert visit is not None
    day = selectors.today(AUTUMN)
    pictures = {charts.protection_png(charts.coat_lines(visit.bike, day), day) for _ in range(2)}
    assert len(pictures) == 1
    svg = charts.protection_svg(charts.coat_lines(visit.bike, day), day).decode()
    for zone, _kind, _method in COATS:
        assert f"{zone}: " in svg


def test_where_a_picture_cannot_travel_the_page_does_without(shop_world: Shop) -> None:
    notice = care_sheet()
    sending.sweep(now=notice.due_at)
    notice.refresh_from_db()
    letter = letter_of(notice)
    bare = mail_message(letter, Shape(picture=False))
    assert "cid:" not in str(bare.alternatives[0][0]) and "left today" in str(bare.alternatives[0][0])
    assert not bare.attachments
    apart = mail_message(letter, Shape())
    assert "cid:" in str(apart.alternatives[0][0]) and len(apart.attachments) == 1
    whole = message_from_bytes(mail_message(letter, RAW_MESSAGE).message().as_bytes(), policy=policy.default)
    assert "image/png" in types(whole)


def test_other_kinds_carry_no_picture(shop_world: Shop) -> None:
    recall()
    for notice in Notice.objects.exclude(kind__in=(Kind.CARE_SHEET, Kind.RECALL)):
        composed = compose(notice, now=AUTUMN)
        assert composed.picture_png == b"" and "cid:" not in composed.html


def test_the_local_mailbox_shows_the_picture_without_fetching_it(shop_world: Shop) -> None:
    notice = care_sheet()
    sending.sweep(now=notice.due_at)
    notice.refresh_from_db()
    kept = mailbox.Letter("1", mail_message(letter_of(notice)).message().as_bytes())
    page = kept.with_pictures(kept.body("html"))
    assert "data:image/png;base64,iVBOR" in page and "cid:" not in page
