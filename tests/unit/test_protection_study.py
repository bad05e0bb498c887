"""The forecast gets better with each visit: 2,000 invented bikes, four visits, rates hidden from it.

A seeded slice of what `manage.py study` runs; the module under test tells what was chosen and why.
"""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from reminders.protection.study import TRUTHS, Outcome, studies, study

AS_THE_TABLE, NARROWER, WIDER, SHORTER, LONGER = TRUTHS


def fleet(truth: int, zones: int = 3, seed: int = 1, bikes: int = 2000) -> Outcome:
    return study(TRUTHS[truth], zones, seed, np.random.default_rng(seed), bikes)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_band_holds_what_it_says_and_the_error_halves(seed: int) -> None:
    outcome = fleet(0, seed=seed)
    assert all(0.55 <= share <= 0.65 for share in outcome.inside[1:]), outcome
    assert outcome.error_days[2] <= 0.5 * outcome.untaught_error_days[2], outcome
    assert outcome.error_days[3] <= 0.5 * outcome.untaught_error_days[3], outcome


def test_the_first_forecast_is_the_untaught_one() -> None:
    outcome = fleet(0, bikes=200)
    assert outcome.error_days[0] == outcome.untaught_error_days[0]
    assert len(outcome.inside) == 4


@pytest.mark.parametrize("truth", [TRUTHS.index(SHORTER), TRUTHS.index(LONGER)])
def test_a_wrong_life_in_the_table_is_learnt_away(truth: int) -> None:
    outcome = fleet(truth)
    assert outcome.holds_the_band and outcome.halves_the_error, outcome


def test_the_band_does_not_learn_its_own_width() -> None:
    """A known limit: where bikes scatter less or more than the table says, the band is too wide or too narrow."""
    assert min(fleet(TRUTHS.index(NARROWER)).inside[1:]) > 0.65
    assert max(fleet(TRUTHS.index(WIDER)).inside[1:]) < 0.55


def test_equal_seeds_give_equal_outcomes() -> None:
    assert list(studies([4], bikes=40)) == list(studies([4], bikes=40))


def test_the_command_prints_one_document_and_draws(tmp_path: Path) -> None:
    out = StringIO()
    call_command("study", "--seeds=1", "--bikes=30", "--json", f"--plot={tmp_path / 'learning.svg'}", stdout=out)
    told = json.loads(out.getvalue())
    assert len(told["studies"]) == 2 * len(TRUTHS)
    assert [len(row["inside_the_band"]) for row in told["studies"]] == [4] * len(told["studies"])
    assert b"<svg" in (tmp_path / "learning.svg").read_bytes()


def test_the_command_prints_a_table(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("study", "--seeds=1", "--bikes=30")
    assert AS_THE_TABLE.name in capsys.readouterr().out


@pytest.mark.parametrize("wrong", ["--seeds=0", "--bikes=0", "--plot=learning.txt", "--plot=no/such/place.png"])
def test_the_command_says_what_it_cannot_do(wrong: str) -> None:
    with pytest.raises(CommandError, match=r"--seeds|--plot|cannot be written"):
        call_command("study", "--seeds=1", "--bikes=5", wrong)
