"""Style, types, imports and migrations, each by its own tool, so that one command tells everything."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
BIN = Path(sys.executable).parent


def _run(*command: str) -> None:
    environment = {**os.environ, "NO_COLOR": "1", "COLUMNS": "120"}
    environment["DATABASE_URL"] = "sqlite://:memory:"
    done = subprocess.run(
        command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    if done.returncode:
        pytest.fail(f"{' '.join(command[:2])} says:\n{done.stdout}", pytrace=False)


def test_style() -> None:
    _run(str(BIN / "ruff"), "check", ".")


def test_layout() -> None:
    _run(str(BIN / "ruff"), "format", "--check", ".")


def test_types() -> None:
    _run(str(BIN / "mypy"))


def test_import_contract() -> None:
    _run(str(BIN / "lint-imports"))


def test_migrations_are_complete() -> None:
    _run(sys.executable, "manage.py", "makemigrations", "--check", "--dry-run", "--settings=config.settings.test")


def test_django_finds_nothing_to_warn_about() -> None:
    _run(sys.executable, "manage.py", "check", "--settings=config.settings.test")
