"""The two sides of a bench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


class AnswersDiffer(RuntimeError):
    """The two sides disagree, so their times mean nothing."""


def _nothing() -> None:
    return None


@dataclass(frozen=True)
class Pair:
    """Two ways to one answer. `ours` and `plain` take nothing and give what is compared.

    `plain_share` is the share of the work the plain way does, where it would take too long to do it all; then only
    that share of the answers is compared, and its time is scaled up.
    """

    what: str
    plain_way: str
    ours: Callable[[], Any]
    plain: Callable[[], Any]
    plain_share: float = 1.0
    # For work that other processes do: few rounds of one call, no memory of ours to trace, and untimed work around.
    rounds: int = 0
    before_ours: Callable[[], None] = _nothing
    before_plain: Callable[[], None] = _nothing
    close: Callable[[], None] = _nothing
