"""What a planned number of runs can show, as curves over the number of runs.

Power to show a bias (noncentral t), width of the intervals of bias and spread (Student
and chi-square), and the chance of passing a standard's rule (``pass_chances``).

Two trucks are two. A truck has an error of its own (suspension, tyres, static
weighing), which no number of runs averages away. So everything about the bias is given
twice: for these trucks, and for trucks like these, where the number of trucks counts
and the number of runs hardly does. With two trucks the second is next to nothing; that
is the truth and not a fault of the plan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from calibration.calc.pass_chances import (
    ROUNDS,
    SEED,
    PassCurves,
    Population,
    pass_curves,
)
from calibration.calc.pass_rules import PassRule
from calibration.calc.run_counts import power_of_t
from calibration.calc.types import FloatArray
from wimprog.lib.units import format_number

TRUCK_SD_PCT = 1.5
"""Spread between trucks where none is known [%] (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class BiasCurves:
    """What is known of the bias, by number of runs; all arrays shape (n,).

    Attributes
    ----------
    runs_each
        Runs of each truck.
    n_vehicles
        Number of trucks.
    half_width_these, half_width_like
        Half-width of the interval for these trucks, and for trucks like these [%]; the
        latter is infinite for one truck.
    power_these, power_like
        Chance of showing the bias asked about.
    """

    runs_each: FloatArray
    n_vehicles: int
    half_width_these: FloatArray
    half_width_like: FloatArray
    power_these: FloatArray
    power_like: FloatArray


@dataclass(frozen=True, eq=False)
class Plan:
    """Everything a plan's page draws.

    Attributes
    ----------
    bias, passing
        The curves.
    sd_low, sd_high
        Limits of the interval of the spread as multiples of the spread found, for all
        runs of a plan, shape (n,).
    sentences
        What the planned number of runs can show.
    """

    bias: BiasCurves
    passing: PassCurves
    sd_low: FloatArray
    sd_high: FloatArray
    sentences: tuple[str, ...]


def sd_interval_factors(
    n: Sequence[int] | FloatArray, *, level: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Limits of the interval of a standard deviation, over the one found.

    Parameters
    ----------
    n
        Numbers of runs, each at least 2.
    level
        Level of the interval.

    Returns
    -------
    tuple of ndarray
        Low and high factors; twenty runs give 0.76 to 1.46.

    References
    ----------
    NIST/SEMATECH e-Handbook 7.2.3 (chi-square; from memory).
    """
    df = np.asarray(n, dtype=float) - 1.0
    tail = (1.0 - level) / 2.0
    low = np.sqrt(df / stats.chi2.ppf(1.0 - tail, df))
    high = np.sqrt(df / stats.chi2.ppf(tail, df))
    return low, high


def faultless_runs(share: float, *, level: float = 0.95) -> int:
    """Runs without a miss that prove a share within.

    Parameters
    ----------
    share
        True share within that is to be proved, between 0 and 1.
    level
        One-sided level.

    Returns
    -------
    int
        Smallest n with share**n at most 1 − level.

    Examples
    --------
    >>> faultless_runs(0.95)
    59
    """
    return math.ceil(math.log(1.0 - level) / math.log(share) - 1e-9)


def bias_curves(
    population: Population,
    *,
    n_vehicles: int,
    runs_each: Sequence[int],
    level: float = 0.95,
) -> BiasCurves:
    """Intervals and power of the bias, by runs of each truck.

    Parameters
    ----------
    population
        Bias asked about, and the spreads expected.
    n_vehicles
        Number of trucks.
    runs_each
        Runs of each truck, 2 or more in all.
    level
        Level of the intervals.

    Returns
    -------
    BiasCurves
        For these trucks: Student's t over all runs, n − 1 degrees of freedom. For
        trucks like these: over the trucks' means, one degree fewer than trucks.
    """
    each = np.asarray(runs_each, dtype=float)
    n = n_vehicles * each
    quantile = 0.5 + level / 2.0
    se_these = population.run_sd / np.sqrt(n)
    se_like = np.hypot(population.truck_sd / math.sqrt(n_vehicles), se_these)
    if n_vehicles > 1:
        half_like = float(stats.t.ppf(quantile, n_vehicles - 1)) * se_like
        power_like = power_of_t(population.bias / se_like, n_vehicles - 1, level=level)
    else:
        half_like = np.full(each.shape, np.inf)
        power_like = np.zeros(each.shape)
    return BiasCurves(
        runs_each=each,
        n_vehicles=n_vehicles,
        half_width_these=stats.t.ppf(quantile, n - 1) * se_these,
        half_width_like=half_like,
        power_these=power_of_t(population.bias / se_these, n - 1, level=level),
        power_like=power_like,
    )


def coverage_of_pooled_interval(
    population: Population,
    *,
    n_vehicles: int,
    runs_each: int,
    level: float = 0.95,
    rounds: int = ROUNDS,
    seed: int = SEED,
) -> float:
    """How often the interval over all runs holds the bias over all trucks.

    Parameters
    ----------
    population
        How the lane errs.
    n_vehicles, runs_each
        The session.
    level
        What the interval claims.
    rounds, seed
        Simulated sessions and their seed.

    Returns
    -------
    float
        Well below ``level`` when trucks differ: it speaks for these trucks only.
    """
    generator = np.random.default_rng(seed)
    trucks = generator.normal(size=(rounds, n_vehicles, 1))
    runs = generator.normal(size=(rounds, n_vehicles, runs_each))
    errors = population.truck_sd * trucks + population.run_sd * runs
    flat = errors.reshape(rounds, -1)
    n = flat.shape[1]
    t = float(stats.t.ppf(0.5 + level / 2.0, n - 1))
    half = t * flat.std(axis=1, ddof=1) / math.sqrt(n)
    return float(np.mean(np.abs(flat.mean(axis=1)) <= half))


def draw_up(
    rule: PassRule,
    expected: Population,
    *,
    n_vehicles: int,
    runs_each: int,
    most_runs_each: int | None = None,
    level: float = 0.95,
    rounds: int = ROUNDS,
    seed: int = SEED,
) -> Plan:
    """All curves of a plan, and what its number of runs can show.

    Parameters
    ----------
    rule
        The rule that the session is to be judged by.
    expected
        Bias worth finding, and the spreads expected.
    n_vehicles, runs_each
        The plan.
    most_runs_each
        Where the curves end; twice the plan, and at least 20, where it is left out.
    level, rounds, seed
        As for the curves.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        For no truck, or fewer than two runs each.
    """
    if n_vehicles < 1 or runs_each < 2:
        raise ValueError("a plan needs a truck and two runs of each")
    each = list(range(2, (most_runs_each or max(2 * runs_each, 20)) + 1))
    bias = bias_curves(expected, n_vehicles=n_vehicles, runs_each=each, level=level)
    passing = pass_curves(
        rule,
        expected,
        n_vehicles=n_vehicles,
        runs_each=each,
        rounds=rounds,
        seed=seed,
    )
    low, high = sd_interval_factors([n_vehicles * runs for runs in each], level=level)
    at = runs_each - 2
    return Plan(
        bias=bias,
        passing=passing,
        sd_low=low,
        sd_high=high,
        sentences=_sentences(expected, bias, passing, (low[at], high[at]), at),
    )


def _sentences(
    expected: Population,
    bias: BiasCurves,
    passing: PassCurves,
    factors: tuple[float, float],
    at: int,
) -> tuple[str, ...]:
    trucks = bias.n_vehicles
    runs = int(bias.runs_each[at])
    these = "this truck" if trucks == 1 else f"these {trucks} trucks"
    like = (
        "One truck says nothing about others."
        if trucks == 1
        else f"For trucks like these the interval is "
        f"±{format_number(float(bias.half_width_like[at]), 1)} %: their number counts, "
        "more runs of the same trucks hardly help."
    )
    way = f" (simulated, {passing.rounds} sessions)" if passing.rounds else ""
    power = (
        f"A bias of {format_number(abs(expected.bias), 2)} % would be shown for "
        f"{these} in {_percent(bias.power_these[at])} of sessions."
    )
    return (
        f"{trucks * runs} runs give the bias of {these} to "
        f"±{format_number(float(bias.half_width_these[at]), 2)} %. {like}",
        *([power] if expected.bias else []),
        f"The true spread lies between {format_number(factors[0], 2)} and "
        f"{format_number(factors[1], 2)} times the one found.",
        f"{passing.rule}: a system truly at the limit passes in "
        f"{_percent(passing.at_limit[at])} of sessions, the one expected in "
        f"{_percent(passing.as_expected[at])}{way}.",
    )


def _percent(chance: float) -> str:
    return f"{format_number(100.0 * float(chance), 0)} %"
