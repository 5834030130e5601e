"""Measure the drift charts: limits and false alarms, then detection of known faults.

Run by hand, a few minutes::

    python -m tests.bench.measure_drift limits > quality/calc/false_alarm_tables.py
    python -m tests.bench.measure_drift charts
    python -m tests.bench.measure_drift wrong
    python -m tests.bench.measure_drift faults

The first writes the tables of false alarms (then ``ruff format`` them), the others
print the tables of MEASURED_DRIFT.md.
"""

from __future__ import annotations

import sys

import numpy as np

from quality.calc.drift_chart import LIMIT
from quality.calc.drift_episode import Scope
from quality.calc.false_alarms import (
    DESIGN_PHI,
    TARGET_RATE,
    WEEKS_IN_YEAR,
    Chart,
    chart_limit,
    simulate_weeks,
    yearly_maxima,
)
from quality.calc.week_spread import pool_spreads
from tests.bench.drift_faults import FAULTS, run_fault, run_scopes

SEED = 20261125
PHIS = (0.0, 0.2, 0.3, 0.4, 0.6, 0.7)
FIXED_BASELINES = (0, 8, 10, 12, 16, 26, 52, 104)
CHANGE_WEEKS = (10, 26, 52, 104, 156, 260)
FIXED_RUNS = 4000
CHANGE_RUNS = 2000
LANES = 400
PROGRAMS = 200


def say(line: str) -> None:
    """One line of the table."""
    sys.stdout.write(line + "\n")


def maxima(chart: Chart, n_base: int, phi: float, n_runs: int) -> np.ndarray:
    """Yearly maxima of lanes on which nothing moved."""
    rng = np.random.default_rng([SEED, n_base, round(100 * phi)])
    n = (n_base or 8) + WEEKS_IN_YEAR
    values = simulate_weeks(phi=phi, n_weeks=n, n_runs=n_runs, rng=rng)
    return yearly_maxima(chart, values, n_baseline_weeks=n_base)


def write_limits() -> None:
    """Print quality/calc/false_alarm_tables.py."""
    say('"""Limits and false alarms of the drift charts: written, not edited.')
    say("")
    say("Rows are weeks (0: a reference that is known), columns the correlation of")
    say(f"neighbouring weeks. Simulated lanes a cell: {FIXED_RUNS:,} for the CUSUM")
    say(f"and the EWMA, {CHANGE_RUNS:,} for the change-point chart; seed {SEED};")
    say("written by tests/bench/measure_drift.py, explained in MEASURED_DRIFT.md.")
    say('"""')
    say("")
    say(f"PHIS = {PHIS}")
    say(f"FIXED_BASELINES = {FIXED_BASELINES}")
    say(f"CHANGE_WEEKS = {CHANGE_WEEKS}")
    for chart, name in ((Chart.CUSUM, "CUSUM"), (Chart.EWMA, "EWMA")):
        limits, rates = [], []
        for n_base in FIXED_BASELINES:
            design = maxima(chart, n_base, DESIGN_PHI, FIXED_RUNS)
            limit = round(float(np.quantile(design, 1.0 - TARGET_RATE)), 2)
            limits.append(limit)
            rates.append(
                tuple(
                    round(
                        float(np.mean(maxima(chart, n_base, phi, FIXED_RUNS) > limit)),
                        4,
                    )
                    for phi in PHIS
                )
            )
        say(f"{name}_LIMITS = {tuple(limits)}")
        _print_table(f"{name}_RATES", rates)
    _print_table(
        "CHANGE_RATES",
        [
            tuple(
                round(
                    float(
                        np.mean(maxima(Chart.CHANGE_POINT, n, phi, CHANGE_RUNS) > LIMIT)
                    ),
                    4,
                )
                for phi in PHIS
            )
            for n in CHANGE_WEEKS
        ],
    )


def _print_table(name: str, rows: list[tuple[float, ...]]) -> None:
    say(f"{name} = (")
    for row in rows:
        say(f"    {row},")
    say(")")


def print_charts() -> None:
    """Print how soon each chart finds a step after 20 weeks, by baseline and k."""
    ways: list[tuple[str, Chart, int, float]] = [
        ("CUSUM k 0.5", Chart.CUSUM, 10, 0.5),
        ("CUSUM k 1", Chart.CUSUM, 10, 1.0),
        ("EWMA 0.1", Chart.EWMA, 10, 0.0),
        ("change point", Chart.CHANGE_POINT, 10, 0.0),
    ]
    within = (4, 8, 13, 26)
    say("| Chart | Step % | " + " | ".join(f"{w} weeks" for w in within) + " |")
    say("|---|---|" + "---|" * len(within))
    for name, chart, n_base, k in ways:
        rng = np.random.default_rng([SEED, 7])
        quiet = simulate_weeks(
            phi=DESIGN_PHI, n_weeks=n_base + WEEKS_IN_YEAR, n_runs=CHANGE_RUNS, rng=rng
        )
        if chart is Chart.CHANGE_POINT:
            limit = LIMIT
        else:
            most = yearly_maxima(chart, quiet, n_baseline_weeks=n_base, k=k)
            limit = float(np.quantile(most, 1.0 - TARGET_RATE))
        lanes = simulate_weeks(phi=0.3, n_weeks=60, n_runs=1000, rng=rng)
        for size in (1.0, 2.0, 3.0, 5.0):
            moved = lanes + np.where(np.arange(60) >= 20, size, 0.0)
            found = [
                np.mean(
                    yearly_maxima(
                        chart, moved[:, : 20 + w], n_baseline_weeks=n_base, k=k
                    )
                    > limit
                )
                for w in within
            ]
            row = " | ".join(f"{share:.2f}" for share in found)
            say(f"| {name} | {size:g} | {row} |")


def print_wrong_models() -> None:
    """Print false alarms of lanes that are not as the tables assume."""
    rng = np.random.default_rng([SEED, 9])
    n, runs = 26 + WEEKS_IN_YEAR, CHANGE_RUNS
    usual = {"n_weeks": n, "n_runs": runs, "rng": rng}
    season = 0.5 * np.cos(2 * np.pi * np.arange(n) / 52.18)
    heavy = np.zeros((runs, n))
    fresh = rng.standard_t(4, (runs, n)) * 0.8 / np.sqrt(2.0)
    for week in range(1, n):
        heavy[:, week] = 0.3 * heavy[:, week - 1] + fresh[:, week]
    slow = simulate_weeks(phi=0.95, sd=0.36, **usual)
    strong = simulate_weeks(phi=0.6, **usual)
    pooled = pool_spreads(
        list(simulate_weeks(phi=0.6, n_weeks=104, n_runs=60, rng=rng))
    )
    rows = [
        ("as assumed, correlation 0.3", simulate_weeks(phi=0.3, **usual), None),
        ("wild weeks: t with 4 degrees of freedom", heavy, None),
        ("season of ±0.5 %, left in", simulate_weeks(phi=0.3, **usual) + season, None),
        ("a fifth of the variance wanders slowly (0.95)",
         simulate_weeks(phi=0.2, sd=0.72, **usual) + slow, None),
        ("correlation 0.6", strong, None),
        ("correlation 0.6, pooled from 60 lanes", strong, pooled),
    ]  # fmt: skip
    say("| Lanes | CUSUM | EWMA | Change point |")
    say("|---|---|---|---|")
    for name, values, prior in rows:
        rates = [
            np.mean(
                yearly_maxima(chart, values, n_baseline_weeks=26, prior=prior)
                > chart_limit(chart, 26)
            )
            for chart in Chart
        ]
        say(f"| {name} | " + " | ".join(f"{rate:.3f}" for rate in rates) + " |")


def print_faults() -> None:
    """Print the tables of detection and scope."""
    say(
        "| Fault | Size % | Found | within 26 weeks | Median delay, weeks "
        "| Date within its interval | Median error of the date, weeks "
        "| Size within its interval | Shape right / wrong "
        "| Other shifts told a lane-year |"
    )
    say("|---|---|---|---|---|---|---|---|---|---|")
    for fault in FAULTS:
        tally = run_fault(fault, lanes=LANES, seed=SEED)
        false = f"{tally.false / tally.false_years:.3f}"
        if not fault.size_pct:
            say(f"| {fault.name} | 0 | | | | | | | | {false} |")
            continue
        n = max(tally.found, 1)
        say(
            f"| {fault.name} | {fault.size_pct:g} | {tally.found / LANES:.2f} "
            f"| {tally.within_26 / LANES:.2f} | {np.median(tally.delays):.0f} "
            f"| {tally.onset_held / n:.2f} | {np.median(tally.onset_off):.0f} "
            f"| {tally.size_held / n:.2f} "
            f"| {tally.shape_right / n:.2f} / {tally.shape_wrong / n:.2f} | {false} |"
        )
    say("")
    say("| What moved by 3 % | " + " | ".join(Scope) + " | not found |")
    say("|---|" + "---|" * (len(Scope) + 1))
    for name, told in run_scopes(programs=PROGRAMS, seed=SEED).items():
        row = " | ".join(f"{told[scope] / PROGRAMS:.2f}" for scope in Scope)
        say(f"| {name} | {row} | {1 - sum(told.values()) / PROGRAMS:.2f} |")


if __name__ == "__main__":
    {
        "limits": write_limits,
        "charts": print_charts,
        "wrong": print_wrong_models,
        "faults": print_faults,
    }[sys.argv[1]]()
