"""How many runs: what a number of runs gives, and the number that gives what is wanted.

Half-width of the interval of a mean error, t·sd/√n; the number of runs for a wanted
half-width, expected or with assurance; the number that shows a change of given size
(noncentral t). Student's t throughout: the normal formula asks for too few runs. What
the static reference is uncertain by stays, however many runs are driven.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from calibration.calc.types import FloatArray
from wimprog.lib.units import format_number

MOST_RUNS = 10_000
"""No more runs than this are counted; beyond any session."""

WORTH_STEP = 10
"""More runs are compared with what this many would bring."""


def half_width(
    sd: ArrayLike, n: ArrayLike, *, u_reference: float = 0.0, level: float = 0.95
) -> FloatArray:
    """Half-width of the interval of a mean error.

    Parameters
    ----------
    sd
        Standard deviation of single runs [%].
    n
        Number of runs, at least 2; any shape that goes with ``sd``.
    u_reference
        Standard uncertainty of the reference [%], added in quadrature at the normal
        factor; it does not fall with n.
    level
        Level of the interval.

    Returns
    -------
    ndarray
        In the unit of ``sd``.
    """
    count = np.asarray(n, dtype=float)
    runs = stats.t.ppf(0.5 + level / 2.0, count - 1) * np.asarray(sd) / np.sqrt(count)
    stays = float(stats.norm.ppf(0.5 + level / 2.0)) * u_reference
    found: FloatArray = np.hypot(runs, stays)
    return found


def runs_for_half_width(
    sd: float, half: float, *, level: float = 0.95, assurance: float | None = None
) -> int | None:
    """Fewest runs whose interval of the mean is no wider than ± ``half``.

    Parameters
    ----------
    sd
        Standard deviation of single runs.
    half
        Wanted half-width, in the same unit, greater than zero.
    level
        Level of the interval.
    assurance
        None: with exactly this spread. Else the chance that the interval of the next
        session, whose spread varies by chance, comes out no wider.

    Returns
    -------
    int or None
        At least 2; None when :data:`MOST_RUNS` do not suffice.

    References
    ----------
    Student t interval; the assurance by chi-square of the sample variance (Kupper and
    Hafner 1989, The American Statistician 43; from memory).
    """

    def is_enough(n: int) -> bool:
        t = float(stats.t.ppf(0.5 + level / 2.0, n - 1))
        if assurance is None:
            return t * sd / math.sqrt(n) <= half
        if sd == 0.0:
            return True
        bound = (n - 1) * n * (half / (t * sd)) ** 2
        return float(stats.chi2.cdf(bound, n - 1)) >= assurance

    return _fewest(is_enough)


def power_of_mean(change: float, sd: float, n: int, *, level: float = 0.95) -> float:
    """Chance that ``n`` runs show a mean error of a given size.

    Parameters
    ----------
    change
        True mean error, either sign.
    sd
        Standard deviation of single runs, in the same unit, greater than zero.
    n
        Number of runs, at least 2.
    level
        Level of the interval that must leave out zero.

    Returns
    -------
    float
        By the noncentral t distribution, both sides.

    References
    ----------
    Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions, vol. 2,
    chapter 31 (from memory).
    """
    return float(power_of_t(abs(change) / sd * math.sqrt(n), n - 1, level=level))


def power_of_t(shift: ArrayLike, df: ArrayLike, *, level: float = 0.95) -> FloatArray:
    """Chance that a two-sided t test rejects at noncentrality ``shift``.

    Parameters
    ----------
    shift
        True mean over its standard error.
    df
        Degrees of freedom.
    level
        1 less the chance of a false alarm.
    """
    delta = np.abs(np.asarray(shift, dtype=float))
    t = stats.t.ppf(0.5 + level / 2.0, df)
    above = stats.nct.sf(t, df, delta)
    below = stats.nct.cdf(-t, df, delta)
    # Far from zero the lower tail is lost in rounding and comes out as NaN.
    found: FloatArray = np.clip(
        np.nan_to_num(above, nan=1.0) + np.nan_to_num(below, nan=0.0), 0.0, 1.0
    )
    return found


def runs_to_show(
    change: float, sd: float, *, power: float = 0.8, level: float = 0.95
) -> int | None:
    """Fewest runs that show a mean error of a given size with the wanted chance.

    Parameters
    ----------
    change, sd, level
        As for :func:`power_of_mean`.
    power
        Wanted chance.

    Returns
    -------
    int or None
        None for no change, or when :data:`MOST_RUNS` do not suffice.
    """
    if change == 0.0:
        return None
    if sd == 0.0:
        return 2
    return _fewest(lambda n: power_of_mean(change, sd, n, level=level) >= power)


def _fewest(is_enough: Callable[[int], bool]) -> int | None:
    """Smallest n from 2 on; what is asked gets easier with n."""
    low, high = 1, 2
    while not is_enough(high):
        low, high = high, high * 2
        if low >= MOST_RUNS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high if high <= MOST_RUNS else None


@dataclass(frozen=True, eq=False)
class RunsWorthMaking:
    """What more runs would bring, from the spread seen so far.

    Attributes
    ----------
    n
        Runs made.
    half_width
        Half-width of the interval of the mean error now [%].
    wanted
        Half-width that is wanted [%]; None where none is.
    n_wanted
        Runs in all that reach it; None where the reference forbids it or nothing is
        wanted.
    n_to_show
        Runs in all that would show a change of the size seen, with a chance of 80 %;
        None where it is shown or next to nothing.
    counts, half_widths
        The curve: numbers of runs and the half-width of each [%].
    sentence
        In words.
    """

    n: int
    half_width: float
    wanted: float | None
    n_wanted: int | None
    n_to_show: int | None
    counts: FloatArray
    half_widths: FloatArray
    sentence: str


def runs_worth_making(
    mean: float,
    sd: float,
    n: int,
    *,
    wanted: float | None = None,
    u_reference: float = 0.0,
    level: float = 0.95,
) -> RunsWorthMaking:
    """How many more runs are worth making.

    Parameters
    ----------
    mean, sd
        Mean error of the runs so far and their standard deviation [%].
    n
        Number of runs, at least 2.
    wanted
        Half-width of the mean's interval that would do [%].
    u_reference
        Standard uncertainty of the reference [%].
    level
        Level of the interval.

    Returns
    -------
    RunsWorthMaking

    Raises
    ------
    ValueError
        When ``n`` is less than 2.
    """
    if n < 2:
        raise ValueError(f"n is {n}; a spread needs at least 2 runs")
    now = float(half_width(sd, n, u_reference=u_reference, level=level))
    more = float(half_width(sd, n + WORTH_STEP, u_reference=u_reference, level=level))
    floor = float(stats.norm.ppf(0.5 + level / 2.0)) * u_reference
    n_wanted = None
    if wanted is not None and wanted > floor:
        left = math.sqrt(wanted**2 - floor**2)
        n_wanted = runs_for_half_width(sd, left, level=level)
    is_shown = abs(mean) > now
    n_to_show = None if is_shown else runs_to_show(mean, sd, level=level)
    if n_to_show is not None and n_to_show <= n:
        n_to_show = None
    counts = np.arange(2.0, max(2 * n, n + 2 * WORTH_STEP) + 1)
    return RunsWorthMaking(
        n=n,
        half_width=now,
        wanted=wanted,
        n_wanted=n_wanted,
        n_to_show=n_to_show,
        counts=counts,
        half_widths=half_width(sd, counts, u_reference=u_reference, level=level),
        sentence=" ".join(
            [
                f"{n} runs give the mean error to ±{format_number(now, 2)} %; "
                f"{WORTH_STEP} more would give ±{format_number(more, 2)} %.",
                *_of_wanted(wanted, n_wanted, n, floor),
                *_of_change(mean, is_shown, n_to_show, n),
            ]
        ),
    )


def _of_wanted(
    wanted: float | None, n_wanted: int | None, n: int, floor: float
) -> list[str]:
    if wanted is None:
        return []
    told = f"±{format_number(wanted, 2)} %"
    if wanted <= floor:
        return [
            f"No number of runs gives {told}: the reference alone is uncertain by "
            f"±{format_number(floor, 2)} %."
        ]
    if n_wanted is None:
        return [f"{told} is out of reach."]
    if n_wanted <= n:
        return [f"The wanted {told} is reached."]
    return [f"{told} takes {n_wanted} runs, {n_wanted - n} more, at this spread."]


def _of_change(mean: float, is_shown: bool, n_to_show: int | None, n: int) -> list[str]:
    size = f"{format_number(abs(mean), 2)} %"
    if is_shown:
        return [f"A bias of {size} is shown already."]
    if n_to_show is None:
        return [f"More runs are not likely to show a bias of {size}."]
    return [
        f"If the bias is truly {size}, {n_to_show} runs ({n_to_show - n} more) would "
        "show it four times in five."
    ]
