"""A real broker and real workers on the test's own database."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from kombu import pools

from config.celery import app
from config.embedded import broker_url as start_broker
from config.embedded import worker_part
from config.study.installation import database_url
from config.supervision import Supervisor
from tests.parts.smtp_sink import SmtpSink

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(scope="session")
def broker_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """URL of a Redis-protocol broker: the one in REDIS_URL, else the embedded one."""
    directory = tmp_path_factory.mktemp("broker")
    with Supervisor(directory / "log") as supervisor:
        yield start_broker(supervisor, directory / "data")


def use_broker(url: str) -> None:
    """Let tasks of this process go to the broker at `url` from now on."""
    app.conf.broker_url = url
    # kombu keeps pools by address for the process; one that was closed would refuse the next test of this broker.
    pools.reset()
    app._pool = None
    app.amqp._producer_pool = None


@pytest.fixture
def broker(broker_url: str) -> Iterator[str]:
    """An empty broker that tasks of this process go to."""
    before = app.conf.broker_url
    use_broker(broker_url)
    _empty(broker_url)
    yield broker_url
    _empty(broker_url)
    use_broker(before)


def _empty(url: str) -> None:
    with app.connection_for_write(url=url) as connected:
        connected.default_channel.client.flushdb()


@pytest.fixture
def process_environment(broker: str, smtp_sink: SmtpSink, transactional_db: None) -> dict[str, str]:
    """What a process of its own needs to work on this test's database, broker and SMTP sink."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.test",
        "PYTHONPATH": str(ROOT),
        "DATABASE_URL": database_url(),
        "REDIS_URL": broker,
        "EMAIL_HOST": smtp_sink.host,
        "EMAIL_PORT": str(smtp_sink.port),
        "EMAIL_TIMEOUT": "5",
        "EMAIL_BACKEND": "reminders.mailer.PhasedSmtpBackend",
    }


StartWorker = Callable[..., int]


@pytest.fixture
def start_worker(process_environment: dict[str, str], tmp_path: Path) -> Iterator[StartWorker]:
    """``start_worker(name)`` starts another Celery worker and gives its process group; all stop with the test."""
    with Supervisor(tmp_path / "log") as supervisor:

        def start(name: str = "worker", processes: int = 2) -> int:
            supervisor.start(worker_part(process_environment, name, processes))
            return supervisor.process_of(name).pid

        yield start


@pytest.fixture
def worker(start_worker: StartWorker) -> int:
    """One running Celery worker; the value is its process group, for tests that kill it."""
    return start_worker()
