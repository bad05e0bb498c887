"""The bench of the outbox in small: both sides deliver the same messages, so its ratio means something."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.mark.engine
def test_both_sides_of_the_bench_deliver_the_same() -> None:
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.test",
        "RIMEBOOK_BENCH_NOTICES": "120",
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, str(ROOT / "manage.py"), "bench", "outbox", "--json"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr[-2000:]
    [told] = json.loads(done.stdout)["benches"]
    assert told["rounds"] == 3 and told["ratio"] > 0
