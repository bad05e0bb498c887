"""What every test stands on. Fixtures live in tests/parts; the network is off, chance is seeded."""

from __future__ import annotations

import os

import pytest
from django.db import connections
from hypothesis import HealthCheck, settings

pytest_plugins = [
    "tests.parts.network",
    "tests.parts.smtp_sink",
    "tests.parts.workers",
    "tests.parts.browsers",
    "tests.parts.worlds",
    "tests.parts.notices",
]

# By number: the browser's resolver knows no names at all.
os.environ.setdefault("DJANGO_LIVE_TEST_SERVER_ADDRESS", "127.0.0.1")

# Derandomised: a run tells about the code and not about luck. Fresh examples come with RIMEBOOK_EXAMPLES.
settings.register_profile(
    "rimebook",
    derandomize=True,
    deadline=None,
    max_examples=int(os.environ.get("RIMEBOOK_EXAMPLES", "60")),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("rimebook")

# Fixtures that bring a database; a test that asks for none of them has nothing to tell about the engine.
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_reset_sequences", "django_db_serialized_rollback"}


def needs_database(item: pytest.Item) -> bool:
    """Tell whether a test says something about the database engine: by its mark, or by a fixture that brings one.

    How far a page is within everybody's reach does not depend on the engine, and browsers take their time.
    """
    if "axe" in getattr(item, "fixturenames", ()):
        return False
    marked = item.get_closest_marker("django_db") or item.get_closest_marker("engine")
    return marked is not None or bool(DATABASE_FIXTURES.intersection(getattr(item, "fixturenames", ())))


def pytest_configure(config: pytest.Config) -> None:
    """Marks of our own."""
    config.addinivalue_line("markers", "engine: tells something about the database engine without pytest-django's help")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """With RIMEBOOK_TESTS=database keep the tests that tell something about the database engine."""
    if os.environ.get("RIMEBOOK_TESTS") != "database":
        return
    kept = [item for item in items if needs_database(item)]
    config.hook.pytest_deselected(items=[item for item in items if item not in kept])
    items[:] = kept


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A file for SQLite: workers and the live server are other processes and threads, and must see it too."""
    facts = connections["default"].settings_dict
    if facts["ENGINE"].endswith("sqlite3"):
        facts["TEST"]["NAME"] = str(tmp_path_factory.mktemp("database") / "test.sqlite3")
