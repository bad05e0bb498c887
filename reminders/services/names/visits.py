"""Names that stand for the rider, the bike and the visit."""

from __future__ import annotations

from datetime import datetime

from django.template.loader import render_to_string
from django.utils.formats import date_format
from django.utils.timezone import get_current_timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from bookings.contact import show_phone
from bookings.links import bike_token, visit_token
from bookings.models import Visit
from bookings.rules.transitions import Action
from bookings.rules.types import VisitState
from reminders import links
from reminders.services.names.registry import Subject, name
from reminders.services.wording import Said

DAY, TIME = "l j F Y", "H:i"
DAY_AND_TIME = "l j F, H:i"
SHORT = "D j M, H:i"
BEFORE_RIDING = gettext_lazy(
    "Before you ride off: squeeze both brakes firmly, roll a few metres at walking pace and brake again, front and "
    "rear. The first stops may take longer. If anything feels wrong, do not ride: call us or a qualified mechanic."
)
NEVER_COAT = gettext_lazy(
    "Never put film, wax or polish on brake discs, pads, tyres, grips, pegs or the seat. The maker's manual and the "
    "product's own sheet win over anything we write."
)


def at(moment: datetime | None, form: str) -> str:
    """A moment by the shop's clock, which is the current one while a notice is written."""
    return date_format(moment.astimezone(get_current_timezone()), form) if moment else ""


def block(template: str, context: dict[str, object]) -> Said:
    """A block that has a template for plain text and one for HTML."""
    folder = "reminders/messages"
    return Said(
        render_to_string(f"{folder}/{template}.txt", context).strip("\n"),
        render_to_string(f"{folder}/{template}.html", context).strip(),
    )


@name(gettext_lazy("the rider's name"), "Ines Halloway")
def _rider(subject: Subject) -> str:
    return subject.rider.name


@name(gettext_lazy("the bike as it is described"), "Grey twin")
def _bike(subject: Subject) -> str:
    return subject.bike.description


@name(gettext_lazy("the bike with its registration"), "Grey twin (TE57 ING)")
def _bike_and_plate(subject: Subject) -> str:
    return str(subject.bike)


@name(gettext_lazy("the name of the shop"), "Nether Wallow Motorcycle Care")
def _shop(subject: Subject) -> str:
    return subject.shop.name


@name(gettext_lazy("the shop's phone number"), "01632 960142")
def _shop_phone(subject: Subject) -> str:
    return show_phone(subject.shop.phone_e164, subject.shop.phone_region)


@name(gettext_lazy("address of the page to book at"), "https://shop.example.com/")
def _home_link(subject: Subject) -> str:
    return links.public("public:home")


@name(gettext_lazy("what is booked"), "Full treatment")
def _tier(subject: Subject) -> str:
    return subject.visit.tier.name


@name(gettext_lazy("day on which the work starts"), "Tuesday 6 October 2026")
def _start_day(subject: Subject) -> str:
    return at(subject.visit.starts_at, DAY)


@name(gettext_lazy("weekday on which the work starts"), "Tuesday")
def _weekday(subject: Subject) -> str:
    return at(subject.visit.starts_at, "l")


@name(gettext_lazy("time at which the work starts"), "09:00")
def _start_time(subject: Subject) -> str:
    return at(subject.visit.starts_at, TIME)


@name(gettext_lazy("start of the work, short"), "Tue 6 Oct, 09:00")
def _start_short(subject: Subject) -> str:
    return at(subject.visit.starts_at, SHORT)


@name(gettext_lazy("when the bike can be collected, if all goes well"), "Wednesday 7 October, 09:00")
def _ready_by(subject: Subject) -> str:
    return at(subject.visit.promised_at, DAY_AND_TIME)


@name(
    gettext_lazy("what, which bike, when to bring it, when it is ready, where: one line each"),
    "What:   Full treatment\nBike:   Grey twin (TE57 ING)\nBring:  Tuesday 6 October 2026, 09:00\n"
    "Ready:  Wednesday 7 October 2026, 09:00, if all goes well\nWhere:  Nether Wallow Motorcycle Care, Kiln Lane",
)
def _when(subject: Subject) -> Said:
    return block("when", {"visit": subject.visit, "bike": subject.bike, "shop": subject.shop})


@name(gettext_lazy("private page of the visit: see, move, call off"), "https://shop.example.com/visit/…/")
def _visit_link(subject: Subject) -> str:
    return links.public("public:visit", visit_token(subject.visit))


@name(gettext_lazy("file for a calendar that does not read invitations"), "https://shop.example.com/visit/…/visit.ics")
def _calendar_link(subject: Subject) -> str:
    return links.public("public:visit-calendar", visit_token(subject.visit))


@name(gettext_lazy("until when a pencilled time is held"), "Monday 5 October, 18:00")
def _held_until(subject: Subject) -> str:
    return at(subject.visit.pencilled_until, DAY_AND_TIME)


@name(
    gettext_lazy("that a pencilled time is held, and how long; empty for a firm one"),
    "We hold this time until Monday 5 October, 18:00. It is not firm yet: we will ring or write to confirm it. After "
    "that it goes to somebody else.",
)
def _hold_note(subject: Subject) -> str:
    if subject.visit.state != VisitState.PENCILLED:
        return ""
    return _(
        "We hold this time until %(until)s. It is not firm yet: we will ring or write to confirm it. "
        "After that it goes to somebody else."
    ) % {"until": _held_until(subject)}


@name(
    gettext_lazy("that nobody confirmed it in time; empty when somebody called it off"),
    "It was not confirmed in time, so the hours have gone back into the diary.",
)
def _lapse_note(subject: Subject) -> str:
    if not has_lapsed(subject.visit):
        return ""
    return _("It was not confirmed in time, so the hours have gone back into the diary.")


def has_lapsed(visit: Visit) -> bool:
    """Whether nobody called the visit off; reasons that staff wrote are theirs and stay out of mail."""
    last = visit.events.order_by("-at", "-pk").first()
    return last is not None and last.action == Action.LAPSE


@name(gettext_lazy("the number its key hangs under, if there is one"), "Its key tag is 7.")
def _key_note(subject: Subject) -> str:
    job = getattr(subject.visit, "job", None)
    return _("Its key tag is %(tag)s.") % {"tag": job.key_tag} if job and job.key_tag else ""


@name(gettext_lazy("day on which the bike went home"), "Wednesday 7 October 2026")
def _collected_day(subject: Subject) -> str:
    job = getattr(subject.visit, "job", None)
    return at(job.collected_at, DAY) if job else ""


@name(gettext_lazy("page on which to say what is not right"), "https://shop.example.com/not-right/…/")
def _not_right_link(subject: Subject) -> str:
    return links.public("notices:not-right", links.not_right_token(subject.visit))


@name(gettext_lazy("private page of the bike: what is left of each coat"), "https://shop.example.com/bike/…/")
def _bike_link(subject: Subject) -> str:
    return links.public("notices:bike", bike_token(subject.bike))


@name(
    gettext_lazy("how to try the brakes before riding off"),
    BEFORE_RIDING,
)
def _before_riding(subject: Subject) -> str:
    return str(BEFORE_RIDING)


@name(
    gettext_lazy("what must never be coated, and whose word comes first"),
    NEVER_COAT,
)
def _never_coat(subject: Subject) -> str:
    return str(NEVER_COAT)
