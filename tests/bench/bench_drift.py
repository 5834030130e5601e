"""The search for drift and its comparison with neighbours, as ratios within one run.

Run with: python -m tests.bench.bench_drift

500 lanes × 156 weeks, held against a plain loop that runs one CUSUM over the same weeks
(what a chart without dates, intervals or adjustment costs), and against twice the
weeks. Processor time, since the machine may be shared.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from quality.calc.cusum import cusum
from quality.calc.drift_chart import drift_chart
from quality.calc.drift_search import find_episodes
from quality.calc.false_alarms import simulate_weeks
from quality.calc.week_series import WeekSeries

LANES = 500
MONDAY = np.datetime64("2030-01-07")


def lanes_of(n: int, rng: np.random.Generator) -> list[WeekSeries]:
    """Lanes of ``n`` weeks, one in four with a step of 3 %."""
    values = simulate_weeks(phi=0.3, n_weeks=n, n_runs=LANES, rng=rng)
    values[: LANES // 4, n // 2 :] += 3.0
    return [
        WeekSeries(MONDAY + 7 * np.arange(n), 4900.0 * (1 + row / 100), np.full(n, 300))
        for row in values
    ]


def main() -> None:
    rng = np.random.default_rng(1)
    lanes, longer = lanes_of(156, rng), lanes_of(312, rng)
    plain = _median(
        lambda: [
            cusum(lane.mean_kg / 39.2, target=125.0, k=1.0, h=5.0) for lane in lanes
        ]
    )
    for name, call in [
        ("chart alone", lambda: [drift_chart(np.log(one.mean_kg)) for one in lanes]),
        ("search", lambda: [find_episodes(one) for one in lanes]),
        ("search, no season", lambda: [find_episodes(o, adjust=False) for o in lanes]),
        ("search, twice the weeks", lambda: [find_episodes(one) for one in longer]),
    ]:
        taken = _median(call)
        sys.stdout.write(
            f"{name}, {LANES} lanes: {taken / plain:.1f} × one plain CUSUM "
            f"({taken:.2f} s / {plain:.2f} s)\n"
        )


def _median(call: Callable[[], Any], rounds: int = 3) -> float:
    times = []
    for _ in range(rounds):
        begun = time.process_time()
        call()
        times.append(time.process_time() - begun)
    return statistics.median(times)


if __name__ == "__main__":
    main()
