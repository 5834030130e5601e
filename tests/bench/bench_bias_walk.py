"""Fit and forecast of the bias walk, as ratios within one run.

Run with: python -m tests.bench.bench_bias_walk

500 lanes × 12 sessions, held against a plain loop that runs one scalar Kalman filter
over the same readings once, for one value of the wander and known effects.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from calibration.calc.bias_forecast import forecast_bias
from calibration.calc.bias_walk import fit_bias_walk
from tests.calibration.calc.bias_population import Population, simulate


def main() -> None:
    rng = np.random.default_rng(1)
    lanes, today, _ = simulate(rng, Population(), 500, 12)
    walk = fit_bias_walk(lanes, technology="quartz piezo")

    def plain() -> float:
        total = 0.0
        for lane in lanes:
            mean, variance, before = 0.0, 100.0, None
            for one in lane.sessions:
                years = (one.held_on - before).days / 365.25 if before else 0.0
                before = one.held_on
                variance += 4.0 * years
                for value in (one.found_pct, one.left_pct):
                    if value is one.left_pct:
                        mean, variance = 0.0, 100.0
                    whole = variance + one.found_se_pct**2 + 0.25
                    total -= 0.5 * (np.log(whole) + (value - mean) ** 2 / whole)
                    gain = variance / whole
                    mean += gain * (value - mean)
                    variance *= 1.0 - gain
        return total

    base = _median(plain)
    for name, call in [
        ("fit", lambda: fit_bias_walk(lanes, technology="quartz piezo")),
        ("forecast", lambda: forecast_bias(walk, today, tolerance_pct=5.0)),
    ]:
        taken = _median(call)
        sys.stdout.write(
            f"{name}, 500 lanes × 12 sessions: {taken / base:.2f} × one plain pass "
            f"({taken:.3f} s / {base:.3f} s)\n"
        )


def _median(call: Callable[[], Any], rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        call()
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


if __name__ == "__main__":
    main()
