"""A notice in words: its mail from the templates of its kind, its invitation from the facts of the visit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from email.utils import formataddr, parseaddr
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import timezone, translation

from bookings import selectors as bookings
from bookings.contact import show_phone
from bookings.ics import InvitationFacts, Method, Status, invitation
from bookings.links import bike_token, visit_token
from bookings.models import Rider, Shop, Visit
from bookings.rules.transitions import Action
from bookings.rules.types import VisitState
from reminders import links, selectors
from reminders.mailer import Letter, picture_id
from reminders.models import CoatDue, Notice, Recall
from reminders.services.outbox import CALENDAR_KINDS
from reminders.services.pictures import picture_for
from reminders.text import month, month_range, wear_reason

ALARM = timedelta(hours=16)
SUBJECT_LENGTH = 200
STATUS_OF = {VisitState.PENCILLED: Status.TENTATIVE, VisitState.CONFIRMED: Status.CONFIRMED}


@dataclass(frozen=True)
class Composed:
    """The words of a notice; the calendar fields are empty for kinds that change nothing in a calendar."""

    subject: str
    text: str
    html: str
    calendar_method: str = ""
    calendar_text: str = ""
    picture_png: bytes = b""


def compose(notice: Notice, *, now: datetime) -> Composed:
    """Write the notice from the facts as they are at `now`."""
    shop = bookings.require_shop()
    folder = f"reminders/messages/{notice.kind}"
    # A worker has no request: the shop's zone and the site's language are set for the length of the writing.
    with timezone.override(shop.zone), translation.override(settings.LANGUAGE_CODE):
        picture = picture_for(notice, now=now)
        context = _context(notice, shop, now) | {"picture": picture, "picture_id": picture_id(notice.message_id)}
        subject = " ".join(render_to_string(f"{folder}/subject.txt", context).split())
        text = render_to_string(f"{folder}/body.txt", context).strip() + "\n"
        html = render_to_string(f"{folder}/body.html", context | {"subject": subject})
    composed = Composed(subject[:SUBJECT_LENGTH], text, html, picture_png=picture.png if picture else b"")
    if notice.kind not in CALENDAR_KINDS or notice.visit is None:
        return composed
    method = Method.CANCEL if notice.kind == Notice.Kind.CALLED_OFF else Method.REQUEST
    calendar = invitation(calendar_facts(notice.visit, method, shop, notice.recipient)).decode()
    return replace(composed, calendar_method=method.value, calendar_text=calendar)


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
        list_id=f"before-winter.{address.rpartition('@')[2]}" if notice.is_recall else "",
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
        context = {"visit": visit, "shop": shop, "visit_link": _visit_link(visit)} | _phone(shop)
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


def _context(notice: Notice, shop: Shop, now: datetime) -> dict[str, Any]:
    context: dict[str, Any] = {"notice": notice, "shop": shop, "rider": notice.rider, "bike": notice.bike}
    context |= _phone(shop) | {"home_link": links.public("public:home")}
    if notice.visit is not None:
        context |= {
            "visit": notice.visit,
            "bike": notice.visit.bike,
            "visit_link": _visit_link(notice.visit),
            "calendar_link": links.public("public:visit-calendar", visit_token(notice.visit)),
            "lapsed": _has_lapsed(notice.visit),
        }
    if context["bike"] is not None:
        context["bike_link"] = links.public("notices:bike", bike_token(context["bike"]))
    if notice.kind == Notice.Kind.CARE_SHEET and notice.visit is not None:
        context |= _care(notice.visit)
    if notice.is_recall:
        context |= _recall(notice, now)
    return context


def _phone(shop: Shop) -> dict[str, str]:
    return {"shop_phone": show_phone(shop.phone_e164, shop.phone_region)}


def _visit_link(visit: Visit) -> str:
    return links.public("public:visit", visit_token(visit))


def _leave_link(rider: Rider) -> str:
    return links.public("notices:leave", links.leave_token(rider))


def _has_lapsed(visit: Visit) -> bool:
    """Whether nobody called the visit off; reasons that staff wrote are theirs and stay out of mail."""
    last = visit.events.order_by("-at", "-pk").first()
    return last is not None and last.action == Action.LAPSE


def _care(visit: Visit) -> dict[str, Any]:
    coats = list(selectors.coats_of(visit))
    due = {row.coat_id: row for row in CoatDue.objects.filter(schedule__visit=visit)}
    waits = [(selectors.today(coat.applied_at) + timedelta(days=coat.product.no_wash_days)) for coat in coats]
    return {
        "coats": [{"coat": coat, "months": _months(due.get(coat.pk))} for coat in coats],
        "wash_from": max(waits, default=None),
        "has_estimate": bool(due),
    }


def _months(row: CoatDue | None) -> str:
    return month_range(row.due_early, row.due_late) if row else ""


def _recall(notice: Notice, now: datetime) -> dict[str, Any]:
    recall = Recall.objects.select_related("schedule").get(visit=notice.visit)
    pressing = [row for row in selectors.coats_due(recall.bike) if row.act_by]
    worst = min(pressing, key=_act_by, default=None)
    return {
        "answer_link": links.public("notices:answer", links.answer_token(recall)),
        "leave_link": _leave_link(notice.rider),
        "salt_from": recall.schedule.salt_from,
        "worst": worst,
        "worst_months": _months(worst),
        "overdue_since": _overdue_since(worst, now),
        "why": wear_reason(worst.wear_share) if worst else "",
        "held_until": _held_until(notice),
    }


def _overdue_since(row: CoatDue | None, now: datetime) -> str:
    """The month a coat was likely due in, if that has passed."""
    return month(row.due_likely) if row and row.due_likely and row.due_likely < selectors.today(now) else ""


def _act_by(row: CoatDue) -> date:
    return row.act_by or date.max


def _held_until(notice: Notice) -> datetime | None:
    return notice.visit.pencilled_until if notice.visit else None
