"""How far the table expected each coat that was found to be worn; what was found is weighed against it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from itertools import groupby

from bookings.models import Bike, Visit
from bookings.rules.errors import InputErrors
from reminders import selectors
from reminders.models import ZoneFinding
from reminders.protection.documents import read_request
from reminders.protection.due import forecast
from reminders.protection.parameters import Parameters
from reminders.protection.types import CoatForecast

RECKONED_PER_RUN = 200
_LEAST_WORN, _MOST_WORN = 1e-6, 1000.0


def expected(visit: Visit, parameters: Parameters, *, today: date) -> dict[int, CoatForecast]:
    """The forecast of each coat of a visit by its key, as if nothing had been learnt. Raises InputErrors."""
    asked = read_request(selectors.forecast_input(visit, today))
    answer = forecast(asked.site, asked.use, asked.coats, asked.as_of, parameters)
    return dict(zip((coat.pk for coat in selectors.coats_of(visit)), answer.coats, strict=True))


def worn_by(estimate: CoatForecast, on: date) -> float:
    """Share of its budget a coat should have used up before a day after it was put on."""
    worn = float(estimate.worn[(on - estimate.applied_on).days])
    return min(max(worn, _LEAST_WORN), _MOST_WORN)


def reckon(rows: Iterable[ZoneFinding], *, now: datetime) -> None:
    """Weigh findings, sorted by visit, against what the table says by now."""
    parameters = selectors.parameters_in_force()
    basis, today = selectors.estimate_basis(parameters), selectors.today(now)
    for visit, found in groupby(rows, key=lambda row: row.coat.job.visit):
        try:
            estimates = expected(visit, parameters, today=today)
        except InputErrors:
            estimates = {}  # the schedule of the visit says why; the finding keeps the figure it has
        for row in found:
            worn = worn_by(estimates[row.coat_id], row.on) if row.coat_id in estimates else row.forecast_worn
            ZoneFinding.objects.filter(pk=row.pk).update(forecast_worn=worn, basis=basis)


def reckon_bike(bike: Bike, *, now: datetime) -> None:
    """Weigh everything found on a bike anew, because more is known of it."""
    reckon(sorted(selectors.findings(bike), key=lambda row: row.coat.job.visit_id), now=now)


def reckon_outdated(*, now: datetime, most: int = RECKONED_PER_RUN) -> bool:
    """Weigh findings anew where numbers, model or weather have changed; tells whether none is left for another run."""
    basis = selectors.estimate_basis(selectors.parameters_in_force())
    rows = list(selectors.findings_outdated(basis)[: most + 1])
    reckon(rows[:most], now=now)
    return len(rows) <= most
