"""Plays the demonstration inside the staged installation: ``python -m config.demo.play``, started by the stage."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import datetime
from typing import Any

import django
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

WIDTH_OFF_TERMINAL = 120


def main() -> int:
    """Build the past, play the story, print what happened; 1 when a promise was broken."""
    django.setup()
    from config.demo.client import Refused
    from config.demo.rounds import WorkerStuck
    from config.demo.story import BrokenPromise

    heard = Console(stderr=True)
    try:
        story = _tell(heard)
    except (BrokenPromise, Refused, WorkerStuck) as broken:
        heard.print(f"[bold]The story broke:[/bold] {broken}", highlight=False)
        return 1
    from config.demo.report import report

    report(story, Console(width=None if sys.stdout.isatty() else WIDTH_OFF_TERMINAL))
    return 0


def _tell(heard: Console) -> Any:
    from django.contrib.auth.models import User

    from bookings.clock import moment
    from config.demo.history import BIKES, FEWEST_BIKES, History
    from config.demo.rounds import Rounds
    from config.demo.shop import open_shop
    from config.demo.story import Story

    name, password = os.environ["RIMEBOOK_STAFF"], os.environ["RIMEBOOK_STAFF_PASSWORD"]
    User.objects.create_superuser(name, password=password, first_name=name.title())
    shop, rounds = open_shop(), Rounds()
    present = moment(os.environ.get("RIMEBOOK_DEMO_PRESENT"))
    with Progress(
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn(),
        console=heard, disable=not heard.is_terminal,
    ) as bar:  # fmt: skip
        told = bar.add_task("Two seasons", total=1.0)
        bikes = max(FEWEST_BIKES, int(os.environ.get("RIMEBOOK_DEMO_BIKES", BIKES)))
        history = History(present=present, zone=shop.zone, rounds=rounds, bikes=bikes)

        def show() -> None:
            bar.update(told, completed=(history.told_until - history.began) / (present - history.began))

        history.heard = show
        story = Story(history, rounds, (name, password), [])
        _chapters(story, lambda words: _chapter(heard, bar, told, words), present)
        bar.update(told, completed=1.0)
    return story


def _chapter(heard: Console, bar: Progress, told: Any, words: str) -> None:
    bar.update(told, description=words)
    if not heard.is_terminal:
        heard.print(words, highlight=False)


def _chapters(story: Any, chapter: Callable[[str], None], present: datetime) -> None:
    from datetime import timedelta

    hour, day = timedelta(hours=1), timedelta(days=1)
    chapter("A season of an invented shop before the story")
    story.history.advance(story.began)
    chapter("Two riders book online, staff confirm by phone")
    story.book(story.commuter, story.began, story.began.date() + 2 * day)
    # Later by so much that one bike has gone home before the other comes: one pair of hands.
    story.book(story.summer, story.began + hour / 2, story.commuter.booked.promised_at.date() + 3 * day)
    story.sign_in(story.began + 13 * hour)
    story.confirm(story.commuter, story.began + 13.2 * hour)
    story.confirm(story.summer, story.began + 13.4 * hour)
    chapter("Both bikes are treated, signed for, cured and collected")
    for part in sorted((story.commuter, story.summer), key=lambda part: part.booked.starts_at):
        story.treat(part)
    chapter("Winter passes; before the next one the notices go out")
    story.call_back()
    chapter("The second season, up to now")
    story.history.advance(present)
    story.rounds.plan(present)
    story.nothing_twice(present)


if __name__ == "__main__":
    sys.exit(main())
