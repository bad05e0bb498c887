"""The two sides of a bench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


class AnswersDiffer(RuntimeError):
    """The two sides disagree, so their times mean nothing."""


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
