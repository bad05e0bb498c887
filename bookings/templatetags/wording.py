"""How figures are put into words on every page and in every letter."""

from __future__ import annotations

from collections.abc import Iterable

from django import template
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from bookings.contact import show_phone
from bookings.models import Shop
from bookings.rules.durations import ICY, OWN_JOBS
from bookings.text import BIKE_KIND, CONDITION

register = template.Library()

_SYMBOLS = {"GBP": "£", "EUR": "€", "USD": "$"}
# Currencies whose smallest coin is not a hundredth (ISO 4217, from memory).
_DECIMALS = {"ISK": 0, "JPY": 0, "KRW": 0, "CLP": 0, "BHD": 3, "KWD": 3, "TND": 3}
_QUARTERS = ("", "¼", "½", "¾")
_WORDS = {**dict(BIKE_KIND), **dict(CONDITION)}
# A factor nearer to 1 than this is no reason worth a rider's time.
_WORTH_SAYING = 0.02


@register.filter
def phone(e164: str, shop: Shop | None) -> str:
    """A stored number, spaced as people write it in the shop's country."""
    return show_phone(e164, shop.phone_region if shop else "GB")


@register.filter
def price(minor_units: int, shop: Shop | None) -> str:
    """An amount of the smallest coin as money; round sums without the zeros."""
    currency = shop.currency if shop else "GBP"
    decimals = _DECIMALS.get(currency, 2)
    whole, rest = divmod(minor_units, 10**decimals)
    amount = minor_units / 10**decimals if rest else whole
    shown = number_format(amount, decimal_pos=decimals if rest else 0, use_l10n=True, force_grouping=True)
    return f"{_SYMBOLS[currency]}{shown}" if currency in _SYMBOLS else f"{shown} {currency}"


@register.filter
def length(minutes: float) -> str:
    """Minutes as hours and quarters, to the nearest quarter: 225 gives “3¾ hours”."""
    hours, quarter = divmod(max(1, round(minutes / 15)), 4)
    if not hours:
        return _("%(minutes)s minutes") % {"minutes": quarter * 15}
    shown = f"{hours}{_QUARTERS[quarter]}"
    return ngettext("%(hours)s hour", "%(hours)s hours", 1 if shown == "1" else 2) % {"hours": shown}


@register.filter
def reasons(factors: Iterable[tuple[str, float]]) -> list[str]:
    """What makes a job longer or shorter than the plain one, one phrase each."""
    return [_phrase(name, factor) for name, factor in factors if abs(factor - 1) >= _WORTH_SAYING]


def _phrase(name: str, factor: float) -> str:
    words = {ICY: _("nights of frost, when wash water freezes"), OWN_JOBS: _("what our own finished jobs took")}
    percent = {"words": str(words.get(name) or _WORDS.get(name) or name), "percent": round(abs(factor - 1) * 100)}
    if factor > 1:
        return _("%(words)s: about %(percent)s %% longer") % percent
    return _("%(words)s: about %(percent)s %% shorter") % percent
