"""The shop's climate: twelve months, all of them or none."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db import transaction

from bookings.models import ClimateMonth

MONTHS = 12


@transaction.atomic
def set_months(*, months: Sequence[Mapping[str, float | None]], source: str) -> None:
    """Write twelve months, January first, keyed as ClimateMonth's fields; ValueError for another number of them."""
    if len(months) != MONTHS:
        raise ValueError(f"a climate has {MONTHS} months, not {len(months)}")
    for number, facts in enumerate(months, start=1):
        ClimateMonth.objects.update_or_create(month=number, defaults={**facts, "source": source})
