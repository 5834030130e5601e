"""The chance that a session meets a standard's rule, for a lane that errs as stated.

Exact by the binomial distribution for shares of independent errors; otherwise by
simulated sessions with a fixed seed, trucks drawn anew for each. A system truly at the
limit has exactly the required share of its errors within the tolerance, neither good
nor bad, and what a rule makes of it shows how sharp the rule is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.calc.pass_rules import (
    PassRule,
    ShareWithinRule,
    sd_at_limit,
    share_truly_within,
)
from calibration.calc.types import FloatArray

ROUNDS = 2000
"""Simulated sessions; the chance is known to about two points at worst."""

SEED = 20310514
"""Fixed, so that the same plan gives the same curve."""


@dataclass(frozen=True)
class Population:
    """How a lane truly errs.

    Attributes
    ----------
    bias
        Mean error over all trucks [%].
    run_sd
        Standard deviation of one truck's runs [%].
    truck_sd
        Standard deviation of the trucks' own errors [%].
    """

    bias: float
    run_sd: float
    truck_sd: float = 0.0

    @property
    def sd(self) -> float:
        """Standard deviation of single errors [%]."""
        return math.hypot(self.run_sd, self.truck_sd)


@dataclass(frozen=True, eq=False)
class PassCurves:
    """Chance that a session meets a rule, by number of runs; arrays shape (n,).

    Attributes
    ----------
    runs_each
        Runs of each truck.
    n_vehicles
        Number of trucks.
    at_limit
        For a system truly at the limit.
    as_expected
        For the system as it is expected to be.
    share_as_expected
        Share of that system's errors that is truly within the tolerance.
    sd_at_limit
        Standard deviation of single errors of the system at the limit [%].
    rule
        The rule in words.
    rounds
        Simulated sessions; None where the chances are exact (binomial).
    """

    runs_each: FloatArray
    n_vehicles: int
    at_limit: FloatArray
    as_expected: FloatArray
    share_as_expected: float
    sd_at_limit: float
    rule: str
    rounds: int | None

    @property
    def is_exact(self) -> bool:
        """Binomial, not simulated?"""
        return self.rounds is None


def chance_of_passing(
    rule: PassRule,
    population: Population,
    *,
    n_vehicles: int,
    runs_each: Sequence[int],
    rounds: int = ROUNDS,
    seed: int = SEED,
) -> tuple[FloatArray, bool]:
    """Chance that a session meets a rule, for each number of runs.

    Parameters
    ----------
    rule
        The rule.
    population
        How the lane truly errs.
    n_vehicles
        Number of trucks, drawn anew for every session.
    runs_each
        Runs of each truck.
    rounds, seed
        Simulated sessions and the seed of their numbers; the sessions of more runs
        continue those of fewer, so that curves are smooth.

    Returns
    -------
    tuple
        Chances, shape of ``runs_each``, and whether they are exact.
    """
    each = [int(runs) for runs in runs_each]
    if isinstance(rule, ShareWithinRule) and population.truck_sd == 0.0:
        share = share_truly_within(rule.tolerance, population.bias, population.run_sd)
        exact = [rule.exact_chance(share, n_vehicles * runs) for runs in each]
        return np.array(exact), True
    generator = np.random.default_rng(seed)
    trucks = generator.normal(size=(rounds, n_vehicles, 1))
    runs = generator.normal(size=(rounds, n_vehicles, max(each)))
    errors = population.bias + population.truck_sd * trucks + population.run_sd * runs
    # Running sums over the runs, all trucks together: shape (rounds, most runs).
    total = errors.sum(axis=1).cumsum(axis=1)
    squares = (errors**2).sum(axis=1).cumsum(axis=1)
    outside = (np.abs(errors) > rule.tolerance).sum(axis=1).cumsum(axis=1)
    found = []
    for runs_of_each in each:
        n, last = n_vehicles * runs_of_each, runs_of_each - 1
        mean = total[:, last] / n
        variance = (squares[:, last] - n * mean**2) / max(n - 1, 1)
        sd = np.sqrt(np.maximum(variance, 0.0))
        found.append(rule.passes(mean, sd, n, outside[:, last]).mean())
    return np.array(found, dtype=float), False


def pass_curves(
    rule: PassRule,
    expected: Population,
    *,
    n_vehicles: int,
    runs_each: Sequence[int],
    rounds: int = ROUNDS,
    seed: int = SEED,
) -> PassCurves:
    """Chance of passing at the limit and as expected, by runs of each truck.

    Parameters
    ----------
    rule
        The rule.
    expected
        How the lane is expected to err.
    n_vehicles, runs_each, rounds, seed
        As for :func:`chance_of_passing`.

    Returns
    -------
    PassCurves
        At the limit: no bias, spread widened (trucks' and runs' in the same
        proportion) until exactly the required share of errors is within.
    """
    limit_sd = sd_at_limit(rule)
    stretch = limit_sd / expected.sd if expected.sd > 0.0 else 0.0
    at_limit = (
        Population(0.0, expected.run_sd * stretch, expected.truck_sd * stretch)
        if stretch
        else Population(0.0, limit_sd)
    )

    def chance(population: Population) -> tuple[FloatArray, bool]:
        return chance_of_passing(
            rule,
            population,
            n_vehicles=n_vehicles,
            runs_each=runs_each,
            rounds=rounds,
            seed=seed,
        )

    limit, is_exact = chance(at_limit)
    usual, _ = chance(expected)
    return PassCurves(
        runs_each=np.asarray(runs_each, dtype=float),
        n_vehicles=n_vehicles,
        at_limit=limit,
        as_expected=usual,
        share_as_expected=share_truly_within(
            rule.tolerance, expected.bias, expected.sd
        ),
        sd_at_limit=limit_sd,
        rule=rule.text,
        rounds=None if is_exact else rounds,
    )
