"""A notice in words: its mail from the wording of its kind, its invitation from the facts of the visit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from email.utils import formataddr, parseaddr
from functools import cache

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.safestring import mark_safe

from bookings import selectors as bookings
from bookings.contact import show_phone
from bookings.ics import InvitationFacts, Method, Status, invitation
from bookings.links import visit_token
from bookings.models import Rider, Shop, Visit
from bookings.rules.types import VisitState
from reminders import links
from reminders.mailer import Letter
from reminders.models import Notice
from reminders.services import names, texts, wording
from reminders.services.names import Name, Subject
from reminders.services.outbox import CALENDAR_KINDS
from reminders.services.pictures import picture_for
from reminders.services.wording import Said, Values

ALARM = timedelta(hours=16)
SUBJECT_LENGTH = 200
STATUS_OF = {VisitState.PENCILLED: Status.TENTATIVE, VisitState.CONFIRMED: Status.CONFIRMED}
LISTS: dict[str, str] = {Notice.Kind.RECALL: "before-winter", Notice.Kind.DUE_SOON: "coats-due"}
LEAVE_WORDS = {
    Notice.Kind.RECALL: "You asked us for a word before winter.",
    Notice.Kind.DUE_SOON: "You asked us for a word when coats come due.",
}


@dataclass(frozen=True)
class Composed:
    """The words of a notice; the calendar fields are empty for kinds that change nothing in a calendar."""

    subject: str
    text: str
    html: str
    calendar_method: str = ""
    calendar_text: str = ""
    picture_png: bytes = b""


def compose(notice: Notice, *, now: datetime, template: texts.Wording | None = None) -> Composed:
    """Write the notice from the facts as they are at `now`, in the wording in force or the one given."""
    shop = bookings.require_shop()
    template = template or texts.in_force(notice.kind)
    # A worker has no request: the shop's zone and the site's language are set for the length of the writing.
    with timezone.override(shop.zone), translation.override(settings.LANGUAGE_CODE):
        picture = picture_for(notice, now=now) if "{picture}" in template.body else None
        drawn = names.shown(picture, notice)
        known, subject = names.names_for(notice.kind), Subject(notice, shop, now)
        # Each name is looked up once, and only those the wording uses.
        values = cache(lambda name: drawn if name == "picture" else known[name].say(subject))
        composed = written(template, values, shop, _leave_link(notice.rider) if notice.is_recall else "", notice.kind)
    composed = replace(composed, picture_png=picture.png if picture else b"")
    if notice.kind not in CALENDAR_KINDS or notice.visit is None:
        return composed
    method = Method.CANCEL if notice.kind == Notice.Kind.CALLED_OFF else Method.REQUEST
    calendar = invitation(calendar_facts(notice.visit, method, shop, notice.recipient)).decode()
    return replace(composed, calendar_method=method.value, calendar_text=calendar)


def sample(template: texts.Wording, kind: str) -> Composed:
    """The wording with samples in place of facts, for a shop that has no such visit yet."""
    known: dict[str, Name] = names.names_for(kind)
    leave = "https://shop.example.com/recall/…/leave/" if kind in LEAVE_WORDS else ""
    return written(template, lambda name: Said(str(known[name].sample)), bookings.require_shop(), leave, kind)


def written(template: texts.Wording, values: Values, shop: Shop, leave_link: str, kind: str) -> Composed:
    """A wording with its names filled in, signed by the shop; recall mail always says how to end it."""
    subject = wording.fill_line(template.subject, values)[:SUBJECT_LENGTH]
    phone = show_phone(shop.phone_e164, shop.phone_region)
    text = f"{wording.fill_text(template.body, values)}\n{shop.name}\n{phone}\n"
    if leave_link:
        text += f"\n{LEAVE_WORDS[Notice.Kind(kind)]} To stop it: {leave_link}\n"
    frame = {
        "subject": subject,
        "words": mark_safe(wording.fill_html(template.body, values)),  # every value in it has been escaped
        "shop": shop,
        "shop_phone": phone,
        "leave_link": leave_link,
        "leave_words": LEAVE_WORDS.get(Notice.Kind(kind), ""),
    }
    return Composed(subject, text, render_to_string("reminders/messages/frame.html", frame))


def letter_of(notice: Notice) -> Letter:
    """The frozen words of a composed notice, ready for the mailer."""
    if notice.composed_at is None:
        raise ValueError("a notice is composed before it becomes a letter")
    shop = bookings.require_shop()
    address = sender_address()
    return Letter(
        sender=formataddr((shop.name, address)),
        recipient=notice.recipient,
        subject=notice.subject_line,
        text=notice.text_body,
        html=notice.html_body,
        message_id=notice.message_id,
        written_at=notice.composed_at,
        reference=str(notice.pk),
        calendar=(notice.calendar_method, notice.calendar_text) if notice.calendar_text else None,
        unsubscribe_url=_leave_link(notice.rider) if notice.is_recall else "",
        picture_png=bytes(notice.picture_png),
        list_id=f"{LISTS[notice.kind]}.{address.rpartition('@')[2]}" if notice.is_recall else "",
    )


def sender_address() -> str:
    """The bare address mail comes from; calendars know the visit's organizer by it."""
    return parseaddr(settings.MAIL_FROM)[1]


def calendar_facts(visit: Visit, method: Method, shop: Shop, attendee: str) -> InvitationFacts:
    """What a calendar shall know of a visit in its present revision."""
    status = STATUS_OF.get(VisitState(visit.state), Status.CONFIRMED)
    if method is Method.CANCEL or visit.state in (VisitState.CALLED_OFF, VisitState.MISSED):
        status = Status.CANCELLED
    with timezone.override(shop.zone), translation.override(settings.LANGUAGE_CODE):
        context = {"visit": visit, "shop": shop, "visit_link": _visit_link(visit)}
        context["shop_phone"] = show_phone(shop.phone_e164, shop.phone_region)
        description = render_to_string("reminders/messages/calendar.txt", context)
    return InvitationFacts(
        method=method,
        status=status,
        uid=visit.calendar_uid,
        sequence=visit.calendar_sequence,
        stamp=visit.calendar_stamp,
        starts_at=visit.starts_at,
        ends_at=visit.work_until,
        summary=f"{visit.tier} at {shop.name}",
        description=description,
        location=", ".join([shop.name, *shop.address.splitlines()]),
        organizer_name=shop.name,
        organizer_email=sender_address(),
        attendee_name=visit.bike.rider.name,
        attendee_email=attendee,
        url=_visit_link(visit),
        alarm=ALARM,
    )


def _visit_link(visit: Visit) -> str:
    return links.public("public:visit", visit_token(visit))


def _leave_link(rider: Rider | None) -> str:
    return links.public("notices:leave", links.leave_token(rider)) if rider else ""
