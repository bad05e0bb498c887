"""A letter and the forms in which backends can carry it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime
from email import encoders
from email.charset import QP, Charset
from email.mime.base import MIMEBase
from email.mime.image import MIMEImage
from email.utils import format_datetime
from typing import Any, NamedTuple

from django.core.mail import EmailMultiAlternatives, SafeMIMEMultipart

SEVEN_BIT = Charset("utf-8")
SEVEN_BIT.body_encoding = QP
CALENDAR_FILE = "invite.ics"
PICTURE_FILE = "protection.png"
# The part of a page that shows the picture; where the picture cannot travel, this part stays behind too.
_PICTURE_BLOCK = re.compile(r"<div data-picture>.*?</div>\n?", re.DOTALL)


@dataclass(frozen=True)
class Letter:
    """One message to one recipient. Equal letters become equal bytes.

    `calendar` is (method, iCalendar text); `picture_png` is shown where the HTML names `picture_id(message_id)`.
    """

    sender: str
    recipient: str
    subject: str
    text: str
    html: str
    message_id: str
    written_at: datetime
    reference: str
    calendar: tuple[str, str] | None = None
    unsubscribe_url: str = ""
    list_id: str = ""
    picture_png: bytes = b""

    def headers(self) -> dict[str, str]:
        """Headers of automatic mail (RFC 3834); those of a list (RFC 2369, 2919, 8058) only where one can leave it."""
        headers = {
            "Message-ID": self.message_id,
            "Date": format_datetime(self.written_at),
            "Auto-Submitted": "auto-generated",
            "X-Auto-Response-Suppress": "OOF, AutoReply",
        }
        if self.unsubscribe_url:
            headers["List-Id"] = f"<{self.list_id}>"
            headers["List-Unsubscribe"] = f"<{self.unsubscribe_url}>"
            headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
        return headers


def picture_id(message_id: str) -> str:
    """Content-ID (RFC 2392) of a letter's picture, without its brackets; as unique as the Message-ID."""
    return f"picture.{message_id.strip('<>')}"


class Shape(NamedTuple):
    """What a backend can carry: the calendar as an alternative, as which attachment, our reference, a picture."""

    alternative: bool = False
    attachment: str = 'text/calendar; method="{method}"; charset="utf-8"'
    as_part: bool = False
    reference: bool = True
    picture: bool = True


RAW_MESSAGE = Shape(alternative=True, attachment="application/ics")
# By the provider's name in Anymail 15; tests/integration/test_provider_shapes.py reads each one's request on the wire.
SHAPES = {
    "Amazon SES": RAW_MESSAGE,
    "Brevo": Shape(picture=False),
    "Resend": Shape(as_part=True),
    "MailerSend": Shape(reference=False),
    "Postal": Shape(reference=False, picture=False),
    "Scaleway": Shape(picture=False),
}


class MailMessage(EmailMultiAlternatives):
    """A message whose bytes follow from its content alone, in seven bits and with fixed boundaries."""

    encoding = SEVEN_BIT
    picture: MIMEImage | None = None

    def message(self, **options: Any) -> Any:
        composed: Any = super().message(**options)
        # RFC 5322, 2.1.1 allows 998: folding at 78 would break List-Unsubscribe right after its name.
        composed.policy = composed.policy.clone(max_line_length=998)
        digest = hashlib.sha256(str(composed["Message-ID"]).encode()).hexdigest()[:24]
        for number, part in enumerate(composed.walk()):
            if part.is_multipart():
                part.set_boundary(f"=_{digest}_{number}")
        return composed

    def _create_mime_attachment(self, content: Any, mimetype: str) -> Any:
        if mimetype.startswith("text/calendar"):
            return calendar_part(content, mimetype)
        part = super()._create_mime_attachment(content, mimetype)  # type: ignore[misc]
        if mimetype != "text/html" or self.picture is None:
            return part
        # RFC 2387: the page is the root, the picture belongs to it alone.
        page: Any = SafeMIMEMultipart(_subtype="related", encoding="utf-8", type="text/html")
        page.attach(part)
        page.attach(self.picture)
        return page


def calendar_part(content: str, mimetype: str) -> MIMEBase:
    """A text/calendar part in base64, which keeps the CRLF line ends that a text encoding would rewrite."""
    parameters = dict(item.strip().split("=", 1) for item in mimetype.split(";")[1:])
    part = MIMEBase("text", "calendar")
    for name, value in [*parameters.items(), ("charset", "UTF-8")]:
        part.set_param(name, value.strip('"'))
    part.set_payload(content.encode())
    encoders.encode_base64(part)
    return part


def picture_part(png: bytes, content_id: str) -> MIMEImage:
    """A picture the page refers to; it is no attachment of its own."""
    part = MIMEImage(png, "png")
    part.add_header("Content-ID", f"<{content_id}>")
    part.add_header("Content-Disposition", "inline", filename=PICTURE_FILE)
    return part


def mail_message(letter: Letter, shape: Shape = RAW_MESSAGE) -> MailMessage:
    """The letter in the form a backend of this shape can carry."""
    message = MailMessage(
        subject=" ".join(letter.subject.split()),
        body=letter.text,
        from_email=letter.sender,
        to=[letter.recipient],
        headers=letter.headers(),
    )
    has_picture = bool(letter.picture_png) and shape.picture
    message.attach_alternative(letter.html if has_picture else _PICTURE_BLOCK.sub("", letter.html), "text/html")
    if has_picture:
        part = picture_part(letter.picture_png, picture_id(letter.message_id))
        if shape.alternative:
            message.picture = part
        else:
            message.attach(part)
    if shape.reference:
        message.metadata = {"notice": letter.reference}  # type: ignore[attr-defined]
    if letter.calendar:
        method, text = letter.calendar
        if shape.alternative:
            message.attach_alternative(text, f"text/calendar; method={method}")
        _attach(message, text, shape.attachment.format(method=method), shape.as_part)
    return message


def pack(letter: Letter) -> bytes:
    """The letter as an SMTP server is given it. Equal letters become equal bytes."""
    content: bytes = mail_message(letter).message().as_bytes(linesep="\r\n")
    return content


def _attach(message: MailMessage, text: str, mimetype: str, as_part: bool) -> None:
    if not as_part:
        content = text if mimetype.startswith("text/") else text.encode()
        message.attach(CALENDAR_FILE, content, mimetype)
        return
    part = calendar_part(text, mimetype)
    part.add_header("Content-Disposition", "attachment", filename=CALENDAR_FILE)
    message.attach(part)
