"""Coverage and calibration of the bias forecast under stated populations.

Run with: python -m tests.bench.measure_bias_walk [fits]

Prints the table of calibration/calc/MEASURED_BIAS.md.
"""

from __future__ import annotations

import sys

import numpy as np

from calibration.calc.bias_forecast import forecast_bias
from calibration.calc.bias_types import WalkPrior
from calibration.calc.bias_walk import fit_bias_walk
from tests.calibration.calc.bias_population import Population, simulate

TOLERANCE_PCT = 4.0

CASES: list[tuple[str, Population | None, int, int]] = [
    ("each fit's truth drawn from the expectation", None, 12, 4),
    ("each fit's truth drawn from the expectation", None, 3, 2),
    ("as the model has it", Population(), 12, 4),
    ("as the model has it", Population(), 3, 2),
    ("no session twice: prior alone", Population(), 8, 1),
    ("little wander (0.7 %)", Population(wander_pct=0.7), 12, 4),
    ("much wander (5 %)", Population(wander_pct=5.0), 12, 4),
    ("much wander (5 %)", Population(wander_pct=5.0), 3, 2),
    ("drift 2 % a year", Population(drift_pct_per_year=2.0), 12, 4),
    ("lanes unlike: wander × or ÷ 1.6", Population(wander_spread=0.5), 12, 4),
    ("lanes unlike: drift ± 1 % a year", Population(drift_spread=1.0), 12, 4),
    ("session error 1 %, told as 0.5 %", Population(session_sd_pct=1.0), 12, 4),
    ("trucks' error of 1 % in both stages", Population(shared_sd_pct=1.0), 12, 4),
    ("jumps of 5 %, one in five years", Population(jump_chance=0.2), 12, 4),
]


def main() -> None:
    fits = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    _tell(
        "| population | lanes × sessions | n | covers 90 % | fitted as known | Brier | "
        "base rate | chance, fifths: told/happened |"
    )
    _tell("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, population, n_lanes, n_sessions in CASES:
        rng = np.random.default_rng(31)
        inside, plain, chances, outs = [], [], [], []
        for _ in range(fits):
            lanes, today, truth = simulate(
                rng, population or _drawn(rng), n_lanes, n_sessions
            )
            walk = fit_bias_walk(
                lanes, technology="quartz piezo", reference_temp_c=15.0
            )
            found = forecast_bias(walk, today, tolerance_pct=TOLERANCE_PCT)
            for end, one, bias in zip(walk.lanes, found, truth, strict=True):
                span = one.today.interval
                inside.append(span.low <= bias <= span.high)
                plain.append(_plain(walk, end, today, bias))
                chances.append(one.today.chance_out)
                outs.append(abs(bias) > TOLERANCE_PCT)
        p, o = np.array(chances), np.array(outs, dtype=float)
        rate = o.mean()
        order = np.array_split(np.argsort(p), 5)
        fifths = " ".join(
            f"{p[part].mean():.2f}/{o[part].mean():.2f}" for part in order
        )
        _tell(
            f"| {name} | {n_lanes} × {n_sessions} | {len(inside):,} | "
            f"{np.mean(inside):.3f} | {np.mean(plain):.3f} | "
            f"{np.mean((p - o) ** 2):.3f} | {rate * (1 - rate):.3f} | {fifths} |"
        )


def _tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _drawn(rng: np.random.Generator) -> Population:
    """Wander, drift and temperature effect as the expectation itself has them."""
    prior = WalkPrior()
    return Population(
        wander_pct=prior.wander_pct * float(np.exp(prior.log_wander_sd * rng.normal())),
        drift_pct_per_year=prior.drift_sd * rng.normal(),
        temperature_pct_per_c=prior.temperature_sd * rng.normal(),
    )


def _plain(walk, end, today, bias) -> bool:
    """Inside the 90 % interval that takes the fitted parameters as known."""
    years = (today - end.last_on).days / 365.25
    middle = int(np.argmax(walk.weights))
    drift, temp = walk.effect_mean[middle]
    effect = end.effect[middle] + np.array([years, 0.0])
    mean = end.mean[middle] + effect @ [drift, temp]
    sd = np.sqrt(end.variance[middle] + walk.wander.value**2 * years)
    return bool(abs(bias - mean) <= 1.6449 * sd)


if __name__ == "__main__":
    main()
