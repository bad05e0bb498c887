"""All reading of stages one to three."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from django.core.exceptions import ImproperlyConfigured
from django.db.models import Prefetch, Q, QuerySet, Value
from django.db.models.functions import Replace
from django.utils.translation import gettext as _

from bookings.models import (
    Bay,
    Bike,
    Claim,
    ClimateMonth,
    Closure,
    Job,
    OpeningHours,
    Product,
    Rider,
    Shop,
    Tier,
    Visit,
)
from bookings.rules import durations, slots
from bookings.rules.transitions import IN_THE_HOUSE
from bookings.rules.types import BikeKind, Condition, VisitState


def shop() -> Shop | None:
    """The shop, or None before it has been set up."""
    return Shop.objects.filter(pk=1).first()


def require_shop() -> Shop:
    """The shop; raises ImproperlyConfigured with what to do when it has not been set up."""
    found = shop()
    if found is None:
        raise ImproperlyConfigured("The shop has not been set up: add it under Records, or run the demo.")
    return found


def tiers() -> QuerySet[Tier]:
    """Tiers offered now, in the shop's order."""
    return Tier.objects.filter(offered=True).prefetch_related("steps")


def products() -> QuerySet[Product]:
    """Products in use."""
    return Product.objects.filter(in_use=True)


def bays() -> list[Bay]:
    """Places where bikes are worked on."""
    return list(Bay.objects.filter(kind=Bay.Kind.BAY, in_use=True))


def icy_months() -> frozenset[int]:
    """Months in which an icy start must be reckoned with: the mean night is at or below freezing."""
    return frozenset(ClimateMonth.objects.filter(minimum_temperature_c__lte=0).values_list("month", flat=True))


def icy(start: datetime) -> bool:
    """Whether `start` lies in an icy month of the shop."""
    return start.astimezone(require_shop().zone).month in icy_months()


def length_model() -> durations.LengthModel:
    """The length model as the shop's finished jobs have taught it, oldest first."""
    table = {tier.code: tier.usual_minutes for tier in Tier.objects.all()}
    model = durations.prior(table)
    zone, icy_ones = require_shop().zone, icy_months()
    finished = Job.objects.filter(work_started_at__isnull=False, work_finished_at__isnull=False)
    for job in finished.select_related("visit__tier", "visit__bike").order_by("work_finished_at", "pk"):
        # Narrowed for the type checker; the filter above has seen to it.
        if job.work_started_at is None or job.work_finished_at is None:
            continue
        began, ended = job.work_started_at.astimezone(zone), job.work_finished_at.astimezone(zone)
        minutes = (ended - began) / timedelta(minutes=1)
        if began.date() != ended.date() or minutes < 5:
            continue  # a forgotten clock or a job split over nights would teach nonsense
        features = durations.Features(
            job.visit.tier.code,
            BikeKind(job.visit.bike.kind),
            Condition(job.condition_seen),
            began.month in icy_ones,
        )
        model = model.updated(features, minutes)
    return model


def length_for(tier: Tier, kind: BikeKind, condition: Condition, is_icy: bool = False) -> durations.Estimate:
    """How long a job is promised to take, how long it usually takes, and what drives it."""
    return length_model().estimate(durations.Features(tier.code, kind, condition, is_icy))


def diary(first_day: date, days: int) -> slots.Diary:
    """Opening hours and closures from `first_day` on."""
    hours = {row.weekday: (row.opens, row.closes) for row in OpeningHours.objects.all()}
    closed = Closure.objects.filter(day__gte=first_day, day__lt=first_day + timedelta(days=days))
    return slots.Diary(hours, frozenset(closed.values_list("day", flat=True)), require_shop().zone, first_day, days)


def busy(first_day: date, days: int, now: datetime) -> dict[int, list[slots.Interval]]:
    """Claimed quarters per bay; holds that have lapsed at `now` count as free."""
    first = int(datetime.combine(first_day, time(0), UTC).timestamp()) // slots.QUARTER_SECONDS - 96
    last = first + (days + 2) * 96
    taken: dict[int, list[slots.Interval]] = {bay.pk: [] for bay in bays()}
    claims = Claim.objects.filter(bay__in=taken, quarter__gte=first, quarter__lt=last)
    living = claims.filter(Q(expires_at__isnull=True) | Q(expires_at__gte=now))
    for bay, quarter in living.order_by("bay", "quarter").values_list("bay_id", "quarter"):
        intervals = taken[bay]
        if intervals and intervals[-1][1] == quarter:
            intervals[-1] = (intervals[-1][0], quarter + 1)
        else:
            intervals.append((quarter, quarter + 1))
    return taken


def free_starts(
    *,
    minutes: int,
    now: datetime,
    from_day: date | None = None,
    days: int = 21,
    limit: int | None = None,
    notice_minutes: int | None = None,
) -> list[slots.Slot]:
    """Every start at which `minutes` of work fit, earliest first, at least `notice_minutes` ahead (the shop's own
    when None; staff, with the bike at the gate, need none)."""
    found_shop = require_shop()
    today = now.astimezone(found_shop.zone).date()
    first_day = max(today, from_day or today)
    ahead = found_shop.booking_notice_minutes if notice_minutes is None else notice_minutes
    soonest = now + timedelta(minutes=ahead)
    return slots.free_starts(diary(first_day, days), busy(first_day, days, now), minutes, soonest, limit)


@dataclass(frozen=True, order=True)
class Offer:
    """A start (UTC) at which a job fits, with the length promised for it."""

    start: datetime
    length: durations.Estimate = field(compare=False)


def offers(
    *,
    tier: Tier,
    kind: BikeKind,
    condition: Condition,
    now: datetime,
    from_day: date | None = None,
    days: int = 21,
    notice_minutes: int | None = None,
) -> list[Offer]:
    """Every start at which the honest length of this job fits, earliest first; icy months take their own length."""
    model = length_model()
    zone, icy_ones = require_shop().zone, icy_months()
    found = []
    for is_icy in (False, True):
        length = model.estimate(durations.Features(tier.code, kind, condition, is_icy))
        free = free_starts(
            minutes=length.promised_minutes, now=now, from_day=from_day, days=days, notice_minutes=notice_minutes
        )
        starts = [slot.start for slot in one_start_per_time(free)]
        found += [Offer(start, length) for start in starts if (start.astimezone(zone).month in icy_ones) is is_icy]
    return sorted(found)


def one_start_per_time(found: list[slots.Slot]) -> list[slots.Slot]:
    """Starts with a bay free, each time once: riders choose a time, the shop the bay."""
    return list({slot.start: slot for slot in reversed(found)}.values())[::-1]


def is_open_for(*, start: datetime, minutes: int) -> bool:
    """Whether all of the work lies inside one opening span."""
    zone = require_shop().zone
    day = diary(start.astimezone(zone).date(), 1)
    begin = int(start.timestamp())
    return any(opens <= begin and begin + minutes * 60 <= closes for opens, closes in day.open_seconds)


def ready_from(tier: Tier, start: datetime, minutes: int) -> datetime:
    """When a bike whose work starts at `start` can be collected: worked on, cured, and the shop open again."""
    cured = start + timedelta(minutes=minutes + tier.curing_minutes)
    week = diary(cured.astimezone(require_shop().zone).date(), 14)
    seconds = int(cured.timestamp())
    later = (max(opens, seconds) for opens, closes in week.open_seconds if closes > seconds)
    return datetime.fromtimestamp(min(later, default=seconds), UTC)


@dataclass(frozen=True)
class DayRoom:
    """One day of the shop: minutes of work its bays have and have promised away, and what fills them."""

    day: date
    open_minutes: int
    booked_minutes: int
    closed_because: str
    visits: tuple[Visit, ...]


def room(*, first_day: date, days: int, now: datetime) -> list[DayRoom]:
    """Minutes open and booked on each day; holds that have lapsed at `now` count for nothing."""
    zone = require_shop().zone
    places = len(bays())
    capacity: dict[date, int] = defaultdict(int)
    for opens, closes in diary(first_day, days).open_seconds:
        capacity[datetime.fromtimestamp(opens, zone).date()] += (closes - opens) // 60 * places
    begin, end = (datetime.combine(first_day + timedelta(days=n), time(0), zone) for n in (0, days))
    booked: dict[date, list[Visit]] = defaultdict(list)
    for visit in visits_between(begin, end).exclude(state=VisitState.PENCILLED, pencilled_until__lt=now):
        booked[visit.starts_at.astimezone(zone).date()].append(visit)
    closed = dict(Closure.objects.filter(day__gte=first_day).values_list("day", "reason"))
    week = [first_day + timedelta(days=n) for n in range(days)]
    return [
        DayRoom(
            day=day,
            open_minutes=capacity[day],
            booked_minutes=sum(visit.booked_minutes for visit in booked[day]),
            closed_because=closed.get(day, "") or ("" if capacity[day] else _("no opening hours")),
            visits=tuple(booked[day]),
        )
        for day in week
    ]


def visits() -> QuerySet[Visit]:
    """Visits with what every list shows."""
    return Visit.objects.select_related("bike__rider", "tier", "bay", "request")


def visits_between(first: datetime, last: datetime) -> QuerySet[Visit]:
    """Visits that start in [first, last) and have not been called off or missed."""
    gone = [VisitState.CALLED_OFF, VisitState.MISSED]
    return visits().filter(starts_at__gte=first, starts_at__lt=last).exclude(state__in=gone)


def in_the_house() -> QuerySet[Visit]:
    """Bikes on the premises, whatever day they were booked for."""
    return visits().filter(state__in=IN_THE_HOUSE).select_related("job")


def keys_in_the_house() -> dict[str, Bike]:
    """Whose key hangs on which hook (lower case)."""
    return {visit.job.key_tag.casefold(): visit.bike for visit in in_the_house()}


def pencilled(now: datetime) -> QuerySet[Visit]:
    """Visits waiting for a yes, the soonest to lapse first."""
    return visits().filter(state=VisitState.PENCILLED, pencilled_until__gte=now).order_by("pencilled_until")


def visit_detail(primary_key: int) -> Visit | None:
    """One visit with its trail and job."""
    return visits().prefetch_related("events", "tier__steps").filter(pk=primary_key).first()


def find(text: str, limit: int = 12) -> list[Rider]:
    """Riders of whom every word of `text` is part of name, address, number, bike or registration, or who have `text`
    as part of their number; blanks in numbers and registrations do not matter."""
    wanted = text.strip()
    if len(wanted) < 2:
        return []
    riders = Rider.objects.all()
    for word in wanted.split():
        riders = riders.filter(_knows(word))
    if set(wanted) <= set("0123456789 +-.()"):
        digits = "".join(filter(str.isdecimal, wanted)).lstrip("0")
        riders = riders | Rider.objects.filter(phone_e164__contains=digits or "none")
    recent = Visit.objects.select_related("tier").order_by("-starts_at")
    bikes = Bike.objects.prefetch_related(Prefetch("visits", queryset=recent))
    return list(riders.distinct().prefetch_related(Prefetch("bikes", queryset=bikes))[:limit])


def _knows(word: str) -> Q:
    """Riders with `word` somewhere; registrations are compared without their blanks."""
    bikes = Bike.objects.annotate(plate=Replace("registration", Value(" "), Value("")))
    theirs = bikes.filter(Q(description__icontains=word) | Q(plate__icontains=word))
    return Q(name__icontains=word) | Q(email__icontains=word) | Q(pk__in=theirs.values("rider"))
