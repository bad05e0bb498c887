"""The coats on a bike in words, for the rider's page and the workbench."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils.text import capfirst
from django.utils.translation import gettext as _

from bookings.models import Bike, Product
from reminders import charts, selectors
from reminders.text import month_range, pace, wear_reason


def coat_rows(bike: Bike, today: date) -> list[dict[str, Any]]:
    """Every coat still on a bike, the first to be due first."""
    return [
        {
            "coat": line.row.coat,
            "percent": line.percent,
            "months": month_range(line.row.due_early, line.row.due_late),
            # A day that has passed is no advice any more.
            "act_by": line.row.act_by if line.row.act_by and line.row.act_by >= today else None,
            "why": wear_reason(line.row.wear_share),
        }
        for line in charts.coat_lines(bike, today)
    ]


def learnt_words(bike: Bike) -> list[str]:
    """What findings have taught: of the bike first, then of each product on it. Empty while nothing was learnt."""
    known = selectors.knowledge().learnt
    words = []
    if bike.pk in known.bikes:
        rate = pace(known.bike_rate(bike.pk).mean)
        words.append(_("Coats on this bike wear %(pace)s, whatever the product.") % {"pace": rate})
    on_it = {row.coat.product_id for row in selectors.coats_due(bike)} & set(known.products)
    for product in Product.objects.filter(pk__in=on_it).order_by("name"):
        said = {"product": capfirst(product.name), "pace": pace(known.product_rate(product.pk).mean)}
        words.append(_("%(product)s wears %(pace)s, on all bikes taken together.") % said)
    return words
