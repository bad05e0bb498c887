"""Opens the invented shop: hours, bays, tiers, products and climate, from fixtures/demo."""

from __future__ import annotations

import json
from datetime import time
from typing import Any

from django.conf import settings
from django.db import transaction

from bookings.models import Bay, ClimateMonth, OpeningHours, Product, Shop, Step, Tier

MONTHS = 12


def read(name: str) -> dict[str, Any]:
    """One of the demonstration's files of invented facts."""
    content: dict[str, Any] = json.loads((settings.BASE_DIR / "fixtures" / "demo" / f"{name}.json").read_text("utf-8"))
    return content


@transaction.atomic
def open_shop() -> Shop:
    """Write the shop as its owner would set it up; called again, it changes nothing."""
    facts = read("shop")
    shop, _ = Shop.objects.update_or_create(pk=1, defaults=facts["shop"])
    for name in facts["bays"]:
        Bay.objects.get_or_create(name=name)
    for weekday, (opens, closes) in facts["opening"].items():
        hours = {"opens": time.fromisoformat(opens), "closes": time.fromisoformat(closes)}
        OpeningHours.objects.update_or_create(weekday=int(weekday), defaults=hours)
    for month in range(MONTHS):
        row = {name: values[month] for name, values in facts["climate"].items()}
        ClimateMonth.objects.update_or_create(month=month + 1, defaults=row | {"source": facts["climate_source"]})
    _stock(read("catalogue"))
    return shop


def _stock(catalogue: dict[str, Any]) -> None:
    for position, facts in enumerate(catalogue["tiers"]):
        steps = facts.pop("steps")
        tier, _ = Tier.objects.update_or_create(code=facts["code"], defaults=facts | {"position": position})
        for order, name in enumerate(steps):
            Step.objects.get_or_create(tier=tier, name=name, defaults={"position": order})
    for facts in catalogue["products"]:
        Product.objects.update_or_create(name=facts["name"], defaults=facts)
