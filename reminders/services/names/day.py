"""Names that stand for the shop's day: what the morning mail to ourselves is made of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time

from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from bookings import selectors as bookings
from bookings.contact import show_phone
from bookings.models import Shop, Visit
from reminders import links, selectors
from reminders.models import Notice
from reminders.services.names.registry import Subject, name
from reminders.services.names.visits import DAY, SHORT, TIME, at
from reminders.services.wording import Said
from reminders.text import month_range
from reminders.timing import ONE_DAY

MOST_LINES = 12


def listed(heading: str, lines: Sequence[str]) -> Said:
    """A heading with its lines; nothing at all where there is no line."""
    if not lines:
        return Said("")
    shown = list(lines[:MOST_LINES])
    if len(lines) > MOST_LINES:
        shown.append(_("and %(n)s more") % {"n": len(lines) - MOST_LINES})
    text = "\n".join([f"{heading}:", *(f"  {line}" for line in shown)])
    items = format_html_join("\n", "<li>{}</li>", ((line,) for line in shown))
    return Said(text, format_html('<p><strong>{}</strong></p>\n<ul style="padding-left:20px">{}</ul>', heading, items))


def _visits(subject: Subject) -> list[Visit]:
    first = datetime.combine(selectors.today(subject.now), time(0), subject.shop.zone)
    last = datetime.combine(selectors.today(subject.now) + ONE_DAY, time(0), subject.shop.zone)
    today = bookings.visits_between(first, last).exclude(state="pencilled", pencilled_until__lt=subject.now)
    return list(today.order_by("starts_at", "pk"))


def _who(visit: Visit, shop: Shop) -> str:
    rider = visit.bike.rider
    return ", ".join(filter(None, [str(visit.bike), rider.name, show_phone(rider.phone_e164, shop.phone_region)]))


@name(gettext_lazy("today's date"), "Tuesday 6 October 2026")
def _today(subject: Subject) -> str:
    return at(subject.now, DAY)


@name(gettext_lazy("how many visits, and how many things need somebody"), "2 visits, 1 thing needs you")
def _in_short(subject: Subject) -> str:
    visits = len(_visits(subject))
    needs = selectors.late_or_doubtful(subject.now).count() + selectors.not_right().count()
    said = ngettext("%(n)s visit", "%(n)s visits", visits) % {"n": visits}
    return f"{said}, {ngettext('%(n)s thing needs you', '%(n)s things need you', needs) % {'n': needs}}"


@name(
    gettext_lazy("visits that start today"),
    "Today:\n  09:00 Full treatment, Grey twin (TE57 ING), Ines Halloway, 07700 900123",
)
def _visits_today(subject: Subject) -> Said:
    lines = [
        f"{at(visit.starts_at, TIME)} {visit.tier}, {_who(visit, subject.shop)} ({visit.get_state_display()})"
        for visit in _visits(subject)
    ]
    return listed(_("Today"), lines) if lines else Said(_("No visit is booked for today."))


@name(gettext_lazy("bikes on the premises, with their state"), "In the house:\n  Red single (TE57 DRY): curing, key 4")
def _in_the_house(subject: Subject) -> Said:
    lines = [
        f"{visit.bike}: {visit.get_state_display()}, {_('key %(tag)s') % {'tag': visit.job.key_tag}}, "
        f"{_('promised for %(at)s') % {'at': at(visit.promised_at, SHORT)}}"
        for visit in bookings.in_the_house().order_by("promised_at", "pk")
    ]
    return listed(_("In the house"), lines)


@name(
    gettext_lazy("pencilled visits, the soonest to lapse first"),
    "Waiting for a yes:\n  Fri 9 Oct, 09:00 Grey twin, Ines Halloway, 07700 900123, held until Wed 7 Oct, 18:00",
)
def _waiting_for_yes(subject: Subject) -> Said:
    lines = [
        _("%(start)s %(who)s, held until %(until)s")
        % {
            "start": at(visit.starts_at, SHORT),
            "who": _who(visit, subject.shop),
            "until": at(visit.pencilled_until, SHORT),
        }
        for visit in bookings.pencilled(subject.now)
    ]
    return listed(_("Waiting for a yes"), lines)


@name(
    gettext_lazy("what riders say is not right after a visit"),
    "Not right after a visit:\n  Grey twin (TE57 ING), Ines Halloway, 07700 900123: a scratch on the tank",
)
def _not_right(subject: Subject) -> Said:
    lines = [f"{_who(ask.visit, subject.shop)}: {' '.join(ask.words.split())[:120]}" for ask in selectors.not_right()]
    return listed(_("Not right after a visit"), lines)


@name(
    gettext_lazy("notices that are late, in doubt or failed"),
    "Notices that need you:\n  bike ready, Ines Halloway: could not be delivered. The address does not work.",
)
def _notices_in_trouble(subject: Subject) -> Said:
    troubled = selectors.late_or_doubtful(subject.now).exclude(pk=subject.notice.pk)
    lines = [_trouble(notice) for notice in troubled]
    return listed(_("Notices that need you"), lines)


def _trouble(notice: Notice) -> str:
    late = notice.state in (Notice.State.WAITING, Notice.State.SENDING)
    how = _("late") if late else notice.get_state_display()
    whom = notice.rider.name if notice.rider else notice.recipient
    return f"{notice.get_kind_display()}, {whom}: {how}. {notice.outcome}".strip()


@name(
    gettext_lazy("bikes with a coat due soon and nothing booked"),
    "Due soon by our estimate, nothing booked:\n  Grey twin (TE57 ING), Ines Halloway: fasteners, March to June 2027",
)
def _bikes_due(subject: Subject) -> Said:
    lines = [
        f"{case.bike}, {case.bike.rider}: {case.row.coat.get_zone_display()}, "
        f"{month_range(case.row.due_early, case.row.due_late)}"
        for case in selectors.bikes_due(subject.now)
    ]
    return listed(_("Due soon by our estimate, nothing booked"), lines)


@name(gettext_lazy("the workbench's page of today"), "https://shop.example.com/workbench/")
def _today_link(subject: Subject) -> str:
    return links.public("staff:today")


@name(gettext_lazy("the workbench's page of notices"), "https://shop.example.com/workbench/notices/")
def _notices_link(subject: Subject) -> str:
    return links.public("notices:outbox")
