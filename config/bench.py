"""Times our computations beside plain ones in one run and tells the ratio; absolute times belong to one machine."""

from __future__ import annotations

import os
import platform
import resource
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import Any

from config.bench_pair import AnswersDiffer, Pair
from config.benches import BENCHES

ROUNDS = 7
# Short work is repeated within a round until it lasts this long, or the clock itself would be measured.
LEAST_SECONDS = 0.02


@dataclass(frozen=True)
class Result:
    """One bench: median seconds of each side, how many times faster ours is, round by round, and peak memory.

    Memory is what each side allocates over what it was given, in millions of bytes, as tracemalloc sees it; of the
    share of the work the plain way does. `process_peak_mb` is the most the whole process ever held.
    """

    name: str
    what: str
    plain_way: str
    ours_seconds: float
    plain_seconds: float
    ratio: float
    lowest_ratio: float
    highest_ratio: float
    ours_peak_mb: float
    plain_peak_mb: float
    process_peak_mb: float
    rounds: int


def measure(name: str, rounds: int = ROUNDS) -> Result:
    """Run one bench. Raises AnswersDiffer, and KeyError for a name there is not."""
    pair = BENCHES[name]()
    try:
        return _measured(name, pair, pair.rounds or rounds)
    finally:
        pair.close()


def _measured(name: str, pair: Pair, rounds: int) -> Result:
    if _prepared(pair.before_ours, pair.ours) != _prepared(pair.before_plain, pair.plain):
        raise AnswersDiffer(f"{name}: ours and “{pair.plain_way}” give different answers")
    ours_times, plain_times = _side_by_side(pair, rounds)
    plain_times = [seconds / pair.plain_share for seconds in plain_times]
    ratios = [plain / ours for ours, plain in zip(ours_times, plain_times, strict=True)]
    return Result(
        name=name,
        what=pair.what,
        plain_way=pair.plain_way,
        ours_seconds=median(ours_times),
        plain_seconds=median(plain_times),
        ratio=median(ratios),
        lowest_ratio=min(ratios),
        highest_ratio=max(ratios),
        ours_peak_mb=0.0 if pair.rounds else _peak_mb(pair.ours),
        plain_peak_mb=0.0 if pair.rounds else _peak_mb(pair.plain),
        process_peak_mb=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6,
        rounds=rounds,
    )


def _prepared(before: Callable[[], None], work: Callable[[], Any]) -> Any:
    before()
    return work()


def _peak_mb(work: Callable[[], Any]) -> float:
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1] / 1e6
    finally:
        tracemalloc.stop()


def _side_by_side(pair: Pair, rounds: int) -> tuple[list[float], list[float]]:
    """Seconds per call of both sides, turn by turn, so that whatever else the machine does hits both."""
    ours_count, plain_count = (1, 1) if pair.rounds else (_enough(pair.ours), _enough(pair.plain))
    ours_times, plain_times = [], []
    for _ in range(rounds):
        pair.before_ours()
        ours_times.append(_timed(pair.ours, ours_count))
        pair.before_plain()
        plain_times.append(_timed(pair.plain, plain_count))
    return ours_times, plain_times


def _enough(work: Callable[[], Any]) -> int:
    return max(1, round(LEAST_SECONDS / max(_timed(work, 1), 1e-9)))


def _timed(work: Callable[[], Any], count: int) -> float:
    begin = time.perf_counter()
    for _ in range(count):
        work()
    return (time.perf_counter() - begin) / count


def machine() -> dict[str, Any]:
    """What the times depend on."""
    lines = Path("/proc/cpuinfo").read_text().splitlines() if Path("/proc/cpuinfo").is_file() else []
    model = next((line.partition(":")[2].strip() for line in lines if line.startswith("model name")), "")
    return {
        "processor": model or platform.processor() or platform.machine(),
        "cores": os.cpu_count(),
        "load_before": round(os.getloadavg()[0], 2),
        "python": platform.python_version(),
        "system": platform.platform(terse=True),
    }


def as_document(facts: dict[str, Any], results: list[Result]) -> dict[str, Any]:
    """What `--json` prints."""
    return {"machine": facts, "benches": [asdict(result) for result in results]}
