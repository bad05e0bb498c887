"""What is owed to whom and when: from each change of a visit at once, the rest by a plan that runs every minute."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from bookings import selectors as bookings
from bookings.models import Visit, VisitEvent
from bookings.rules.transitions import Action
from bookings.rules.types import VisitState
from bookings.services.bookings import lapse_holds
from reminders import selectors
from reminders.models import Notice
from reminders.services.outbox import owe, was_told
from reminders.services.recall import call_back
from reminders.services.routine import owe_all_well, owe_due_soon, owe_morning
from reminders.services.schedules import renew_outdated, renew_outlived, schedule_collected
from reminders.services.sending import wake
from reminders.timing import ONE_DAY, send_instant

Kind = Notice.Kind
# The last afternoon on which people look at their mail before they set out.
DAY_BEFORE_AT = time(16, 0)
DAY_BEFORE_HORIZON = timedelta(days=3)
TOO_LATE_TO_REMIND = timedelta(hours=1)
WORTH_READING = timedelta(days=14)
OF_ACTION = {
    "pencilled": Kind.PENCILLED,
    Action.CONFIRM.value: Kind.CONFIRMED,
    Action.MOVE.value: Kind.CHANGED,
    Action.CALL_OFF.value: Kind.CALLED_OFF,
    Action.LAPSE.value: Kind.CALLED_OFF,
    Action.MAKE_READY.value: Kind.READY,
}


@dataclass(frozen=True)
class Planned:
    """How many of each a run of the plan found to do."""

    lapsed: int
    schedules: int
    care_sheets: int
    day_before: int
    recalls: int
    all_well: int = 0
    due_soon: int = 0
    mornings: int = 0

    @property
    def notices(self) -> int:
        """How many notices were owed."""
        return self.care_sheets + self.day_before + self.recalls + self.all_well + self.due_soon + self.mornings


def plan(*, now: datetime) -> Planned:
    """Let go of lapsed holds and write down everything that time has made due; safe to run twice at once."""
    if bookings.shop() is None:
        return Planned(0, 0, 0, 0, 0)  # nothing is owed before the shop has been set up
    lapsed = lapse_holds(now=now)
    schedules = schedule_collected(now=now) + renew_outlived(now=now) + renew_outdated(now=now)
    planned = Planned(
        lapsed,
        schedules,
        care_sheets=owe_care_sheets(now=now),
        day_before=owe_day_before(now=now),
        recalls=call_back(now=now),
        # After the recall, which speaks for what it covers.
        all_well=owe_all_well(now=now),
        due_soon=owe_due_soon(now=now),
        mornings=owe_morning(now=now),
    )
    if planned.notices:
        wake(now)
    return planned


def owe_for_change(visit: Visit, event: VisitEvent, *, now: datetime) -> Notice | None:
    """Owe what a change of a visit calls for, in the transaction of the change."""
    kind = OF_ACTION.get(event.action)
    if kind is None or _is_told_otherwise(visit, kind):
        return None
    cycle = "ready" if kind is Kind.READY else str(visit.calendar_sequence)
    notice = owe(
        kind=kind,
        rider=visit.bike.rider,
        subject_key=f"visit:{visit.pk}",
        cycle=cycle,
        due_at=now,
        not_after=_not_after(visit, kind, now),
        now=now,
        bike=visit.bike,
        visit=visit,
    )
    if notice is not None:
        wake(now)
    return notice


def _is_told_otherwise(visit: Visit, kind: Notice.Kind) -> bool:
    """A day proposed for winter is told by the recall itself, and its end only to somebody who heard of it."""
    if visit.request.source != visit.request.Source.RECALL:
        return False
    return kind is Kind.PENCILLED or (kind is Kind.CALLED_OFF and not was_told(visit))


def _not_after(visit: Visit, kind: Notice.Kind, now: datetime) -> datetime:
    if kind is Kind.PENCILLED:
        return visit.pencilled_until or visit.starts_at
    if kind in (Kind.CONFIRMED, Kind.CHANGED):
        return visit.starts_at
    return max(now, visit.starts_at) + WORTH_READING


def owe_day_before(*, now: datetime) -> int:
    """Owe the word on the afternoon before each confirmed visit that was confirmed before that afternoon."""
    soon = bookings.visits_between(now, now + DAY_BEFORE_HORIZON).filter(state=VisitState.CONFIRMED)
    return sum(_owe_day_before(visit, now) for visit in soon)


def _owe_day_before(visit: Visit, now: datetime) -> bool:
    day = selectors.start_day(visit)
    due_at = send_instant(day - ONE_DAY, DAY_BEFORE_AT, selectors.quiet_hours())
    if due_at <= visit.changed_at:
        return False  # the confirmation itself has only just said it
    notice = owe(
        kind=Kind.DAY_BEFORE,
        rider=visit.bike.rider,
        subject_key=f"visit:{visit.pk}",
        cycle=day.isoformat(),
        due_at=due_at,
        not_after=visit.starts_at - TOO_LATE_TO_REMIND,
        now=now,
        bike=visit.bike,
        visit=visit,
    )
    return notice is not None


def owe_care_sheets(*, now: datetime) -> int:
    """Owe the care sheet of each bike that went home lately, once its due months are known or cannot be."""
    collected = Visit.objects.filter(state=VisitState.COLLECTED, job__collected_at__gt=now - WORTH_READING)
    owed = Notice.objects.filter(kind=Kind.CARE_SHEET).values("visit")
    waiting = set() if selectors.climate_obstacle() else _scheduled_soon(now)
    unsent = collected.exclude(pk__in=owed).select_related("bike__rider", "job").order_by("job__collected_at", "pk")
    return sum(_owe_care_sheet(visit, now) for visit in unsent if visit.pk not in waiting)


def _scheduled_soon(now: datetime) -> set[int]:
    """Visits whose schedule the next plan will make, so that the care sheet had better wait for it."""
    return {visit.pk for visit in selectors.collected_without_schedule() if not selectors.schedule_obstacle(visit, now)}


def _owe_care_sheet(visit: Visit, now: datetime) -> bool:
    notice = owe(
        kind=Kind.CARE_SHEET,
        rider=visit.bike.rider,
        subject_key=f"visit:{visit.pk}",
        cycle="1",
        due_at=selectors.quiet_hours().after(now),
        not_after=(visit.job.collected_at or now) + WORTH_READING,
        now=now,
        bike=visit.bike,
        visit=visit,
    )
    return notice is not None
