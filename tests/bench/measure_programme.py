"""Coverage of the replacement programme's bands of number and money.

Run with: python -m tests.bench.measure_programme [fleets]

Prints the table of installs/calc/MEASURED_LIVES.md on the programme. Three positions a
lane, two lanes a site; all positions start new; a failed sensor is replaced after four
months, in the record and in the future. The truth is one more future of the same fleet,
played with the true curve.
"""

from __future__ import annotations

import sys

import numpy as np

from installs.calc.survival import fit_weibull, parameter_draws
from installs.calc.types import Life, LifePrior, Technology
from installs.calc.upkeep.costs import SensorPrice, SharedCosts, price_events
from installs.calc.upkeep.fleet import Policy, Position, Times
from installs.calc.upkeep.futures import Futures
from installs.calc.upkeep.types import PolicyKind

RECORD_YEARS, HORIZON_YEARS, N_DRAWS = 8.0, 3.0, 400
REPAIR_YEARS = 4.0 / 12.0
TECHNOLOGY = Technology.QUARTZ_PIEZO
PRICES = {TECHNOLOGY: SensorPrice(8_000.0, 2_000.0)}
SHARED = SharedCosts(2_500.0, 450.0, 1.5, 4.0, 1_000.0)
DOWN_ALREADY = 1e12
#: Name, positions, true shape and scale, expected median.
CASES = [
    ("prior right", 12, 2.5, 8.0, 6.9),
    ("prior right", 30, 2.5, 8.0, 6.9),
    ("prior right", 120, 2.5, 8.0, 6.9),
    ("prior half the true life", 30, 2.5, 8.0, 3.45),
    ("prior twice the true life", 30, 2.5, 8.0, 13.8),
    ("few failures", 12, 2.0, 20.0, 16.7),
    ("no wear-out (shape 1)", 30, 1.0, 8.0, 5.5),
]


def lived(
    rng: np.random.Generator, n: int, shape: float, scale: float
) -> tuple[list[Life], list[Position]]:
    """Lives on the record, and the positions as they stand at its end."""
    lives, positions = [], []
    for i in range(n):
        begun = 0.0
        while True:
            age = float(scale * rng.weibull(shape)) + 1.0 / 365.25
            until = RECORD_YEARS - begun
            if age >= until:
                lives.append(Life(until, False))
                state = (until, 1.0)
                break
            lives.append(Life(age, True, until_years=until))
            begun += age + REPAIR_YEARS
            if begun >= RECORD_YEARS:
                state = (0.0, DOWN_ALREADY)
                break
        positions.append(
            Position(
                f"{i}", f"site {i // 6}", f"lane {i // 3}", TECHNOLOGY, state[0],
                hazard_multiplier=state[1],
            )
        )  # fmt: skip
    return lives, positions


def totals(
    positions: list[Position],
    draws: tuple[np.ndarray, np.ndarray],
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Replacements and cost of each future within the horizon."""
    futures = Futures(
        positions,
        {TECHNOLOGY.value: draws},
        horizon_years=HORIZON_YEARS,
        rng=rng,
        times=Times(repair_years=REPAIR_YEARS),
    )
    priced = price_events(
        futures.play(Policy(PolicyKind.ON_FAILURE)),
        positions,
        PRICES,
        SHARED,
        horizon_years=HORIZON_YEARS,
    )
    n = futures.n_draws
    return (
        np.bincount(priced.draw, minlength=n),
        np.bincount(priced.draw, priced.cost, minlength=n),
    )


def main() -> None:
    """Print the table, one row a case."""
    fleets = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    rng = np.random.default_rng(43)
    for name, n, shape, scale, median in CASES:
        prior = LifePrior(median, "stated")
        held = np.zeros(2)
        failures, ratio = 0, []
        for _ in range(fleets):
            lives, positions = lived(rng, n, shape, scale)
            fit = fit_weibull(lives, prior=prior)
            failures += fit.n_failures
            told = totals(positions, parameter_draws(fit, N_DRAWS, rng), rng)
            true = (np.array([shape]), np.array([scale]))
            came = totals(positions, true, rng)
            for k in range(2):
                low, high = np.quantile(told[k], [0.10, 0.90])
                held[k] += low <= came[k][0] <= high
            ratio.append(told[1].mean() / max(came[1][0], 1.0))
        sys.stdout.write(
            f"| {name} | {n} | {failures / fleets:.1f} | {held[0] / fleets:.3f} "
            f"| {held[1] / fleets:.3f} | {np.median(ratio):.2f} |\n"
        )


if __name__ == "__main__":
    main()
