"""The forecast and corrosivity commands as a shell sees them: one JSON document on stdout, exit 0 or 2."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from reminders.protection.normals import COLUMNS
from tests.parts.climates import AIR, MARITIME

ROOT = Path(__file__).parents[2]
ASKED: dict[str, Any] = {
    "climate": {"station": "Harbour"},
    "road_salt": "normal",
    "so2_deposition_mg_m2_day": 5,
    "chloride_deposition_mg_m2_day": 3,
    "storage": "outside",
    "riding_months": list(range(1, 13)),
    "km_per_year": 12000,
    "washes_per_year": 24,
    "coats": [{"zone": "frame", "coat": "heavy_film", "applied_on": "2024-11-01"}],
    "as_of": "2024-11-01",
}


def run(command: str, document: bytes, **environment: str) -> tuple[int, Any]:
    """Exit status and the one document printed."""
    done = subprocess.run(
        [sys.executable, "manage.py", command, "-"],
        input=document,
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, **environment},
        timeout=60,
        check=False,
    )
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return done.returncode, json.loads(done.stdout)


def test_corrosivity() -> None:
    status, answer = run("corrosivity", json.dumps(AIR).encode())
    assert status == 0
    assert answer["zinc"]["um_per_year"] == pytest.approx(0.6217112857992437, rel=1e-12)


def test_forecast_of_a_station_in_the_shops_files(tmp_path: Path) -> None:
    columns = (MARITIME.temperature_c, MARITIME.relative_humidity_percent, MARITIME.minimum_temperature_c)
    rows = [f"Harbour,{month + 1},{','.join(str(column[month]) for column in columns)},\n" for month in range(12)]
    (tmp_path / "normals.csv").write_text(",".join(COLUMNS) + "\n" + "".join(rows), encoding="utf-8")
    status, answer = run("forecast", json.dumps(ASKED).encode(), RIMEBOOK_STATIONS=str(tmp_path))
    assert status == 0
    assert answer["coats"][0]["due_likely"].startswith("2025-0")
    (tmp_path / "normals.csv").write_bytes(b"\xff\xfe\x00")
    status, answer = run("forecast", json.dumps(ASKED).encode(), RIMEBOOK_STATIONS=str(tmp_path))
    assert status == 2
    assert [error["field"] for error in answer["errors"]] == ["climate.station"]


@pytest.mark.parametrize(
    ("command", "document", "field"),
    [
        ("corrosivity", b"{", "document"),
        ("corrosivity", b"\xff", "document"),
        ("corrosivity", b'{"temperature_c": NaN}', "document"),
        ("corrosivity", b'{"\\ud800": 1}', "temperature_c"),
        ("forecast", json.dumps(ASKED).encode(), "climate.station"),
        ("forecast", b"[]", "document"),
    ],
)
def test_bad_input_ends_with_two(command: str, document: bytes, field: str) -> None:
    status, answer = run(command, document, RIMEBOOK_STATIONS="")
    assert status == 2
    assert field in [error["field"] for error in answer["errors"]]
