"""How often the intervals cover and the verdicts pass, by simulation.

Run with: python -m tests.bench.simulate_verdicts [--sessions 20000] [--write]

Gross weight errors of sessions of n runs are drawn from stated populations, and what
the program computes from them is held against what is true of the population. With
``--write`` the tables go to calibration/calc/MEASURED.md. Seeded: the same options give
the same tables. tests/calibration/calc/test_measured.py runs a smaller one and holds
the written tables against it.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy import optimize, special, stats

from calibration.calc.many_rules import t_quantiles
from calibration.calc.many_sessions import (
    FlatErrors,
    ManySessions,
    count_within,
    session_moments,
)
from calibration.calc.rejudging import rejudge
from calibration.calc.types import FloatArray, Quantity

ROOT = Path(__file__).resolve().parents[2]
WRITTEN = ROOT / "calibration" / "calc" / "MEASURED.md"

TOLERANCE_PCT = 10.0
SIZES = (10, 20, 40)
TRUE_SHARES = (0.90, 0.95, 0.99)
TRUCK_SHARE = 0.36  # of the variance, where trucks have an error of their own
DRIFT_SDS = 2.0  # from first to last run, in sd of single passes
DEGREES = 4  # of freedom of the heavy tails

VERDICTS = {
    "E1318 Type I": ("astm-e1318", "Type I"),
    "COST 323 B(10)": ("cost-323", "B(10)"),
    "LTPP": ("ltpp", "research quality"),
    "HB 44": ("nist-hb44", "Class A"),
}
INTERVALS = ("mean (t)", "single pass", "share (Clopper–Pearson)", "π as a bound")


@dataclass(frozen=True)
class Population:
    """Errors of single passes with mean 0 and sd 1, before they are scaled.

    Attributes
    ----------
    name, meaning
        For the table.
    draw
        Errors of shape (sessions, runs) from a generator; odd and even runs are of two
        trucks.
    cdf
        True share of single passes below a value, over all trucks and times.
    """

    name: str
    meaning: str
    draw: Callable[[np.random.Generator, int, int], FloatArray]
    cdf: Callable[[float], float]

    def scale(self, true_share: float) -> float:
        """The sd [%] with which ``true_share`` of passes lie within ±10 %."""
        z = optimize.brentq(lambda z: self.within(z) - true_share, 0.01, 50.0)
        return TOLERANCE_PCT / float(z)

    def within(self, z: float) -> float:
        """True share of passes within ± ``z`` sd."""
        return self.cdf(z) - self.cdf(-z)


def _truck(rng: np.random.Generator, sessions: int, runs: int) -> FloatArray:
    own = rng.normal(0.0, math.sqrt(TRUCK_SHARE), (sessions, 2))
    within = rng.normal(0.0, math.sqrt(1 - TRUCK_SHARE), (sessions, runs))
    return within + own[:, np.arange(runs) % 2]


def _drift(rng: np.random.Generator, sessions: int, runs: int) -> FloatArray:
    sd = 1.0 / math.sqrt(1 + DRIFT_SDS**2 / 12)
    way = (np.arange(runs) + 0.5) / runs - 0.5
    return sd * (rng.normal(size=(sessions, runs)) + DRIFT_SDS * way)


@cache
def _drift_cdf(z: float) -> float:
    sd = 1.0 / math.sqrt(1 + DRIFT_SDS**2 / 12)
    way = (np.arange(2000) + 0.5) / 2000 - 0.5
    return float(special.ndtr(z / sd - DRIFT_SDS * way).mean())


def _heavy(rng: np.random.Generator, sessions: int, runs: int) -> FloatArray:
    spread = math.sqrt(DEGREES / (DEGREES - 2))
    return rng.standard_t(DEGREES, (sessions, runs)) / spread


POPULATIONS = (
    Population(
        "normal",
        "independent normal errors, no bias",
        lambda rng, sessions, runs: rng.normal(size=(sessions, runs)),
        lambda z: float(special.ndtr(z)),
    ),
    Population(
        "truck effect",
        f"normal; {100 * TRUCK_SHARE:g} % of the variance is an error of the truck's "
        "own, and a session has two trucks",
        _truck,
        lambda z: float(special.ndtr(z)),
    ),
    Population(
        "drift",
        f"normal about a bias that goes by {DRIFT_SDS:g} sd of the scatter from first "
        "to last run, nil in the middle",
        _drift,
        _drift_cdf,
    ),
    Population(
        "heavy tails",
        f"Student t with {DEGREES} degrees of freedom, no bias",
        _heavy,
        lambda z: float(stats.t.cdf(z * math.sqrt(DEGREES / (DEGREES - 2)), DEGREES)),
    ),
)


def sessions_of(errors_pct: FloatArray) -> ManySessions:
    """Sessions whose runs have only gross weights, from errors (sessions, runs)."""
    n_sessions, n_runs = errors_pct.shape
    n = errors_pct.size
    reference = np.full(n, 36_000.0)
    flat = FlatErrors(
        quantity=Quantity.GROSS_WEIGHT,
        session=np.repeat(np.arange(n_sessions), n_runs),
        run=np.tile(np.arange(n_runs), n_sessions),
        errors=errors_pct.ravel(),
        measured=reference * (1 + errors_pct.ravel() / 100),
        reference=reference,
        reference_gvw_kg=reference,
    )
    return ManySessions(
        n_sessions,
        {Quantity.GROSS_WEIGHT: flat},
        np.full(n_sessions, n_runs),
        np.empty(0, dtype=np.int64),
        np.empty(0),
    )


@dataclass(frozen=True)
class Measured:
    """What came out for one population, true share and number of runs.

    Attributes
    ----------
    coverage
        By interval, the share of sessions in which it held what it claims to hold; for
        the single pass interval, the mean share of all passes that it spans.
    passed
        By verdict, the share of sessions that met the class.
    """

    coverage: dict[str, float]
    passed: dict[str, float]


def measure(
    population: Population, true_share: float, n_runs: int, n_sessions: int, seed: int
) -> Measured:
    """Draw sessions and look at every interval and verdict."""
    rng = np.random.default_rng([seed, n_runs, round(1000 * true_share)])
    scale = population.scale(true_share)
    errors = scale * population.draw(rng, n_sessions, n_runs)
    sessions = sessions_of(errors)
    flat = sessions[Quantity.GROSS_WEIGHT]
    found = session_moments(flat, n_sessions)
    t = t_quantiles(found.n)
    spans_mean = np.abs(found.mean) <= t * found.sd / np.sqrt(found.n)
    ends = [(found.mean + side * t * found.sd) / scale for side in (-1, 1)]
    spanned = _cdf(population, ends[1]) - _cdf(population, ends[0])
    within = count_within(flat, TOLERANCE_PCT, n_sessions)
    low, high = clopper_pearson(within, n_runs)
    cost = rejudge(sessions, standard="cost-323", class_name="B(10)")
    pi = cost.of(Quantity.GROSS_WEIGHT).value / 100
    values = (
        spans_mean.mean(),
        spanned.mean(),
        ((low <= true_share) & (true_share <= high)).mean(),
        (pi <= true_share).mean(),
    )
    passed = {
        name: float(rejudge(sessions, standard=key, class_name=one).is_met.mean())
        for name, (key, one) in VERDICTS.items()
    }
    coverage = {
        name: float(value) for name, value in zip(INTERVALS, values, strict=True)
    }
    return Measured(coverage=coverage, passed=passed)


def _cdf(population: Population, z: FloatArray) -> FloatArray:
    """The population's cdf on a grid: many values, one curve."""
    grid = np.linspace(-8.0, 8.0, 4001)
    curve = np.array([_cached(population.name, float(x)) for x in grid])
    return np.interp(z, grid, curve)


@cache
def _cached(name: str, z: float) -> float:
    return next(one for one in POPULATIONS if one.name == name).cdf(z)


def clopper_pearson(within: np.ndarray, n: int) -> tuple[FloatArray, FloatArray]:
    """Exact 95 % limits by the program's own function, for every count there can be."""
    from calibration.calc.statistics import binomial_interval

    limits = [binomial_interval(k, n) for k in range(n + 1)]
    low = np.array([one.low for one in limits])
    high = np.array([one.high for one in limits])
    return low[within], high[within]


def cases() -> Iterator[tuple[Population, float, int]]:
    """All that is measured, in the order of the tables."""
    for population in POPULATIONS:
        for true_share in TRUE_SHARES:
            for n_runs in SIZES:
                yield population, true_share, n_runs


def tables(n_sessions: int, seed: int) -> str:
    """Both tables as Markdown."""
    rows = [
        (population, true_share, n_runs, measure(*case, n_sessions, seed))
        for case in cases()
        for population, true_share, n_runs in (case,)
    ]
    heads = {"coverage": INTERVALS, "passed": tuple(VERDICTS)}
    text = {}
    for part, names in heads.items():
        lines = [
            f"| population | true share within ±10 % | n | {' | '.join(names)} |",
            f"| --- | ---: | ---: |{' ---: |' * len(names)}",
        ]
        for population, true_share, n_runs, found in rows:
            values: dict[str, float] = getattr(found, part)
            cells = " | ".join(f"{values[name]:.3f}" for name in names)
            lines.append(
                f"| {population.name} | {true_share:.2f} | {n_runs} | {cells} |"
            )
        text[part] = "\n".join(lines)
    meanings = "\n".join(f"- **{one.name}**: {one.meaning}." for one in POPULATIONS)
    return PAGE.format(
        sessions=n_sessions,
        seed=seed,
        error=math.sqrt(0.25 / n_sessions),
        meanings=meanings,
        **text,
    )


PAGE = """# What the intervals and verdicts are worth, measured

Made by `python -m tests.bench.simulate_verdicts --sessions {sessions} --write` (seed
{seed}); not to be edited by hand. Each figure is from {sessions:,} sessions, so its
standard error is at most {error:.4f}. Only gross weight is simulated: a system is
judged on more, so its true chance of passing is lower. COST 323 is plan R1,
environment I, in service. Every population is scaled so that the stated share of all
single passes lies within ±10 %.

{meanings}

## Coverage

What is covered: by the t interval, the population's mean; by the single pass interval,
the mean share of all single passes that lie inside it (it claims 0.95); by the exact
interval, the true share within ±10 %. The last column is how often COST 323's estimated
confidence π is no more than the true share, as a lower bound should be.

{coverage}

With two trucks that each have an error of their own, the interval of the mean covers
far less often than it says, and more runs of the same two make it worse: that is why
the screens say "for these trucks". With heavy tails π is no lower bound: the formula
supposes normal errors.

## How often each verdict passes

A true share of 0.95 is a system just at the limit of E1318 Type I and of Handbook 44,
whose rule for gross weight is the same. Under that rule twenty runs pass more often
than ten or forty: runs are whole, and of twenty one may fail.

{passed}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=2031)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    page = tables(options.sessions, options.seed)
    if options.write:
        WRITTEN.write_text(page, encoding="utf-8")
    else:
        sys.stdout.write(page)


if __name__ == "__main__":
    main()
