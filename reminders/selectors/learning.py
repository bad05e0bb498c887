"""What the findings of all bikes have taught, and all that an estimate rests on besides the bike itself."""

from __future__ import annotations

import json
from dataclasses import astuple, dataclass
from hashlib import sha256

from django.db.models import QuerySet

from reminders.models import ZoneFinding
from reminders.models.readings import STANDS
from reminders.protection.inspection import Finding, Learnt, area_limit_percent, learn, read_log_rate
from reminders.protection.parameters import Parameters
from reminders.selectors.estimates import estimate_basis, parameters_in_force

_FACTS = ("coat_id", "bike_id", "coat__product_id", "forecast_worn", "rating", "film_left")


@dataclass(frozen=True)
class Knowledge:
    """The numbers in force and what findings have taught; `basis` is a fingerprint of these and of the place."""

    parameters: Parameters
    learnt: Learnt
    basis: str


def knowledge() -> Knowledge:
    """All that is known by now. A schedule made with other knowledge has another basis, and is asked again."""
    parameters = parameters_in_force()
    told = [finding for finding in newest_findings() if read_log_rate(finding, parameters) is not None]
    known = json.dumps([estimate_basis(parameters), [astuple(finding) for finding in told]])
    return Knowledge(parameters, learn(told, parameters), sha256(known.encode()).hexdigest())


def finding_of(row: ZoneFinding) -> Finding:
    """A stored finding as the rules read it."""
    area = area_limit_percent(row.rating)
    return Finding(row.bike_id, row.coat.product_id, row.forecast_worn, area, row.film_left)


def newest_findings() -> list[Finding]:
    """The latest finding of each coat, in a fixed order: an earlier one of the same coat is no reading of its own."""
    rows = ZoneFinding.objects.filter(STANDS).order_by("coat_id", "on", "pk").values_list(*_FACTS)
    return [
        Finding(bike, product, worn, area_limit_percent(rating), film_left)
        for bike, product, worn, rating, film_left in {coat: facts for coat, *facts in rows}.values()
    ]


def findings_outdated(basis: str) -> QuerySet[ZoneFinding]:
    """Findings whose expected wear was reckoned with other numbers, another model or other weather."""
    rows = ZoneFinding.objects.filter(STANDS).exclude(basis=basis)
    return rows.select_related("coat__job__visit__bike").order_by("coat__job__visit", "pk")
