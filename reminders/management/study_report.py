"""What a study of the forecast's learning found, as a table, a document and a plot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, PercentFormatter
from rich.table import Table

from reminders.protection.study import BAND_TARGET, VISITS, Outcome

MARKS = "os^Dv"


@dataclass(frozen=True)
class Summary:
    """All runs of one truth and number of graded zones; (mean, lowest, highest) by visit."""

    truth: str
    zones_graded: int
    runs: int
    inside: tuple[tuple[float, float, float], ...]
    error_ratio: tuple[tuple[float, float, float], ...]
    runs_holding_the_band: int
    runs_halving_the_error: int


def summaries(outcomes: Sequence[Outcome]) -> list[Summary]:
    """In the order the runs came, those of one truth and number of zones together."""
    found = []
    for (truth, zones), members in groupby(outcomes, key=lambda run: (run.truth.name, run.zones_graded)):
        runs = list(members)
        found.append(
            Summary(
                truth,
                zones,
                len(runs),
                _by_visit([run.inside for run in runs]),
                _by_visit([run.error_ratios for run in runs]),
                sum(run.holds_the_band for run in runs),
                sum(run.halves_the_error for run in runs),
            )
        )
    return found


def _by_visit(rows: Sequence[Sequence[float]]) -> tuple[tuple[float, float, float], ...]:
    table = np.array(rows)
    columns = (table.mean(axis=0), table.min(axis=0), table.max(axis=0))
    return tuple((float(mean), float(low), float(high)) for mean, low, high in zip(*columns, strict=True))


def document(found: Sequence[Summary], bikes: int) -> dict[str, Any]:
    """What `--json` prints."""
    return {
        "bikes": bikes,
        "visits": VISITS,
        "targets": {
            "inside_the_band_from_second_visit": list(BAND_TARGET),
            "error_ratio_from_third_visit_at_most": 0.5,
        },
        "studies": [
            {
                "truth": row.truth,
                "zones_graded": row.zones_graded,
                "runs": row.runs,
                "inside_the_band": [dict(zip(("mean", "lowest", "highest"), each, strict=True)) for each in row.inside],
                "error_ratio": [
                    dict(zip(("mean", "lowest", "highest"), each, strict=True)) for each in row.error_ratio
                ],
                "runs_holding_the_band": row.runs_holding_the_band,
                "runs_halving_the_error": row.runs_halving_the_error,
            }
            for row in found
        ],
    }


def table(found: Sequence[Summary]) -> Table:
    """For people: the mean over the runs, and their range."""
    low, high = BAND_TARGET
    drawn = Table(
        title="Share of true due days inside the band, and median error over that without feedback: mean (range)",
        caption=f"Wanted: inside {low:.2f}–{high:.2f} from visit 2 on, error at most 0.5 from visit 3 on.",
    )
    for heading in (
        "Hidden truth",
        "Zones",
        "",
        *(f"Visit {visit}" for visit in range(1, VISITS + 1)),
        "Runs that meet",
    ):
        drawn.add_column(heading)
    for row in found:
        band, halved = (f"{met} of {row.runs}" for met in (row.runs_holding_the_band, row.runs_halving_the_error))
        drawn.add_row(row.truth, str(row.zones_graded), "inside", *map(_range, row.inside), band)
        drawn.add_row("", "", "error", *map(_range, row.error_ratio), halved, end_section=True)
    return drawn


def _range(values: tuple[float, float, float]) -> str:
    return "{:.2f} ({:.2f}–{:.2f})".format(*values)


def draw(found: Sequence[Summary], path: Path) -> None:
    """Both figures by visit, written as the suffix of `path` says. Raises OSError, and ValueError for a suffix."""
    figure = Figure(figsize=(11, 5), layout="constrained")
    left, right = figure.subplots(1, 2, sharex=True)
    marks = dict(zip(dict.fromkeys(row.truth for row in found), MARKS, strict=False))
    visits = np.arange(1, VISITS + 1)
    for index, (truth, mark) in enumerate(marks.items()):
        for row in (row for row in found if row.truth == truth):
            style = {"marker": mark, "color": f"C{index}", "linestyle": "--" if row.zones_graded == 1 else "-"}
            zones = "1 zone graded" if row.zones_graded == 1 else f"{row.zones_graded} zones graded"
            left.plot(visits, [mean for mean, *_ in row.inside], label=f"{truth}, {zones}", **style)
            right.plot(visits, [mean for mean, *_ in row.error_ratio], **style)
    left.axhspan(*BAND_TARGET, color="0.9", zorder=0)
    left.set(title="True due days inside the 60 % band", xlabel="Visit", ylim=(0, 1))
    left.yaxis.set_major_formatter(PercentFormatter(1.0))
    right.axhline(0.5, color="0.6", linewidth=1)
    right.set(title="Median error over that without feedback", xlabel="Visit", ylim=(0, None))
    left.xaxis.set_major_locator(MaxNLocator(integer=True))
    figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize="small")
    figure.savefig(path)
