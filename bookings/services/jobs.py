"""Stage three: what is done to the bike while it is here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta

from django.db.models import Max

from bookings.models import CoatApplied, Job, Product, SafetySignOff, Step, StepDone, Visit
from bookings.rules import safety, transitions
from bookings.rules.transitions import Action, WrongState
from bookings.rules.types import CoatKind, Condition, Method, SafetyItem, VisitState, Zone
from bookings.services.bookings import advance, locked, note
from bookings.services.contention import transacted

# What another coat, or another fastener out, puts in question again.
_CLEAR = (SafetyItem.BRAKES_CLEAR, SafetyItem.TYRES_CLEAR, SafetyItem.CONTROLS_CLEAR)


class StillCuring(ValueError):
    """The coats need more dry time; `until` is the earliest moment the bike may leave."""

    def __init__(self, until: datetime) -> None:
        self.until = until
        super().__init__(f"still curing until {until:%Y-%m-%d %H:%M} UTC")


@dataclass(frozen=True)
class DropOffFacts:
    """What is noted when a bike is handed in."""

    odometer_km: int
    key_tag: str
    condition_seen: Condition = Condition.DIRTY
    damage_notes: str = ""
    may_remove_fasteners: bool = False
    collector_name: str = ""


@transacted
def drop_off(*, visit: Visit, facts: DropOffFacts, now: datetime, actor: str) -> Job:
    """Open the job record. Raises WrongState."""
    visit = advance(locked(visit), Action.DROP_OFF, now=now, actor=actor)
    return Job.objects.create(visit=visit, dropped_off_at=now, **asdict(facts))


@transacted
def start_work(*, visit: Visit, now: datetime, actor: str) -> Job:
    """Start the clock. Raises WrongState."""
    visit = advance(locked(visit), Action.START_WORK, now=now, actor=actor)
    return _stamp(visit, work_started_at=now)


@transacted
def tick_step(*, job: Job, step: Step, now: datetime, actor: str) -> StepDone:
    """Note a step as done; a second tick, from another device, keeps the first.

    Raises WrongState outside work, and for a step of another tier.
    """
    _in_work(job)
    if step.tier_id != job.visit.tier_id:
        raise WrongState("That step is not part of what is done to this bike.")
    done, _ = StepDone.objects.get_or_create(job=job, step=step, defaults={"done_at": now, "done_by": actor})
    return done


@transacted
def untick_step(*, job: Job, step: Step) -> None:
    """Take a tick back."""
    _in_work(job)
    StepDone.objects.filter(job=job, step=step).delete()


@transacted
def record_coat(
    *, job: Job, zone: Zone, product: Product, method: Method, now: datetime, actor: str, batch: str = ""
) -> CoatApplied:
    """Record a coat on a zone; the same kind again on the same zone corrects the record.

    Checks that brakes, tyres and controls are free of film, signed before this coat, have to be made again.
    Raises ForbiddenCoat for a zone that may never be coated, WrongState outside work.
    """
    safety.check_coat(zone, CoatKind(product.coat_kind))
    _in_work(job)
    _reopen(job, _CLEAR, because=f"a coat was put on afterwards: {zone.replace('_', ' ')}", now=now, actor=actor)
    coat, _ = CoatApplied.objects.update_or_create(
        job=job,
        zone=zone,
        kind=product.coat_kind,
        defaults={"product": product, "batch": batch, "method": method, "applied_at": now, "applied_by": actor},
    )
    return coat


@transacted
def remove_coat(*, job: Job, coat: CoatApplied) -> None:
    """Take back a coat recorded by mistake, while the work goes on."""
    _in_work(job)
    CoatApplied.objects.filter(job=job, pk=coat.pk).delete()


@transacted
def note_fasteners(*, job: Job, removed: bool, now: datetime, actor: str) -> Job:
    """Note whether any fastener came out; then its torque must be signed off before the bike leaves.

    A torque check signed before that has to be made again.
    Raises WrongState outside work, and when the rider has not agreed to it.
    """
    _in_work(job)
    fresh = Job.objects.select_for_update().get(pk=job.pk)
    if removed and not fresh.may_remove_fasteners:
        raise WrongState("The rider has not agreed to fasteners being taken out. Ask first.")
    if removed:
        _reopen(job, [SafetyItem.FASTENERS_TORQUED], because="fasteners came out afterwards", now=now, actor=actor)
    return _stamp(fresh.visit, fasteners_removed=removed)


@transacted
def sign_off(*, job: Job, item: SafetyItem, now: datetime, actor: str, note: str = "") -> SafetySignOff:
    """Put a name to a safety check. Raises WrongState before the work has begun or after the bike has left."""
    if VisitState(locked(job.visit).state) not in {VisitState.IN_WORK, VisitState.CURING}:
        raise WrongState("Safety checks are signed off during work or while the coats cure.")
    signed, _ = SafetySignOff.objects.get_or_create(
        job=job, item=item, defaults={"signed_at": now, "signed_by": actor, "note": note}
    )
    return signed


@transacted
def finish_work(*, visit: Visit, now: datetime, actor: str) -> Job:
    """Stop the clock; the bike stands until the slowest coat has cured. Raises WrongState."""
    visit = advance(locked(visit), Action.FINISH_WORK, now=now, actor=actor)
    slowest = CoatApplied.objects.filter(job__visit=visit).aggregate(minutes=Max("product__curing_minutes"))["minutes"]
    return _stamp(visit, work_finished_at=now, cured_at=now + timedelta(minutes=slowest or 0))


@transacted
def make_ready(*, visit: Visit, now: datetime, actor: str) -> Job:
    """Declare the bike fit to leave. Raises WrongState, OpenSafetyItems or StillCuring; there is no way around."""
    visit = locked(visit)
    transitions.after(VisitState(visit.state), Action.MAKE_READY)
    job = Job.objects.select_for_update().get(visit=visit)
    signed = [SafetyItem(item) for item in job.sign_offs.values_list("item", flat=True)]
    if missing := safety.open_items(signed, job.fasteners_removed):
        raise safety.OpenSafetyItems(missing)
    if job.cured_at and now < job.cured_at:
        raise StillCuring(job.cured_at)
    advance(visit, Action.MAKE_READY, now=now, actor=actor)
    return _stamp(visit, ready_at=now)


@transacted
def hand_over(*, visit: Visit, collected_by: str, now: datetime, actor: str) -> Job:
    """Close the record: keys and bike have gone to a named person. Raises WrongState."""
    visit = advance(locked(visit), Action.HAND_OVER, now=now, actor=actor)
    return _stamp(visit, collected_at=now, collected_by=collected_by)


def _reopen(job: Job, items: Iterable[SafetyItem], *, because: str, now: datetime, actor: str) -> None:
    """Take back safety checks that no longer say how the bike is, and keep in the trail who had signed them."""
    stale = job.sign_offs.filter(item__in=list(items))
    if signed := [f"{sign_off.item.replace('_', ' ')} ({sign_off.signed_by})" for sign_off in stale]:
        stale.delete()
        reason = f"{because}; to be checked again: {', '.join(signed)}"
        note(job.visit, action="checks reopened", before=job.visit.state, now=now, actor=actor, reason=reason)


def _in_work(job: Job) -> None:
    visit = locked(job.visit)
    if visit.state != VisitState.IN_WORK:
        raise WrongState("This can be recorded only while the bike is in work.")


def _stamp(visit: Visit, **facts: object) -> Job:
    job = Job.objects.select_related("visit").get(visit=visit)
    for name, value in facts.items():
        setattr(job, name, value)
    job.save(update_fields=list(facts))
    return job
