"""The numbers of the protection model a shop may edit, each with unit, range, basis and source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from bookings.rules.errors import FieldError, InputErrors
from reminders.protection.bounds import out_of_bounds, refuse

MODEL_VERSION = "protection-2"


class Basis(StrEnum):
    """What a number stands on, from the firmest to the softest."""

    STANDARD = "standard"
    DATA = "data"
    COMMON_PRACTICE = "common practice"
    JUDGEMENT = "judgement"


@dataclass(frozen=True)
class Parameter:
    """One row of the table; `key` is a dotted path such as ``coat.wax.nominal_life_days``."""

    key: str
    meaning: str
    value: float
    unit: str
    low: float
    high: float
    basis: Basis
    source: str


@dataclass(frozen=True)
class Parameters(Mapping[str, float]):
    """The rows in force, readable as a mapping from key to number."""

    rows: tuple[Parameter, ...]
    _by_key: dict[str, Parameter] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_key = {row.key: row for row in self.rows}
        if len(by_key) != len(self.rows):
            raise ValueError("a parameter stands twice in the table")
        object.__setattr__(self, "_by_key", by_key)
        refuse(error for row in self.rows for error in out_of_bounds(row.key, row.value, (row.low, row.high)))

    def __getitem__(self, key: str) -> float:
        return self._by_key[key].value

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_key)

    def __len__(self) -> int:
        return len(self.rows)

    def __hash__(self) -> int:
        return hash(self.rows)

    def row(self, key: str) -> Parameter:
        """The whole row of a key; KeyError when there is none."""
        return self._by_key[key]

    def with_values(self, values: Mapping[str, float]) -> Parameters:
        """A copy in which a shop's own values replace those given. Raises InputErrors with the key as field."""
        unknown = [FieldError(key, "is no parameter of the model") for key in values if key not in self._by_key]
        if unknown:
            raise InputErrors(unknown)
        return Parameters(tuple(replace(row, value=values.get(row.key, row.value)) for row in self.rows))

    def fitting(self, values: Mapping[str, float]) -> Parameters:
        """As with_values, but values stored under an older table that fit this one no more are passed over."""
        rows = {key: self._by_key[key] for key in values if key in self._by_key}
        return self.with_values({key: values[key] for key, row in rows.items() if row.low <= values[key] <= row.high})

    def differences(self, base: Parameters) -> dict[str, float]:
        """Values that are not those of `base`: what a stored schedule keeps beside the model's version."""
        return {row.key: row.value for row in self.rows if row.key not in base or base[row.key] != row.value}
