"""Fit and ten-year simulation of 5,000 sensors, as ratios within one run.

Run with: python -m tests.bench.bench_forecast

The base is one plain pass: a loop in Python that draws one more life for each sensor.
Where the reference survival library can be imported, its fit of the same lives stands
beside ours; it lives in an environment of its own, where
tests/outside/reference_env/check_survival.py prints that ratio.
"""

from __future__ import annotations

import datetime as dt
import importlib
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from installs.calc.forecast import budget_years, sensor_forecasts
from installs.calc.pooling import pooled_priors
from installs.calc.published import published_prior
from installs.calc.survival import fit_weibull, parameter_draws
from installs.calc.types import Life, SensorInService, Technology
from installs.calc.upkeep.costs import (
    SensorPrice,
    SharedCosts,
    price_events,
    programme_cost,
)
from installs.calc.upkeep.fleet import Policy, Position
from installs.calc.upkeep.futures import Futures
from installs.calc.upkeep.types import PolicyKind

N_SENSORS, N_PAST, YEARS = 5_000, 5_000, 10
#: As the pages play them: so many simulated positions in all, at least 200 futures.
N_DRAWS = 200
TRUE = {
    Technology.POLYMER_PIEZO: (2.0, 5.0),
    Technology.QUARTZ_PIEZO: (2.2, 8.0),
    Technology.BENDING_PLATE: (1.8, 9.0),
    Technology.INDUCTIVE_LOOP: (1.6, 10.0),
}


def lives_and_sensors() -> tuple[dict[str, list[Life]], list[SensorInService]]:
    """Past lives and sensors in service, dates in whole days, invented."""
    rng = np.random.default_rng(7)
    lives: dict[str, list[Life]] = {}
    live = []
    for technology, (shape, scale) in TRUE.items():
        n = N_PAST // len(TRUE)
        whole = np.round(scale * rng.weibull(shape, n) * 365.25) / 365.25 + 1 / 365.25
        watched = np.round(rng.uniform(0.5, 15.0, n) * 365.25) / 365.25
        lives[technology.value] = [
            Life(float(min(a, w)), bool(a <= w), until_years=float(w))
            for a, w in zip(whole, watched, strict=True)
        ]
        ages = np.round(rng.uniform(0.01, scale, N_SENSORS // len(TRUE)), 2)
        live += [
            SensorInService(f"{technology} {i}", technology, float(age))
            for i, age in enumerate(ages)
        ]
        lives[technology.value] += [
            Life(one.age_years, False) for one in live if one.technology is technology
        ]
    return lives, live


def main() -> None:
    """Time each part, and the whole, against one plain pass."""
    lives, live = lives_and_sensors()
    expected = {one.value: published_prior(one) for one in TRUE}

    def fits() -> dict[str, Any]:
        priors = pooled_priors(lives, expected)
        return {
            word: fit_weibull(own, prior=priors[word]) for word, own in lives.items()
        }

    curves = fits()

    def simulation() -> float:
        rng = np.random.default_rng(3)
        draws = {w: parameter_draws(fit, N_DRAWS, rng) for w, fit in curves.items()}
        positions = [
            Position(one.key, f"site {i // 12}", f"lane {i // 3}", one.technology,
                     one.age_years)
            for i, one in enumerate(live)
        ]  # fmt: skip
        futures = Futures(positions, draws, horizon_years=float(YEARS), rng=rng)
        priced = price_events(
            futures.play(Policy(PolicyKind.ON_FAILURE)),
            positions,
            dict.fromkeys(TRUE, SensorPrice(5000.0, 2000.0)),
            SharedCosts(2500.0, 450.0, 1.5, 4.0, 1000.0),
            horizon_years=float(YEARS),
        )
        periods = budget_years(_DAY, YEARS)
        return programme_cost(priced, periods, n_draws=N_DRAWS).total.expected

    def chances() -> int:
        return len(sensor_forecasts(live, {t: curves[t.value] for t in TRUE}))

    def plain() -> float:
        draw = np.random.default_rng(5).standard_exponential
        total = 0.0
        for one in live:
            shape, scale = TRUE[one.technology]
            used = (one.age_years / scale) ** shape
            total += scale * (used + draw()) ** (1.0 / shape)
        return total

    base = _median(plain)
    told = [
        ("fit of all technologies", _median(fits)),
        ("ten-year simulation with money", _median(simulation)),
        ("chances within 1, 2, 5 years", _median(chances)),
    ]
    told.append(("fit and simulation", told[0][1] + told[1][1]))
    for name, taken in told:
        sys.stdout.write(
            f"{name}, {N_SENSORS:,} sensors: {taken / base:.1f} × one plain pass "
            f"({taken:.3f} s / {base:.3f} s)\n"
        )
    _against_reference(lives)


def _against_reference(lives: dict[str, list[Life]]) -> None:
    """Our fit by maximum likelihood alone, against the reference library's."""
    try:
        fitter = importlib.import_module("lifelines").WeibullFitter
    except ImportError:
        sys.stdout.write(
            "against the reference library: not measured here; "
            "tests/outside/reference_env/check_survival.py prints it\n"
        )
        return
    from installs.calc.weibull import weibull_maximum_likelihood

    columns = [
        ([one.age_years for one in own], [one.failed for one in own])
        for own in lives.values()
    ]
    ours = _median(lambda: [weibull_maximum_likelihood(own) for own in lives.values()])
    theirs = _median(lambda: [fitter().fit(*column) for column in columns])
    sys.stdout.write(f"against the reference library's fit: {ours / theirs:.2f} ×\n")


def _median(call: Callable[[], Any], rounds: int = 3) -> float:
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        call()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


_DAY = dt.date(2026, 7, 1)

if __name__ == "__main__":
    main()
