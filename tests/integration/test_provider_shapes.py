"""What each mail provider's request really carries, read on the wire of a server on this machine.

Anymail's backends differ in what they take: a calendar as an alternative is refused by nearly all, and an
unsupported part may vanish without a word. Amazon SES takes raw messages, but its library is not installed here.
"""

from __future__ import annotations

import base64
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from importlib import import_module
from typing import Any

import pytest

from reminders.mailer import Letter, Mailer, Outcome

CALENDAR = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nMETHOD:REQUEST\r\nEND:VCALENDAR\r\n"
LETTER = Letter(
    sender="The Ostrel Workshop <workshop@example.com>",
    recipient="ines@example.org",
    subject="Before winter",
    text="A day before winter.",
    html='<p>A day before winter.</p><div data-picture><img src="cid:picture.rimebook.n1@example.com"></div>',
    message_id="<rimebook.n1@example.com>",
    written_at=datetime(2026, 9, 3, 9, 0, tzinfo=UTC),
    reference="4711",
    calendar=("REQUEST", CALENDAR),
    unsubscribe_url="https://shop.example.com/recall/x/leave/",
    list_id="before-winter.example.com",
    picture_png=b"as good as a picture",
)

# Module, its keys, whether the calendar's method stays on the part, whether our reference goes along.
PROVIDERS: list[tuple[str, dict[str, str], bool, bool]] = [
    ("brevo", {"api_key": "k"}, False, True),
    ("mailersend", {"api_token": "k"}, False, False),
    ("mailgun", {"api_key": "k", "sender_domain": "example.com"}, True, True),
    ("mailjet", {"api_key": "k", "secret_key": "k"}, True, True),
    ("mailtrap", {"api_token": "k"}, True, True),
    ("mandrill", {"api_key": "k"}, True, True),
    ("postal", {"api_key": "k"}, True, False),
    ("postmark", {"server_token": "k"}, True, True),
    ("resend", {"api_key": "k"}, False, True),
    ("scaleway", {"secret_key": "k", "project_id": "p"}, True, True),
    ("sparkpost", {"api_key": "k"}, True, True),
    ("unisender_go", {"api_key": "k"}, True, True),
]

# Anymail knows no way to give these a picture for the page; it refuses the whole message rather than lose it.
WITHOUT_PICTURES = {"brevo", "postal", "scaleway"}


class Recorder(HTTPServer):
    """Keeps each request's body and answers `status` with `answer`."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Recording)
        self.bodies: list[str] = []
        self.status = 200
        self.answer = b"{}"

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/"


class Recording(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        server: Any = self.server
        content = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        server.bodies.append(content.decode("utf-8"))
        self.send_response(server.status)
        self.send_header("Content-Type", "application/json")
        self.end_headers()
        self.wfile.write(server.answer)

    def log_message(self, *arguments: Any) -> None:
        """Quiet."""


@pytest.fixture
def provider() -> Iterator[Recorder]:
    server = Recorder()
    thread = threading.Thread(target=server.serve_forever, args=[0.02], daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()


def backend(name: str, keys: dict[str, str], url: str) -> Any:
    return import_module(f"anymail.backends.{name}").EmailBackend(api_url=url, **keys)


@pytest.mark.parametrize(
    ("name", "keys", "keeps_method", "keeps_reference"), PROVIDERS, ids=lambda value: str(value)[:12]
)
def test_nothing_we_need_is_lost_on_the_way(
    provider: Recorder, name: str, keys: dict[str, str], keeps_method: bool, keeps_reference: bool
) -> None:
    provider.status = 400  # a no that every backend reads alike; the request is what counts here
    with Mailer(backend(name, keys, provider.url)) as mailer:
        assert mailer.deliver(LETTER, lambda: None).outcome is Outcome.REFUSED
    [body] = provider.bodies
    encoded = base64.b64encode(CALENDAR.encode()).decode()
    assert encoded in body.replace("\n", "") or "BEGIN:VCALENDAR" in body
    assert "invite.ics" in body
    assert ("REQUEST" in body.replace("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nMETHOD:REQUEST", "")) is keeps_method
    assert ("4711" in body) is keeps_reference
    picture = base64.b64encode(LETTER.picture_png).decode()
    has_picture = picture in body or LETTER.picture_png.decode() in body
    assert has_picture is (name not in WITHOUT_PICTURES)
    assert ("cid:picture.rimebook.n1@example.com" in body) is has_picture
    for header in ("Auto-Submitted", "List-Unsubscribe-Post", "List-Unsubscribe=One-Click", "rimebook.n1@example.com"):
        assert header in body, header


@pytest.mark.parametrize(
    ("status", "outcome"),
    [
        (200, Outcome.IN_DOUBT),  # taken, or an answer we cannot read
        (401, Outcome.NO_SERVICE),
        (422, Outcome.REFUSED),
        (429, Outcome.NO_SERVICE),
        (500, Outcome.IN_DOUBT),
        (503, Outcome.NO_SERVICE),
    ],
)
def test_a_provider_s_answer_becomes_one_of_our_words(provider: Recorder, status: int, outcome: Outcome) -> None:
    provider.status, provider.answer = status, b"not what was agreed"
    with Mailer(backend("postmark", {"server_token": "k"}, provider.url)) as mailer:
        answer = mailer.deliver(LETTER, lambda: None)
    assert answer.outcome is outcome


def test_a_provider_that_cannot_be_reached_was_never_told(provider: Recorder) -> None:
    with Mailer(backend("postmark", {"server_token": "k"}, "http://127.0.0.1:1/")) as mailer:
        assert mailer.deliver(LETTER, lambda: None).outcome is Outcome.NO_SERVICE


def test_a_message_held_back_is_never_posted(provider: Recorder) -> None:
    class Held(Exception):
        pass

    def hold() -> None:
        raise Held

    with pytest.raises(Held), Mailer(backend("postmark", {"server_token": "k"}, provider.url)) as mailer:
        mailer.deliver(LETTER, hold)
    assert provider.bodies == []
