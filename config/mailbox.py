"""The local mailbox's pages: every message that arrived, for whoever tries Rimebook out on one machine.

Open only where MAILBOX_DIR is set, which production settings never do.
"""

from __future__ import annotations

import base64
import email.policy
import mailbox
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from functools import cached_property
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_safe

from bookings import ics, selectors

# A letter is a stranger's page: it runs nothing, loads nothing, and sits in a frame of ours or nowhere.
LETTER_POLICY = (
    "sandbox allow-top-navigation-by-user-activation; default-src 'none'; style-src 'unsafe-inline'; "
    "img-src data:; frame-ancestors 'self'"
)
SHOWN_HEADERS = ("From", "To", "Date", "Subject", "Message-ID", "Auto-Submitted", "List-Unsubscribe", "List-Id")
BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Letter:
    """One message of the mailbox."""

    key: str
    content: bytes

    @cached_property
    def message(self) -> EmailMessage:
        """The message parsed."""
        parsed = email.message_from_bytes(self.content, policy=email.policy.default)
        assert isinstance(parsed, EmailMessage)
        return parsed

    @property
    def sent_at(self) -> datetime:
        """What its Date header says, in UTC."""
        stamp = getattr(self.message["Date"], "datetime", None)
        return stamp.astimezone(UTC) if stamp else BEGINNING

    @property
    def subject(self) -> str:
        """Its subject line."""
        return str(self.message["Subject"] or _("(no subject)"))

    @property
    def recipient(self) -> str:
        """Whom the envelope named, which is who got it."""
        return str(self.message["X-Envelope-To"] or self.message["To"] or "")

    @property
    def message_id(self) -> str:
        """Its Message-ID, the same on every copy."""
        return str(self.message["Message-ID"] or "")

    @property
    def is_recall(self) -> bool:
        """Whether it calls a bike back: only such mail can be unsubscribed from."""
        return self.message["List-Unsubscribe"] is not None

    def body(self, subtype: str) -> str:
        """The text/`subtype` body, or empty."""
        part = self.message.get_body(preferencelist=(subtype,))
        return str(part.get_content()) if part else ""

    @cached_property
    def calendar(self) -> bytes:
        """The calendar part as it came, or empty."""
        for part in self.message.walk():
            if part.get_content_type() == "text/calendar":
                content = part.get_payload(decode=True)
                return content if isinstance(content, bytes) else b""
        return b""

    def with_pictures(self, page: str) -> str:
        """The page with its inline pictures (RFC 2392) written into it, for the sandbox fetches none."""
        for part in self.message.walk():
            name, content = str(part["Content-ID"] or "").strip("<> "), part.get_payload(decode=True)
            if name and part.get_content_maintype() == "image" and isinstance(content, bytes):
                encoded = base64.b64encode(content).decode()
                page = page.replace(f"cid:{name}", f"data:{part.get_content_type()};base64,{encoded}")
        return page

    @cached_property
    def event(self) -> ics.ToldEvent | None:
        """What the calendar part says, or None where there is none to be understood."""
        try:
            return ics.told(self.calendar) if self.calendar else None
        except ValueError:
            return None

    @property
    def calendar_method(self) -> str:
        """REQUEST, CANCEL or empty."""
        return self.event.method if self.event else ""

    @property
    def kind(self) -> str:
        """What a calendar will make of it, in words."""
        words = {
            "REQUEST": _("invitation"),
            "CANCEL": _("takes the invitation back"),
            "PUBLISH": _("calendar entry"),
            "": _("message"),
        }
        word = words.get(self.calendar_method, _("calendar part"))
        return _("recall, with %(kind)s") % {"kind": word} if self.is_recall else word


def letters(directory: str) -> list[Letter]:
    """Every message filed under `directory`, newest first."""
    box = mailbox.Maildir(directory)
    return sorted((Letter(key, box.get_bytes(key)) for key in box.keys()), key=_age, reverse=True)  # noqa: SIM118


def _age(letter: Letter) -> tuple[datetime, str]:
    return letter.sent_at, letter.key


def _directory() -> str:
    if not settings.MAILBOX_DIR:
        raise Http404
    return str(settings.MAILBOX_DIR)


def _letter(key: str) -> Letter:
    box = mailbox.Maildir(_directory())
    try:
        return Letter(key, box.get_bytes(key))
    except KeyError:
        raise Http404 from None


@require_safe
def listing(request: HttpRequest) -> HttpResponse:
    """Every message, newest first."""
    found = letters(_directory())
    shop = selectors.shop()
    return render(request, "mailbox.html", {"letters": found, "zone": shop.zone if shop else UTC})


@require_safe
def reading(request: HttpRequest, key: str) -> HttpResponse:
    """One message: headers, text, page, calendar part and source."""
    letter = _letter(key)
    shop = selectors.shop()
    headers = [(name, str(letter.message[name])) for name in SHOWN_HEADERS if letter.message[name]]
    context: dict[str, Any] = {
        "letter": letter,
        "headers": headers,
        "text": letter.body("plain"),
        "has_page": bool(letter.body("html")),
        "zone": shop.zone if shop else UTC,
    }
    return render(request, "mailbox_letter.html", context)


@require_safe
@xframe_options_sameorigin
def page(request: HttpRequest, key: str) -> HttpResponse:
    """The message's HTML body, shut in a sandbox."""
    letter = _letter(key)
    body = letter.with_pictures(letter.body("html"))
    if not body:
        raise Http404
    # A link in a letter leads out of the frame, as it leads out of a mail program.
    response = HttpResponse(body.replace("<head>", '<head><base target="_top">', 1))
    response["Content-Security-Policy"] = LETTER_POLICY
    return response


@require_safe
def invitation(request: HttpRequest, key: str) -> HttpResponse:
    """The calendar part as a file a calendar opens."""
    letter = _letter(key)
    if not letter.calendar:
        raise Http404
    response = HttpResponse(letter.calendar, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="invite.ics"'
    return response


@require_safe
def source(request: HttpRequest, key: str) -> HttpResponse:
    """The message as it was filed."""
    return HttpResponse(_letter(key).content, content_type="text/plain; charset=utf-8")
