"""All reading of stages one to three."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime, time, timedelta

from django.core.exceptions import ImproperlyConfigured
from django.db.models import Prefetch, Q, QuerySet

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


def icy(start: datetime) -> bool:
    """Whether an icy start must be reckoned with: the month's mean night is at or below freezing."""
    return ClimateMonth.objects.filter(month=start.month, minimum_temperature_c__lte=0).exists()


def length_model() -> durations.LengthModel:
    """The length model as the shop's finished jobs have taught it, oldest first."""
    table = {tier.code: tier.usual_minutes for tier in Tier.objects.all()}
    model = durations.prior(table)
    finished = Job.objects.filter(work_started_at__isnull=False, work_finished_at__isnull=False)
    for job in finished.select_related("visit__tier", "visit__bike").order_by("work_finished_at", "pk"):
        # Narrowed for the type checker; the filter above has seen to it.
        if job.work_started_at is None or job.work_finished_at is None:
            continue
        minutes = (job.work_finished_at - job.work_started_at) / timedelta(minutes=1)
        if job.work_started_at.date() != job.work_finished_at.date() or minutes < 5:
            continue  # a forgotten clock or a job split over nights would teach nonsense
        features = durations.Features(
            job.visit.tier.code,
            BikeKind(job.visit.bike.kind),
            Condition(job.condition_seen),
            icy(job.work_started_at),
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
    *, minutes: int, now: datetime, from_day: date | None = None, days: int = 21, limit: int | None = None
) -> list[slots.Slot]:
    """Every start at which `minutes` of work fit, earliest first, not before the shop's notice time."""
    found_shop = require_shop()
    today = now.astimezone(found_shop.zone).date()
    first_day = max(today, from_day or today)
    soonest = now + timedelta(minutes=found_shop.booking_notice_minutes)
    return slots.free_starts(diary(first_day, days), busy(first_day, days, now), minutes, soonest, limit)


def one_start_per_time(found: list[slots.Slot]) -> list[slots.Slot]:
    """Starts with a bay free, each time once: riders choose a time, the shop the bay."""
    return list({slot.start: slot for slot in reversed(found)}.values())[::-1]


def starts_by_day(found: list[slots.Slot]) -> dict[date, list[slots.Slot]]:
    """Starts grouped by the shop's own day."""
    zone = require_shop().zone
    days: dict[date, list[slots.Slot]] = defaultdict(list)
    for slot in one_start_per_time(found):
        days[slot.start.astimezone(zone).date()].append(slot)
    return dict(days)


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


def open_minutes(day: date) -> int:
    """Work minutes of all bays on a day."""
    return sum(closes - opens for opens, closes in diary(day, 1).open_seconds) // 60 * len(bays())


def visits() -> QuerySet[Visit]:
    """Visits with what every list shows."""
    return Visit.objects.select_related("bike__rider", "tier", "bay", "request")


def visits_between(first: datetime, last: datetime) -> QuerySet[Visit]:
    """Visits that start in [first, last) and have not been called off or missed."""
    gone = [VisitState.CALLED_OFF, VisitState.MISSED]
    return visits().filter(starts_at__gte=first, starts_at__lt=last).exclude(state__in=gone)


def visits_on(day: date) -> QuerySet[Visit]:
    """Visits whose work starts on a day of the shop."""
    zone = require_shop().zone
    midnight = datetime.combine(day, time(0), zone)
    return visits_between(midnight, datetime.combine(day + timedelta(days=1), time(0), zone))


def in_the_house() -> QuerySet[Visit]:
    """Bikes on the premises, whatever day they were booked for."""
    return visits().filter(state__in=IN_THE_HOUSE).select_related("job")


def pencilled(now: datetime) -> QuerySet[Visit]:
    """Visits waiting for a yes, the soonest to lapse first."""
    return visits().filter(state=VisitState.PENCILLED, pencilled_until__gte=now).order_by("pencilled_until")


def visit_detail(primary_key: int) -> Visit | None:
    """One visit with its trail and job."""
    return visits().prefetch_related("events", "tier__steps").filter(pk=primary_key).first()


def find(text: str, limit: int = 12) -> list[Rider]:
    """Riders whose name, number, address, registration or bike contains `text`; spaces in numbers do not matter."""
    wanted = text.strip()
    if len(wanted) < 2:
        return []
    match = (
        Q(name__icontains=wanted)
        | Q(email__icontains=wanted)
        | Q(bikes__description__icontains=wanted)
        | Q(bikes__registration__icontains=wanted.replace(" ", ""))
        | Q(bikes__registration__icontains=wanted)
    )
    digits = "".join(character for character in wanted if character.isdigit())
    if len(digits) >= 3:
        match |= Q(phone_e164__contains=digits.lstrip("0"))
    recent = Visit.objects.select_related("tier").order_by("-starts_at")
    bikes = Bike.objects.prefetch_related(Prefetch("visits", queryset=recent))
    return list(Rider.objects.filter(match).distinct().prefetch_related(Prefetch("bikes", queryset=bikes))[:limit])
