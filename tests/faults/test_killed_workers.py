"""Real Celery workers on a real broker, really killed in the middle of a conversation with a real mail server."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from datetime import timedelta

import pytest

from reminders.models import Notice
from reminders.services import claiming, sending
from tests.parts.notices import as_recall
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import MORNING

pytestmark = pytest.mark.django_db(transaction=True)
State = Notice.State
MINUTE = timedelta(minutes=1)


def wait_until(reached: Callable[[], bool], seconds: float = 20.0) -> None:
    deadline = time.monotonic() + seconds
    while not reached():
        assert time.monotonic() < deadline, "it did not come to that in time"
        time.sleep(0.05)


def kill(group: int) -> None:
    os.killpg(group, signal.SIGKILL)


def test_a_worker_sends_what_is_due(due_notice: Notice, smtp_sink: SmtpSink, worker: int) -> None:
    sending.wake(MORNING)
    smtp_sink.wait_for(1)
    wait_until(lambda: Notice.objects.get().state == State.SENT)


@pytest.mark.parametrize("is_recall", [False, True])
def test_a_worker_killed_after_the_last_dot(
    due_notice: Notice, smtp_sink: SmtpSink, worker: int, is_recall: bool
) -> None:
    notice = as_recall(due_notice) if is_recall else due_notice
    smtp_sink.hang(seconds=30)
    sending.wake(MORNING)
    smtp_sink.wait_for(1)  # the server has it, the worker waits for its word
    kill(worker)
    notice.refresh_from_db()
    assert notice.state == State.SENDING and notice.handed_over_at is not None
    smtp_sink.accept()
    assert sending.sweep(now=MORNING + MINUTE) == 0  # the lease still runs
    after = MORNING + claiming.LEASE
    sending.sweep(now=after)
    sending.sweep(now=after + MINUTE)
    sending.sweep(now=after + timedelta(hours=1))
    notice.refresh_from_db()
    if is_recall:
        assert notice.state == State.IN_DOUBT and len(smtp_sink.messages) == 1
    else:
        assert notice.state == State.SENT
        first, second = smtp_sink.messages
        assert first.content == second.content


def test_a_worker_killed_before_the_last_dot_loses_and_doubles_nothing(
    due_notice: Notice, smtp_sink: SmtpSink, worker: int
) -> None:
    recall = as_recall(due_notice)
    smtp_sink.hang(seconds=30, phase="rcpt")
    sending.wake(MORNING)
    wait_until(lambda: Notice.objects.get().state == State.SENDING)
    kill(worker)
    smtp_sink.accept()
    recall.refresh_from_db()
    assert recall.handed_over_at is None
    after = MORNING + claiming.LEASE
    assert sending.sweep(now=after) == 1
    assert sending.sweep(now=after + MINUTE) == 0
    assert len(smtp_sink.messages) == 1
