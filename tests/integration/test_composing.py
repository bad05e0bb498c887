"""Every kind of message in full: what it must say, what it must never say, and that equal rows give equal bytes."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from bookings.models import Shop, Visit
from bookings.services import bookings
from config.study.installation import database_url
from reminders.mailer.letters import mail_message
from reminders.models import CoatDue, Notice, Recall
from reminders.services import planning, sending
from reminders.services.composing import compose, letter_of
from tests.parts.stories import MORNING, STAFF, collected, confirmed, pencilled, ready
from tests.parts.workers import ROOT

pytestmark = pytest.mark.django_db
Kind = Notice.Kind
LONDON = ZoneInfo("Europe/London")
SPRING = datetime(2026, 4, 7, 9, 0, tzinfo=UTC)
AUTUMN = datetime(2026, 9, 3, 9, 0, tzinfo=UTC)


def moved() -> Visit:
    start = datetime(2026, 10, 9, 9, 0, tzinfo=LONDON)
    return bookings.move(visit=confirmed(), start=start, now=MORNING, actor=STAFF, reason="he is always late")


def called_off() -> Visit:
    return bookings.call_off(visit=confirmed(), now=MORNING, actor=STAFF, reason="he is always late")


def the_day_before() -> Visit:
    visit = confirmed(MORNING - timedelta(days=2))
    planning.plan(now=MORNING - timedelta(days=2) + timedelta(hours=2))
    return visit


def gone_home() -> Visit:
    visit, moment = collected()
    planning.plan(now=moment)
    return visit


def called_back() -> Visit:
    _, moment = collected(datetime(2025, 11, 3, 9, 0, tzinfo=UTC))
    planning.plan(now=moment)
    planning.plan(now=AUTUMN)
    return Visit.objects.get(recall=Recall.objects.get())


def asked_whether_all_is_well() -> Visit:
    visit, moment = collected()
    planning.plan(now=moment + timedelta(days=8))
    return visit


def a_coat_comes_due() -> Visit:
    visit, moment = collected(datetime(2025, 11, 3, 9, 0, tzinfo=UTC))
    planning.plan(now=moment)
    CoatDue.objects.update(due_early=SPRING.date(), due_likely=SPRING.date(), act_by=None)
    planning.plan(now=SPRING)
    return visit


def a_morning() -> Visit:
    Shop.objects.update(morning_mail_at=time(7))
    visit = confirmed()
    planning.plan(now=datetime.combine(visit.starts_at.date(), time(7, 1), LONDON))
    return visit


STORIES = {
    Kind.PENCILLED: (pencilled, MORNING, "REQUEST", ["We hold this time until", "not firm yet"]),
    Kind.CONFIRMED: (confirmed, MORNING, "REQUEST", ["your visit is confirmed", "/visit.ics"]),
    Kind.CHANGED: (moved, MORNING, "REQUEST", ["Friday 9 October 2026, 09:00"]),
    Kind.CALLED_OFF: (called_off, MORNING, "CANCEL", ["will not take place"]),
    Kind.DAY_BEFORE: (the_day_before, MORNING, "", ["we expect you", "Frost or ice"]),
    Kind.READY: (lambda: ready()[0], MORNING, "", ["squeeze both brakes", "qualified mechanic"]),
    Kind.CARE_SHEET: (gone_home, MORNING, "", ["due again", "estimate", "brake discs, pads, tyres, grips, pegs"]),
    Kind.RECALL: (called_back, AUTUMN, "REQUEST", ["by our estimate", "no promise", "To stop it", "/leave/"]),
    Kind.DUE_SOON: (a_coat_comes_due, SPRING, "", ["come due soon", "no promise", "To stop it", "/leave/"]),
    Kind.ALL_WELL: (asked_whether_all_is_well, MORNING, "", ["do not ride", "/not-right/"]),
    Kind.MORNING: (
        a_morning,
        datetime(2026, 10, 6, 7, 1, tzinfo=LONDON),
        "",
        ["Today:", "Ines Halloway", "07700 900123"],
    ),
}


@pytest.mark.parametrize("kind", list(Kind), ids=str)
def test_each_kind_says_what_it_must(shop_world: Shop, kind: Notice.Kind) -> None:
    story, now, method, words = STORIES[kind]
    visit = story()
    notice = Notice.objects.get(kind=kind)
    composed = compose(notice, now=now)
    assert composed.calendar_method == method
    assert bool(composed.calendar_text) is bool(method)
    for wanted in words:
        assert wanted in composed.text, wanted
    plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", composed.html))
    assert visit.bike.rider.name in plain and "&amp;amp;" not in composed.html
    for text in (composed.subject, composed.text, composed.html):
        assert "always late" not in text  # what staff write in the trail is theirs
        assert not re.search(r"\{[{%]|None|\bnull\b", text)
    links = re.findall(r"https?://[^\s\"<]+", composed.text)
    assert links and all(link.startswith("http://testserver/") for link in links)
    assert visit.bike.rider.email not in "".join(links)
    assert "\n" not in composed.subject and len(composed.subject) <= 200
    assert "\n\n\n" not in composed.text


def test_a_recall_alone_tells_how_to_leave(shop_world: Shop) -> None:
    visit = called_back()
    for notice in Notice.objects.filter(visit__isnull=False):
        composed = compose(notice, now=AUTUMN)
        assert ("/leave/" in composed.text) is notice.is_recall
    assert Notice.objects.filter(visit=visit).get().kind == Kind.RECALL


def test_names_are_text_in_html_and_whole_in_plain_text(shop_world: Shop) -> None:
    visit = pencilled(name="<b>Tom</b> & 'Sons'")
    composed = compose(Notice.objects.get(visit=visit), now=MORNING)
    assert "&lt;b&gt;Tom&lt;/b&gt; &amp;" in composed.html and "<b>Tom" not in composed.html
    assert "<b>Tom</b> & 'Sons'" in composed.text


PRINT_BYTES = """
import hashlib, django
django.setup()
from reminders.mailer.letters import mail_message
from reminders.models import Notice
from reminders.services.composing import letter_of
[notice] = Notice.objects.filter(state="sent")
print(hashlib.sha256(mail_message(letter_of(notice)).message().as_bytes(linesep="\\r\\n")).hexdigest())
"""


@pytest.mark.django_db(transaction=True)
def test_the_same_row_makes_the_same_bytes_in_every_process(shop_world: Shop) -> None:
    confirmed()
    assert sending.sweep(now=MORNING + timedelta(hours=2)) == 1
    digests = set()
    for seed in ("1", "2"):
        environment = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "DATABASE_URL": database_url(),
            "DJANGO_SETTINGS_MODULE": "config.settings.test",
            "PYTHONPATH": str(ROOT),
        }
        done = subprocess.run(
            [sys.executable, "-c", PRINT_BYTES], env=environment, capture_output=True, text=True, check=True
        )
        digests.add(done.stdout.strip())
    assert len(digests) == 1
    notice = Notice.objects.get(state="sent")
    assert mail_message(letter_of(notice)).message().as_bytes() == mail_message(letter_of(notice)).message().as_bytes()
