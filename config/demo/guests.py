"""Invented riders and their bikes, drawn from fixtures/demo/people.json by a seeded generator."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from bookings.rules.types import BikeKind, Condition, RoadSalt, Storage
from bookings.services.requests import BikeFacts, RiderFacts
from config.demo.shop import read

ALL_YEAR = tuple(range(1, 13))
# Habits that go together: where it stands, when it is ridden, how far, how often washed, salt on its roads.
LIVES: tuple[tuple[Storage, tuple[int, ...], int, int, RoadSalt], ...] = (
    (Storage.OUTSIDE, ALL_YEAR, 12_000, 12, RoadSalt.NORMAL),
    (Storage.OUTSIDE, ALL_YEAR, 9_000, 6, RoadSalt.HEAVY),
    (Storage.COVERED, ALL_YEAR, 8_000, 12, RoadSalt.NORMAL),
    (Storage.COVERED, (3, 4, 5, 6, 7, 8, 9, 10), 6_000, 10, RoadSalt.LIGHT),
    (Storage.UNHEATED, ALL_YEAR, 10_000, 16, RoadSalt.NORMAL),
    (Storage.UNHEATED, (3, 4, 5, 6, 7, 8, 9, 10, 11), 7_000, 12, RoadSalt.LIGHT),
    (Storage.UNHEATED, (4, 5, 6, 7, 8, 9), 4_000, 8, RoadSalt.NONE),
    (Storage.HEATED, (4, 5, 6, 7, 8, 9), 5_000, 8, RoadSalt.NONE),
)
# One rider in so many gives no email; the shop rings them.
WITHOUT_EMAIL_EVERY = 9
LOWEST_NUMBER, HIGHEST_NUMBER = 100, 999
DOMAINS = ("example.com", "example.org", "example.net")


@dataclass(frozen=True)
class Guest:
    """A rider with one bike, and what the bike is like."""

    rider: RiderFacts
    bike: BikeFacts
    condition: Condition
    odometer_km: int
    wants_recall: bool


def guests(count: int, seed: int) -> list[Guest]:
    """`count` bikes; every fifth belongs to a rider who has another. The same seed gives the same people."""
    people = read("people")
    chance = Random(seed)
    names = [(given, family) for given in people["given_names"] for family in people["family_names"]]
    names = chance.sample(names, count)
    numbers = chance.sample(range(LOWEST_NUMBER, HIGHEST_NUMBER + 1), count)
    found: list[Guest] = []
    for index, ((given, family), number) in enumerate(zip(names, numbers, strict=True)):
        described, kind = people["bikes"][index % len(people["bikes"])]
        has_email = index % WITHOUT_EMAIL_EVERY != WITHOUT_EMAIL_EVERY - 1
        address = f"{given}.{family}".lower().replace("-", "") + f"@{chance.choice(DOMAINS)}"
        rider = RiderFacts(f"{given} {family}", address if has_email else "", f"+447700900{number}")
        if index % 5 == 4:
            rider = found[index - 1].rider
        storage, months, km, washes, salt = chance.choice(LIVES)
        bike = BikeFacts(
            description=described,
            registration=_plate(chance),
            kind=BikeKind(kind),
            storage=storage,
            riding_months=months,
            km_per_year=round(km * chance.uniform(0.6, 1.4) / 100) * 100,
            washes_per_year=washes,
            road_salt=salt,
        )
        condition = chance.choice([Condition.DIRTY, Condition.DIRTY, Condition.CRUSTED, Condition.CORRODED])
        found.append(Guest(rider, bike, condition, chance.randrange(2_000, 60_000), chance.random() < 0.8))
    return found


def _plate(chance: Random) -> str:
    """A plate nobody has: British plates never begin with Q under the present scheme."""
    letters = "ABCDEFGHJKLMNPRSTUVWXY"
    return f"QZ{chance.randrange(12, 26)} {''.join(chance.choices(letters, k=3))}"
