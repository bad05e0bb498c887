"""The bench command measures what it says: both sides agree on the answer, and one JSON document comes out."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from config import bench, benches
from config.bench_pair import AnswersDiffer, Pair

# The outbox brings an installation and a database of its own: faults/test_bench_outbox.py runs it, on both engines.
HERE = sorted(benches.BENCHES.keys() - {"outbox"})


@pytest.mark.parametrize("name", HERE)
def test_both_sides_give_the_same_answer(name: str) -> None:
    result = bench.measure(name, rounds=1)
    assert result.ours_seconds > 0 and result.plain_seconds > 0
    assert result.lowest_ratio <= result.ratio <= result.highest_ratio


def test_different_answers_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(benches.BENCHES, "slots", lambda: Pair("a", "b", lambda: 1, lambda: 2))
    with pytest.raises(AnswersDiffer):
        bench.measure("slots")


def test_a_ratio_is_plain_time_over_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow() -> int:
        return sum(range(400_000)) * 0

    def slower() -> int:
        return slow() + slow() + slow() + slow()

    monkeypatch.setitem(benches.BENCHES, "slots", lambda: Pair("a", "b", slow, slower))
    assert 2 < bench.measure("slots").ratio < 8


def test_a_share_of_the_plain_work_is_scaled_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def work() -> int:
        return sum(range(400_000))

    monkeypatch.setitem(benches.BENCHES, "slots", lambda: Pair("a", "b", work, work, plain_share=0.01))
    assert 50 < bench.measure("slots").ratio < 200


def test_one_json_document() -> None:
    out = StringIO()
    call_command("bench", "slots", "--json", stdout=out)
    document = json.loads(out.getvalue())
    assert document["benches"][0]["name"] == "slots"
    assert document["machine"]["cores"] >= 1


def test_a_bench_there_is_not() -> None:
    with pytest.raises(CommandError):
        call_command("bench", "nothing")
