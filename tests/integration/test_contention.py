"""A writer that meets another one waits its turn, or is told so; it never sees a stack trace."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from threading import Event, Thread

import pytest
from django.db import OperationalError, connection, transaction

from bookings.models import DiaryDay
from bookings.services.contention import Busy, transacted

DAY = date(2026, 1, 15)


@contextmanager
def somebody_writing() -> Iterator[None]:
    """Another connection holds the day's row (on SQLite: the write lock) for as long as the context lasts."""
    holding, done = Event(), Event()

    def hold() -> None:
        with transaction.atomic():
            DiaryDay.objects.select_for_update().get(day=DAY)
            holding.set()
            done.wait(30)
        connection.close()

    other = Thread(target=hold)
    other.start()
    assert holding.wait(30)
    try:
        yield
    finally:
        done.set()
        other.join()


@pytest.fixture
def impatient(transactional_db: None) -> Iterator[None]:
    """Waits for locks for a millisecond, so that a lost lock shows at once."""
    DiaryDay.objects.create(day=DAY)
    sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout = 1" if sqlite else "SET lock_timeout = '1ms'")
    yield
    connection.close()


@transacted
def take_day() -> int:
    """Lock the day and write something, as a booking does."""
    DiaryDay.objects.select_for_update().get(day=DAY)
    DiaryDay.objects.get_or_create(day=date(2026, 1, 16))
    return DiaryDay.objects.count()


def test_who_keeps_losing_the_lock_is_told_and_has_changed_nothing(impatient: None) -> None:
    with somebody_writing(), pytest.raises(Busy, match="nothing has been changed"):
        take_day()
    assert DiaryDay.objects.count() == 1


def test_the_same_again_goes_through_once_the_other_is_done(impatient: None) -> None:
    with somebody_writing(), pytest.raises(Busy):
        take_day()
    assert take_day() == 2


def test_inside_a_transaction_the_lost_lock_is_the_callers_to_handle(impatient: None) -> None:
    with somebody_writing(), pytest.raises(OperationalError), transaction.atomic():
        take_day()


def test_another_fault_of_the_database_is_not_tried_again(transactional_db: None) -> None:
    turns = []

    @transacted
    def ask_for_nonsense() -> None:
        turns.append(1)
        raise OperationalError("no such table: nonsense")

    with pytest.raises(OperationalError, match="nonsense"):
        ask_for_nonsense()
    assert len(turns) == 1
