"""The one thing to do next with a visit, and what else may be done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from bookings.models import Job, Visit
from bookings.rules import safety
from bookings.rules.types import SafetyItem, VisitState


@dataclass(frozen=True)
class NextThing:
    """Words for the big button; `posts` where one press does it, else it leads to a page."""

    words: str
    address: str
    posts: bool = False
    remark: str = ""
    is_quiet: bool = False


def open_checks(job: Job) -> tuple[SafetyItem, ...]:
    """Safety checks the job still owes."""
    signed = [SafetyItem(sign_off.item) for sign_off in job.sign_offs.all()]
    return safety.open_items(signed, job.fasteners_removed)


def next_thing(visit: Visit, now: datetime) -> NextThing | None:
    """What moves this visit on; None once it has ended."""
    state = VisitState(visit.state)
    act = {
        VisitState.PENCILLED: (_("Confirm"), "confirm"),
        VisitState.CONFIRMED: (_("The bike is here"), "drop-off"),
        VisitState.READY: (_("Hand over"), "hand-over"),
    }.get(state)
    if act:
        return NextThing(act[0], reverse("staff:act", args=[visit.pk, act[1]]))
    if state is VisitState.DROPPED_OFF:
        return NextThing(_("Start work"), reverse("staff:act", args=[visit.pk, "start"]), posts=True)
    bench = reverse("staff:bench", args=[visit.pk])
    if state is VisitState.IN_WORK:
        return NextThing(_("Go to the bench"), bench)
    return _after_work(visit, bench, now) if state is VisitState.CURING else None


def _after_work(visit: Visit, bench: str, now: datetime) -> NextThing:
    if missing := len(open_checks(visit.job)):
        return NextThing(
            _("Make the safety checks"),
            f"{bench}#checks",
            remark=ngettext("%(n)s check open", "%(n)s checks open", missing) % {"n": missing},
        )
    if visit.job.cured_at and now < visit.job.cured_at:
        return NextThing(_("Look at the bench record"), bench, is_quiet=True)
    return NextThing(_("Ready to leave"), reverse("staff:act", args=[visit.pk, "ready"]), posts=True)


def other_things(visit: Visit, now: datetime) -> list[NextThing]:
    """What else is allowed in this state, besides the next thing."""
    offered = {
        VisitState.PENCILLED: [(_("Move"), "move"), (_("Call off"), "call-off")],
        VisitState.CONFIRMED: [(_("Move"), "move"), (_("Call off"), "call-off")],
        VisitState.DROPPED_OFF: [(_("Call off"), "call-off")],
    }.get(VisitState(visit.state), [])
    if visit.state == VisitState.CONFIRMED and visit.starts_at <= now:
        offered = [*offered, (_("It did not come"), "missed")]
    return [NextThing(words, reverse("staff:act", args=[visit.pk, verb])) for words, verb in offered]
