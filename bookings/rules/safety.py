"""What may never be coated, and what must be signed off before a bike leaves.

Cautions are common practice; the maker's manual, the product's safety data sheet, local rules and a
qualified mechanic come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from bookings.rules.types import CoatKind, SafetyItem, Zone

NEVER_COATED: Mapping[Zone, str] = MappingProxyType(
    {
        Zone.BRAKE_DISCS: "film on a brake disc takes away braking",
        Zone.BRAKE_PADS: "film on brake pads takes away braking",
        Zone.TYRES: "film on a tyre takes away grip",
        Zone.GRIPS: "film on grips lets hands slip",
        Zone.PEGS: "film on pegs lets feet slip",
        Zone.SEAT: "film or polish on the seat lets the rider slide",
    }
)

COATED_ZONES: tuple[Zone, ...] = tuple(zone for zone in Zone if zone not in NEVER_COATED)


class ForbiddenCoat(ValueError):
    """A coat on a zone where it could kill."""


class OpenSafetyItems(ValueError):
    """Sign-offs are missing; `items` says which."""

    def __init__(self, items: tuple[SafetyItem, ...]) -> None:
        self.items = items
        super().__init__("not signed off: " + ", ".join(items))


def check_coat(zone: Zone, kind: CoatKind) -> None:
    """Raise ForbiddenCoat when `zone` may never carry a coat of any kind."""
    if zone in NEVER_COATED:
        raise ForbiddenCoat(f"{zone.replace('_', ' ')}: {NEVER_COATED[zone]}; {kind.replace('_', ' ')} refused")


def required_items(fasteners_removed: bool) -> tuple[SafetyItem, ...]:
    """Sign-offs a visit owes; torque only where fasteners came out."""
    return tuple(item for item in SafetyItem if fasteners_removed or item is not SafetyItem.FASTENERS_TORQUED)


def open_items(signed: Iterable[SafetyItem], fasteners_removed: bool) -> tuple[SafetyItem, ...]:
    """Required sign-offs that are still missing, in the order they are done."""
    done = set(signed)
    return tuple(item for item in required_items(fasteners_removed) if item not in done)
