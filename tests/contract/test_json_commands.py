"""The slots and recall commands as a shell sees them: one JSON document on stdout, exit 0 or 2."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import asdict
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from tests.properties.recall_worlds import crowded

ROOT = Path(__file__).parents[2]
WINDOW = ("earliest", "ideal", "latest")
SLOTS: dict[str, Any] = {
    "opening": {"sat": ["08:00", "12:00"], "sun": ["01:00", "04:00"], "mon": None},
    "closures": [],
    "bays": 2,
    "busy": [
        {"bay": 1, "start": "2026-10-24T09:00", "end": "2026-10-24T10:20:00"},
        {"bay": 2, "start": "2026-10-24T06:00:00Z", "end": "2026-10-24T10:00:00+02:00"},
    ],
    "minutes": 60,
    "from": "2026-10-24",
    "days": 3,
    "time_zone": "Europe/Berlin",
}
RECALL: dict[str, Any] = {
    "days": [{"date": "2026-10-01", "capacity": 1}, {"date": "2026-10-02", "capacity": 1}],
    "bikes": [
        {"id": "b", "earliest": "2026-09-01", "ideal": "2026-10-01", "latest": "2026-11-01"},
        {"id": "a", "earliest": "2026-09-01", "ideal": "2026-10-01", "latest": "2026-11-01"},
    ],
    "salt_from": None,
}


def shell(command: str, document: bytes, source: str = "-") -> tuple[int, Any]:
    """Exit status and the one document printed by a process of its own."""
    done = subprocess.run(
        [sys.executable, "manage.py", command, source], input=document, capture_output=True, cwd=ROOT, timeout=60
    )
    assert b"Traceback" not in done.stderr, done.stderr.decode()
    return done.returncode, json.loads(done.stdout)


def ask(command: str, document: Any, folder: Path) -> tuple[int, Any]:
    """The same without a process of its own, for the many small cases."""
    path = folder / "document.json"
    path.write_text(json.dumps(document))
    printed = StringIO()
    try:
        call_command(command, str(path), stdout=printed)
    except SystemExit as left:
        return int(str(left.code)), json.loads(printed.getvalue())
    return 0, json.loads(printed.getvalue())


def put(document: Any, path: str, value: Any) -> Any:
    """A copy of the document with one value changed; `path` is dotted, numbers are places in lists."""
    copy = json.loads(json.dumps(document))
    *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    spot = copy
    for part in way:
        spot = spot[part]
    spot[last] = value
    return copy


def test_slots_from_standard_input_in_the_shops_time() -> None:
    status, answer = shell("slots", json.dumps(SLOTS).encode())
    assert status == 0
    starts = [(slot["bay"], slot["start"]) for slot in answer["slots"]]
    assert starts[:3] == [
        (1, "2026-10-24T08:00:00+02:00"),
        (2, "2026-10-24T10:00:00+02:00"),
        (2, "2026-10-24T10:15:00+02:00"),
    ]
    assert starts[3:5] == [(1, "2026-10-24T10:30:00+02:00"), (2, "2026-10-24T10:30:00+02:00")]
    # The clock goes back at 03:00 summer time on 25 October 2026: 01:00 to 04:00 are four hours, 13 starts per bay.
    night = [slot for slot in answer["slots"] if slot["start"].startswith("2026-10-25")]
    assert len(night) == 26
    assert night[-1] == {"bay": 2, "start": "2026-10-25T03:00:00+01:00", "end": "2026-10-25T04:00:00+01:00"}
    for slot in answer["slots"]:
        assert datetime.fromisoformat(slot["end"]) - datetime.fromisoformat(slot["start"]) == timedelta(minutes=60)


def test_recall_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "season.json"
    path.write_text(json.dumps(RECALL))
    assert shell("recall", b"", str(path)) == (
        0,
        {
            "invites": [{"id": "b", "date": "2026-10-02"}, {"id": "a", "date": "2026-10-01"}],
            "total_loss": 3,
            "optimal": True,
            "weights": {"early": 1, "late": 3, "past_latest": 6, "salted": 10, "uninvited": 2000},
        },
    )


def test_what_the_solver_prints_itself_stays_out_of_the_answer() -> None:
    """HiGHS as carried by SciPy 1.17 writes a line to the process's standard output on this very question."""
    days, bikes, salt_from, weights = crowded(1480, (1, 2, 3))
    question = {
        "days": [{"date": str(day.day), "capacity": day.capacity} for day in days],
        "bikes": [{**asdict(bike), **{day: str(getattr(bike, day)) for day in WINDOW}} for bike in bikes],
        "salt_from": str(salt_from) if salt_from else None,
        "weights": asdict(weights),
    }
    status, answer = shell("recall", json.dumps(question).encode())
    assert (status, len(answer["invites"])) == (0, len(bikes))


@pytest.mark.parametrize("command", ["slots", "recall"])
@pytest.mark.parametrize("document", [b"", b"[", b"\xff\xfe", b'{"a": NaN}', b"[" * 100_000])
def test_what_is_no_json_is_told_so(command: str, document: bytes, tmp_path: Path) -> None:
    path = tmp_path / "document.json"
    path.write_bytes(document)
    printed = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command(command, str(path), stdout=printed)
    assert left.value.code == 2
    assert [error["field"] for error in json.loads(printed.getvalue())["errors"]] == ["document"]


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("opening", [], "opening"),
        ("opening.mon", "08:00", "opening.mon"),
        ("opening.mon", ["08:00", "8:00 pm"], "opening.mon[1]"),
        ("opening.mon", ["08:00", "08:00"], "opening.mon"),
        ("opening.mon", ["٠٨:٠٠", "18:00"], "opening.mon[0]"),
        ("opening.Monday", ["08:00", "18:00"], "opening.Monday"),
        ("closures", ["2026-02-29"], "closures[0]"),
        ("closures", "2026-12-25", "closures"),
        ("bays", 0, "bays"),
        ("bays", True, "bays"),
        ("bays", 10**400, "bays"),
        ("busy.1.bay", 3, "busy[1].bay"),
        ("busy.1.start", "2026-10-24", "busy[1].start"),
        ("busy.1.end", "2026-10-24T06:00:00Z", "busy[1].end"),
        ("busy.1.end", "9999-12-31T23:59-14:00", "busy[1].end"),
        ("busy.1", None, "busy[1]"),
        ("minutes", 0, "minutes"),
        ("minutes", "60", "minutes"),
        ("minutes", 1e308, "minutes"),
        ("from", "24.10.2026", "from"),
        ("from", "9999-12-31", "from"),
        ("days", 10**6, "days"),
        ("time_zone", "Mars/Base", "time_zone"),
        ("time_zone", "Europe", "time_zone"),
        ("time_zone", "../../etc/passwd", "time_zone"),
        ("time_zone", None, "time_zone"),
        ("extra\ud800", 1, "extra\ud800"),
    ],
)
def test_faults_of_slots_are_told_at_the_field(path: str, value: Any, field: str, tmp_path: Path) -> None:
    status, answer = ask("slots", put(SLOTS, path, value), tmp_path)
    assert status == 2
    assert [error["field"] for error in answer["errors"]] == [field]
    assert all(error["message"] for error in answer["errors"])


@pytest.mark.parametrize(
    ("path", "value", "field"),
    [
        ("days", {}, "days"),
        ("days.1.date", "2026-10-01", "days[1].date"),
        ("days.0.capacity", -1, "days[0].capacity"),
        ("days.0.capacity", 0.5, "days[0].capacity"),
        ("bikes.0", "b", "bikes[0]"),
        ("bikes.1.id", "b", "bikes[1].id"),
        ("bikes.0.id", "", "bikes[0].id"),
        ("bikes.0.id", None, "bikes[0].id"),
        ("bikes.0.ideal", "2026-08-31", "bikes[0].ideal"),
        ("bikes.0.latest", "2026-09-30", "bikes[0].latest"),
        ("bikes.0.earliest", 20260901, "bikes[0].earliest"),
        ("bikes.0.minutes", 0, "bikes[0].minutes"),
        ("bikes.0.minute", 60, "bikes[0].minute"),
        ("salt_from", "soon", "salt_from"),
        ("weights", [1], "weights"),
        ("weights", {"lateness": 1}, "weights.lateness"),
        ("weights", {"late": -1}, "weights.late"),
        ("weights", {"late": 1e300}, "weights.late"),
        ("weights", {"late": False}, "weights.late"),
        ("weights", {"late": 0.0000001}, "weights.late"),
    ],
)
def test_faults_of_recall_are_told_at_the_field(path: str, value: Any, field: str, tmp_path: Path) -> None:
    status, answer = ask("recall", put(RECALL, path, value), tmp_path)
    assert status == 2
    assert [error["field"] for error in answer["errors"]] == [field]
    assert all(error["message"] for error in answer["errors"])


@pytest.mark.parametrize(("command", "document"), [("slots", SLOTS), ("recall", RECALL)])
def test_every_missing_field_is_told_at_once(command: str, document: Any, tmp_path: Path) -> None:
    required = set(document) - {"closures", "busy"}
    status, answer = ask(command, {}, tmp_path)
    assert status == 2
    assert {error["field"] for error in answer["errors"]} == required


def test_odd_names_survive_the_way_through(tmp_path: Path) -> None:
    for name in ("Ünï", "\ud800", "x" * 200, 7):
        status, answer = ask("recall", put(RECALL, "bikes.0.id", name), tmp_path)
        assert (status, answer["invites"][0]["id"]) == (0, name)


def test_given_weights_replace_only_themselves(tmp_path: Path) -> None:
    _, answer = ask("recall", {**RECALL, "weights": {"late": 0.5}}, tmp_path)
    assert answer["total_loss"] == 0.5
    assert answer["weights"] == {"early": 1, "late": 0.5, "past_latest": 6, "salted": 10, "uninvited": 2000}


def test_closing_at_midnight_and_closed_days(tmp_path: Path) -> None:
    opening = {"sat": ["23:00", "24:00"], "sun": ["00:00", "01:00"]}
    _, answer = ask("slots", {**SLOTS, "opening": opening, "busy": [], "bays": 1, "closures": ["2026-10-25"]}, tmp_path)
    assert [slot["start"] for slot in answer["slots"]] == ["2026-10-24T23:00:00+02:00"]
