"""What the rules refuse, said at the field it concerns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class FieldError:
    """One refusal: `field` is a dotted path such as ``coats[0].zone``, `message` is for people."""

    field: str
    message: str


class InputErrors(ValueError):
    """Everything that is wrong with an input, so that a person mends it in one go."""

    def __init__(self, errors: Iterable[FieldError | tuple[str, str]]) -> None:
        self.errors = tuple(error if isinstance(error, FieldError) else FieldError(*error) for error in errors)
        super().__init__("; ".join(f"{error.field}: {error.message}" for error in self.errors))
