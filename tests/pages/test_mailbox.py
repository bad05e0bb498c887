"""The local mailbox: what arrives over SMTP is shown as it came, and only where a mailbox is kept."""

from __future__ import annotations

import os
import smtplib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
from django.conf import settings as configured
from django.test import Client
from playwright.sync_api import Page
from pytest_django import Settings

from bookings.ics import InvitationFacts, Method, Status, invitation
from bookings.models import Shop
from config.embedded import listening_socket, mailbox_part
from config.mailbox import letters
from config.supervision import Supervisor

STARTS_AT = datetime(2026, 7, 6, 8, 0, tzinfo=UTC)
FACTS = InvitationFacts(
    method=Method.REQUEST,
    status=Status.CONFIRMED,
    uid="visit-1@example.com",
    sequence=2,
    stamp=datetime(2026, 6, 1, 12, 0, tzinfo=UTC),
    starts_at=STARTS_AT,
    ends_at=STARTS_AT + timedelta(hours=4),
    summary="Full treatment",
    description="Bring both keys.",
    location="2 Old Ropewalk, Ostrel",
    organizer_name="The Ostrel Workshop",
    organizer_email="workshop@example.com",
    attendee_name="Ines",
    attendee_email="ines@example.com",
)


@pytest.fixture
def mailbox(tmp_path: Path, settings: Settings) -> Iterator[tuple[str, int]]:
    """A running mailbox server that the site's pages read from; its address."""
    settings.MAILBOX_DIR = str(tmp_path / "mail")
    environment = {**os.environ, "PYTHONPATH": str(configured.BASE_DIR)}
    with listening_socket("127.0.0.1", 0) as listener, Supervisor(tmp_path / "log") as supervisor:
        supervisor.start(mailbox_part(listener, tmp_path / "mail", environment))
        yield listener.getsockname()


def _post(address: tuple[str, int], subject: str, dated: str, to: str = "ines@example.com") -> None:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = "workshop@example.com", to, subject
    message["Date"], message["Message-ID"] = dated, f"<{abs(hash(subject))}@example.com>"
    message.set_content("See http://127.0.0.1/visit/abc/ <script>alert(1)</script> für Größe\n")
    message.add_alternative("<html><head></head><body><p>Hello <b>Ines</b></p></body></html>", subtype="html")
    message.add_alternative(invitation(FACTS), "text", "calendar", params={"method": "REQUEST"})
    with smtplib.SMTP(*address, timeout=10) as server:
        server.send_message(message)


def test_letters_are_listed_newest_first(mailbox: tuple[str, int], client: Client, shop_world: Shop) -> None:
    _post(mailbox, "Older", "Mon, 01 Jun 2026 12:00:00 +0000")
    _post(mailbox, "Newest", "Wed, 03 Jun 2026 12:00:00 +0000")
    _post(mailbox, "Between", "Wed, 03 Jun 2026 12:00:00 +0200")
    page = client.get("/mailbox/").content.decode()
    assert page.index("Newest") < page.index("Between") < page.index("Older")
    assert "Wed 3 Jun 2026, 13:00" in page, "shown in the shop's own zone"
    assert "invitation" in page


def test_a_letter_is_shown_as_it_came(mailbox: tuple[str, int], client: Client, shop_world: Shop) -> None:
    _post(mailbox, "Confirmed", "Mon, 01 Jun 2026 12:00:00 +0000")
    letter = letters(configured.MAILBOX_DIR)[0]
    page = client.get(f"/mailbox/{letter.key}/").content.decode()
    assert "Mon 6 Jul 2026, 09:00" in page and "Full treatment" in page and "2 Old Ropewalk, Ostrel" in page
    assert "&lt;script&gt;" in page and "<script>" not in page and "für Größe" in page
    framed = client.get(f"/mailbox/{letter.key}/page/")
    assert "sandbox" in framed["Content-Security-Policy"] and "default-src 'none'" in framed["Content-Security-Policy"]
    entry = client.get(f"/mailbox/{letter.key}/invitation/")
    assert entry.content == invitation(FACTS), "not a byte was lost between SMTP and the file"
    assert entry["Content-Type"].startswith("text/calendar")
    assert b"X-Envelope-To: ines@example.com" in client.get(f"/mailbox/{letter.key}/source/").content


def test_there_is_no_mailbox_where_mail_goes_out(client: Client, shop_world: Shop, settings: Settings) -> None:
    settings.MAILBOX_DIR = ""
    assert client.get("/mailbox/").status_code == 404
    assert client.get("/mailbox/1.2.host/").status_code == 404


@pytest.mark.parametrize("key", ["nothing", "..", "%2e%2e%2fcur", "1764000000.M1P2Q3.host"])
def test_a_letter_that_is_not_there(key: str, mailbox: tuple[str, int], client: Client, shop_world: Shop) -> None:
    assert client.get(f"/mailbox/{key}/").status_code == 404


@pytest.mark.django_db(transaction=True)
def test_the_mailbox_can_be_read_by_everybody(
    mailbox: tuple[str, int], shop_world: Shop, page: Page, axe: Callable[[Page], None]
) -> None:
    _post(mailbox, "Confirmed", "Mon, 01 Jun 2026 12:00:00 +0000", to="ines.of.the.long.address@riders.example.org")
    page.goto("/mailbox/")
    axe(page)
    page.get_by_role("link", name="Confirmed").click()
    page.frame_locator("iframe").get_by_text("Hello Ines").wait_for()
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), "nothing sticks out of a phone"
