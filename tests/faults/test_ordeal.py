"""The short, seeded ordeal; `manage.py ordeal` plays the long one.

What must hold follows RFC 5321, 4.2.5 and 6.1 (after the final dot only the server's answer tells who has the
message) and 4.5.4.1 (a sender that was not told tries again).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
SHORT = {"notices": 40, "recalls": 6, "dead": 2, "kills": 6, "seed": 3, "haste": 30}


@pytest.mark.engine
def test_under_fire_all_arrives_and_nothing_twice_without_cause() -> None:
    words = [word for name, value in SHORT.items() for word in (f"--{name}", str(value))]
    command = [sys.executable, str(ROOT / "manage.py"), "ordeal", *words, "--interval", "1.5", "--json"]
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "config.settings.test", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=400)
    assert done.stdout, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert told["broken"] == [] and done.returncode == 0
    figures = told["figures"]
    assert figures["service notices"] == figures["service arrived"] == SHORT["notices"]
    assert figures["dead addresses told"] == SHORT["dead"]
    assert sum(count for name, count in figures.items() if name.startswith("kills of")) == SHORT["kills"]
