"""Coverage of the life forecast's bands under stated populations.

Run with: python -m tests.bench.measure_lives [fleets]

Prints the table of installs/calc/MEASURED_LIVES.md.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np

from installs.calc.renewals import simulated_replacements
from installs.calc.survival import (
    failure_chances,
    failure_probability,
    fit_weibull,
)
from installs.calc.types import FitMethod, Life, LifePrior, WeibullFit

RECORD_YEARS, HORIZON_YEARS = 8.0, 3.0
LEVEL, DRAWS = 0.90, 400
NOTHING_OPEN = ((0.0, 0.0), (0.0, 0.0))


@dataclass(frozen=True)
class Fleet:
    """Positions renewed on failure, all new at the start of the record."""

    n: int
    shape: float
    scale_years: float
    prior_median: float

    @property
    def truth(self) -> WeibullFit:
        return WeibullFit(
            self.shape, self.scale_years, NOTHING_OPEN, 0, 0,
            FitMethod.MAXIMUM_LIKELIHOOD, 0.0,
        )  # fmt: skip


CASES = [
    ("prior right", Fleet(12, 2.5, 8.0, 6.9)),
    ("prior right", Fleet(30, 2.5, 8.0, 6.9)),
    ("prior right", Fleet(100, 2.5, 8.0, 6.9)),
    ("prior half the true life", Fleet(12, 2.5, 8.0, 3.45)),
    ("prior half the true life", Fleet(30, 2.5, 8.0, 3.45)),
    ("prior twice the true life", Fleet(12, 2.5, 8.0, 13.8)),
    ("prior twice the true life", Fleet(30, 2.5, 8.0, 13.8)),
    ("short lives", Fleet(30, 2.0, 4.0, 3.3)),
    ("few failures", Fleet(12, 2.0, 20.0, 16.7)),
    ("no wear-out (shape 1)", Fleet(30, 1.0, 8.0, 5.5)),
]


def simulate(
    rng: np.random.Generator, fleet: Fleet
) -> tuple[list[Life], np.ndarray, int]:
    """Lives over the record, ages then in service, failures within the horizon."""
    lives, ages, future = [], [], 0
    for _ in range(fleet.n):
        begun = 0.0
        while True:
            ends = begun + fleet.scale_years * rng.weibull(fleet.shape)
            if ends < RECORD_YEARS:
                lives.append(Life(ends - begun, True, until_years=RECORD_YEARS - begun))
            else:
                if begun < RECORD_YEARS:
                    lives.append(Life(RECORD_YEARS - begun, False))
                    ages.append(RECORD_YEARS - begun)
                if ends >= RECORD_YEARS + HORIZON_YEARS:
                    break
                future += 1
            begun = ends
    return lives, np.array(ages), future


def main() -> None:
    fleets = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    _tell(
        "| population | sensors | failures | count: bootstrap | count: normal | "
        "count: as known | width | chance of one sensor |"
    )
    _tell("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, fleet in CASES:
        rng = np.random.default_rng(41)
        prior = LifePrior(fleet.prior_median, "stated")
        true_chance = float(failure_probability(fleet.truth, 4.0, HORIZON_YEARS))
        held: dict[str, list[bool]] = {"refits": [], "normal": [], "known": []}
        failures, widths, chance_held = [], [], []
        for _ in range(fleets):
            lives, ages, future = simulate(rng, fleet)
            fit = fit_weibull(lives, prior=prior)
            failures.append(fit.n_failures)
            kinds = {
                "refits": fit,
                "normal": replace(fit, refits=()),
                "known": replace(fit, refits=(), log_covariance=NOTHING_OPEN),
            }
            for kind, used in kinds.items():
                counts = simulated_replacements(
                    used, ages, [HORIZON_YEARS], n_draws=DRAWS, rng=rng
                )
                low, high = np.quantile(counts, [0.05, 0.95])
                held[kind].append(low <= future <= high)
                if kind == "refits":
                    widths.append(high - low)
            ((chance,),) = failure_chances(fit, [4.0], [HORIZON_YEARS], rng=rng)
            chance_held.append(chance.low <= true_chance <= chance.high)
        _tell(
            f"| {name} | {fleet.n} | {np.mean(failures):.1f} | "
            + " | ".join(f"{np.mean(held[k]):.3f}" for k in held)
            + f" | {np.mean(widths):.1f} | {np.mean(chance_held):.3f} |"
        )


def _tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
