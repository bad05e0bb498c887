"""The numbers in force, their history, and the fingerprint that tells whether a schedule was asked with them."""

from __future__ import annotations

import json
from hashlib import sha256

from django.db.models import Count, Max, QuerySet

from reminders.models import ParameterChange, WeatherDay
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import MODEL_VERSION, Parameters
from reminders.selectors.place import shop_climate


def parameter_changes() -> QuerySet[ParameterChange]:
    """Every change the shop has made to the numbers, newest first."""
    return ParameterChange.objects.order_by("-pk")


def own_values() -> dict[str, ParameterChange]:
    """The newest change of each number that is not the table's own now, by key."""
    newest = {change.key: change for change in ParameterChange.objects.order_by("pk")}
    return {key: change for key, change in newest.items() if change.value is not None}


def parameters_in_force() -> Parameters:
    """The table with the shop's own values in their places."""
    values = {key: change.value for key, change in own_values().items() if change.value is not None}
    return DEFAULTS.fitting(values)


def estimate_basis(parameters: Parameters) -> str:
    """A fingerprint of the model, these numbers and what is known of the place; equal for equal knowledge."""
    weather = WeatherDay.objects.aggregate(days=Count("pk"), last=Max("read_at"))
    known = {
        "model": MODEL_VERSION,
        "parameters": dict(parameters),
        "place": shop_climate(),
        "weather": [weather["days"], weather["last"].isoformat() if weather["last"] else ""],
    }
    return sha256(json.dumps(known, sort_keys=True).encode()).hexdigest()
