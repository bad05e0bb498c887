"""Names that stand for coats: what was put on, how long it lasts by our estimate, why now."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.utils.dates import MONTHS
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from bookings.links import bike_token
from bookings.models import Visit
from reminders import links, selectors
from reminders.mailer import picture_id
from reminders.models import CoatDue, Notice, Recall
from reminders.services.names.registry import Subject, name
from reminders.services.names.visits import block
from reminders.services.pictures import Picture
from reminders.services.wording import Said
from reminders.text import month, month_range, wear_reason


@name(
    gettext_lazy("each coat put on, and when it is due again"),
    "frame: clear film, due again March to June 2027\npaint: ceramic, due again May 2028 or later",
)
def _coats(subject: Subject) -> Said:
    visit = subject.visit
    due = {row.coat_id: row for row in CoatDue.objects.filter(schedule__visit=visit)}
    lines = [{"coat": coat, "months": months(due.get(coat.pk))} for coat in selectors.coats_of(visit)]
    return block("coats", {"coats": lines})


@name(
    gettext_lazy("each coat that comes due soon, with its months"),
    "fasteners: heavy film, due March to June 2027",
)
def _coats_soon(subject: Subject) -> Said:
    today = selectors.today(subject.now)
    horizon = today + timedelta(days=max(subject.shop.recall_lead_days, 60))
    rows = [row for row in selectors.coats_due(subject.bike) if row.due_likely and row.due_likely <= horizon]
    lines = [{"coat": row.coat, "months": _due_months(row, today)} for row in rows]
    return block("coats_soon", {"coats": lines})


def _due_months(row: CoatDue, today: date) -> str:
    if row.due_likely and row.due_likely < today:
        return _("has had its time since %(month)s") % {"month": month(row.due_likely)}
    return _("due %(months)s") % {"months": months(row)}


@name(
    gettext_lazy("a chart of protection left, with the same in words"), "How it goes on from here, by our estimate: …"
)
def _picture(subject: Subject) -> Said:
    return Said("")  # drawn once for the letter, see `shown`


def shown(picture: Picture | None, notice: Notice) -> Said:
    """The chart of a letter and the words that say the same."""
    if picture is None:
        return Said("")
    return block("picture", {"picture": picture, "picture_id": picture_id(notice.message_id)})


@name(
    gettext_lazy("that months are an estimate and no promise, with the bike's page; empty where there is none"),
    "These months are an estimate from where the bike stands, how it is ridden and the salt on its roads. They are no "
    "promise: look at the metal now and then, and come sooner if you see rust or white bloom.\n"
    "See what is left at any time: https://shop.example.com/bike/…/",
)
def _estimate_note(subject: Subject) -> Said:
    notice = subject.notice
    if notice.kind == Notice.Kind.CARE_SHEET and not CoatDue.objects.filter(schedule__visit=subject.visit).exists():
        return Said("")
    return block("estimate", {"bike_link": links.public("notices:bike", bike_token(subject.bike))})


@name(
    gettext_lazy("from when the bike may be washed, and how; empty where nothing needs to harden"),
    "Please do not wash it before Monday 12 October; the coats go on hardening until then.",
)
def _wash_note(subject: Subject) -> str:
    days = [_may_be_washed(coat.applied_at, coat.product.no_wash_days) for coat in selectors.coats_of(subject.visit)]
    if not days:
        return ""
    return _(
        "Please do not wash it before %(day)s; the coats go on hardening until then. "
        "After a ride on salted roads rinse with plain, cold water and let it dry."
    ) % {"day": date_format(max(days), "l j F")}


def _may_be_washed(applied_at: datetime, days: int) -> date:
    return selectors.today(applied_at) + timedelta(days=days)


@name(gettext_lazy("page on which the rider takes the day or says no"), "https://shop.example.com/recall/…/")
def _answer_link(subject: Subject) -> str:
    return links.public("notices:answer", links.answer_token(_recall(subject.visit)))


@name(
    gettext_lazy("which coat will not outlast the winter, why, and when salting starts"),
    "by our estimate the heavy film on the fasteners of your Grey twin is due October to December 2026 and may not "
    "outlast the coming winter. About half of the wear comes from salted roads. Roads are usually salted from about "
    "November on.",
)
def _why_now(subject: Subject) -> str:
    recall = _recall(subject.visit)
    pressing = [row for row in selectors.coats_due(recall.bike) if row.act_by]
    worst = min(pressing, key=lambda row: row.act_by or date.max, default=None)
    salt_from = recall.schedule.salt_from
    sentences = [_pressing(worst, subject), wear_reason(worst.wear_share) if worst else ""]
    if salt_from:
        sentences.append(_("Roads are usually salted from about %(month)s on.") % {"month": MONTHS[salt_from.month]})
    return " ".join(sentence for sentence in sentences if sentence)


def _pressing(worst: CoatDue | None, subject: Subject) -> str:
    if worst is None:
        return _("the protection on your %(bike)s is due.") % {"bike": subject.bike.description}
    facts = {
        "coat": worst.coat.get_kind_display(),
        "zone": worst.coat.get_zone_display(),
        "bike": subject.bike.description,
        "months": months(worst),
        "since": month(worst.due_likely) if worst.due_likely else "",
    }
    if worst.due_likely and worst.due_likely < selectors.today(subject.now):
        return (
            _("by our estimate the %(coat)s on the %(zone)s of your %(bike)s has had its time since %(since)s.") % facts
        )
    return (
        _(
            "by our estimate the %(coat)s on the %(zone)s of your %(bike)s is due %(months)s and may not outlast the "
            "coming winter."
        )
        % facts
    )


def months(row: CoatDue | None) -> str:
    """The months in which a coat is due, or nothing where there is no estimate."""
    return month_range(row.due_early, row.due_late) if row else ""


def _recall(visit: Visit) -> Recall:
    return Recall.objects.select_related("schedule", "bike__rider").get(visit=visit)
