"""What a name in the texts of notices stands for: its meaning in words, a sample, and how it is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from bookings.models import Bike, Rider, Shop, Visit
from reminders.models import Notice
from reminders.services.wording import Said


@dataclass(frozen=True)
class Subject:
    """The notice that is being written, for whom the names stand for something."""

    notice: Notice
    shop: Shop
    now: datetime

    @property
    def rider(self) -> Rider:
        """Whom it is written to. Raises ValueError for mail to ourselves."""
        if self.notice.rider is None:
            raise ValueError("this notice is written to nobody but ourselves")
        return self.notice.rider

    @property
    def visit(self) -> Visit:
        """What it is about. Raises ValueError where it is about none."""
        if self.notice.visit is None:
            raise ValueError("this notice is about no visit")
        return self.notice.visit

    @property
    def bike(self) -> Bike:
        """The bike it is about. Raises ValueError where it is about none."""
        bike = self.notice.visit.bike if self.notice.visit else self.notice.bike
        if bike is None:
            raise ValueError("this notice is about no bike")
        return bike


Finder = Callable[[Subject], "str | Said"]


@dataclass(frozen=True)
class Name:
    """One name: what the list beside the text says of it, what it looks like, and how it is found."""

    meaning: Any
    sample: Any
    find: Finder

    def say(self, subject: Subject) -> Said:
        """What the name stands for in this notice."""
        found = self.find(subject)
        return found if isinstance(found, Said) else Said(found)


NAMES: dict[str, Name] = {}


def name(meaning: Any, sample: Any = "") -> Callable[[Finder], Finder]:
    """Let a function called `_visit_link` be what {visit_link} stands for."""

    def keep(find: Finder) -> Finder:
        NAMES[find.__name__.strip("_")] = Name(meaning, sample, find)
        return find

    return keep
