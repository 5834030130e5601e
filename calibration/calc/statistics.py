"""What the errors of truck runs come to: mean, spread, intervals, shares.

Student t interval of the mean (NIST/SEMATECH e-Handbook 1.3.5.2), exact binomial
interval of a share (Clopper and Pearson; e-Handbook 7.2.4.1), the single-pass interval
mean ± t·sd of LTPP field validation (from memory), and Welch's t for two vehicles.

Two trucks are two, not forty: a truck has an error of its own (suspension, tyres,
static weighing), so intervals that pool the runs speak for these trucks only. Each
vehicle's own mean stands beside the pooled one. What is left out: outlier tests (runs
are set aside by people, with a reason) and tests of normality (ten or twenty runs have
little power).
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special, stats

from calibration.calc.types import (
    ErrorStatistics,
    QuantityErrors,
    ShareWithin,
    VehicleDifference,
)
from wimprog.lib.judgement import Interval

TOLERANCE_SLACK = 1e-9
"""So that 17.3 ft − 16.8 ft counts as 0.5 ft; far below what any sensor resolves."""


def mean_interval(
    mean: float, sd: float, n: int, *, level: float = 0.95
) -> tuple[float, float]:
    """Student t interval of a mean.

    Parameters
    ----------
    mean, sd
        Sample mean and standard deviation (divisor n − 1), in any one unit.
    n
        Number of observations, at least 2.
    level
        Level of the interval, between 0 and 1.

    Returns
    -------
    tuple of float
        Low and high, in the unit of ``mean``.

    Raises
    ------
    ValueError
        When ``n`` is less than 2.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.
    """
    half = t_quantile(n, level=level) * sd / math.sqrt(n)
    return mean - half, mean + half


def single_pass_interval(
    mean: float, sd: float, n: int, *, level: float = 0.95
) -> tuple[float, float]:
    """Mean ± t·sd, the LTPP interval of single passes (no 1/√n).

    Parameters
    ----------
    mean, sd, n, level
        As for :func:`mean_interval`.

    Returns
    -------
    tuple of float
        Low and high, in the unit of ``mean``.

    Raises
    ------
    ValueError
        When ``n`` is less than 2.

    References
    ----------
    LTPP field validation of WIM sites (from memory, not checked against the document).
    """
    half = t_quantile(n, level=level) * sd
    return mean - half, mean + half


def t_quantile(n: int, *, level: float = 0.95) -> float:
    """Two-sided Student quantile for ``n`` observations (n − 1 degrees of freedom).

    Parameters
    ----------
    n
        Number of observations, at least 2.
    level
        Two-sided level.

    Raises
    ------
    ValueError
        When ``n`` is less than 2.
    """
    if n < 2:
        raise ValueError(f"n is {n}; a spread needs at least 2 observations")
    return float(special.stdtrit(n - 1, 0.5 + level / 2.0))


def binomial_interval(n_within: int, n: int, *, level: float = 0.95) -> Interval:
    """Exact (Clopper–Pearson) interval of a share.

    Parameters
    ----------
    n_within, n
        Count and total, 0 ≤ n_within ≤ n, n at least 1.
    level
        Two-sided level.

    Returns
    -------
    Interval
        Limits as fractions.

    Raises
    ------
    ValueError
        When the counts do not fit.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1.
    """
    if not 0 <= n_within <= n or n < 1:
        raise ValueError(f"{n_within} of {n} is not a share")
    tail = (1.0 - level) / 2.0
    low, high = 0.0, 1.0
    if n_within > 0:
        low = float(special.betaincinv(n_within, n - n_within + 1, tail))
    if n_within < n:
        high = float(special.betaincinv(n_within + 1, n - n_within, 1.0 - tail))
    return Interval(low, high, level)


def summarise(errors: QuantityErrors, *, level: float = 0.95) -> ErrorStatistics:
    """Mean, spread and intervals of the errors of one quantity.

    Parameters
    ----------
    errors
        The errors, in per cent, km/h or m.
    level
        Level of the intervals.

    Returns
    -------
    ErrorStatistics
        With None for what so few errors cannot give.
    """
    n = errors.n
    mean = float(errors.errors.mean()) if n else None
    sd = float(errors.errors.std(ddof=1)) if n > 1 else None
    of_mean = of_pass = None
    if mean is not None and sd is not None:
        of_mean = Interval(*mean_interval(mean, sd, n, level=level), level)
        of_pass = Interval(*single_pass_interval(mean, sd, n, level=level), level)
    n_vehicles = len(set(errors.vehicles))
    scope = "for this truck" if n_vehicles == 1 else f"for these {n_vehicles} trucks"
    return ErrorStatistics(
        source=errors,
        n=n,
        mean=mean,
        sd=sd,
        mean_interval=of_mean,
        single_pass_interval=of_pass,
        scope=scope if n else "no data",
    )


def summarise_by_vehicle(
    errors: QuantityErrors, *, level: float = 0.95
) -> tuple[tuple[str, ErrorStatistics], ...]:
    """The same for each vehicle on its own, in order of name.

    Parameters
    ----------
    errors
        The errors, in per cent, km/h or m.
    level
        Level of the intervals.
    """
    return tuple(
        (name, summarise(errors.of_vehicle(name), level=level))
        for name in sorted(set(errors.vehicles))
    )


def vehicle_difference(
    errors: QuantityErrors, *, level: float = 0.95
) -> VehicleDifference | None:
    """Difference of two vehicles' mean errors (Welch's t test).

    Parameters
    ----------
    errors
        The errors, in per cent, km/h or m.
    level
        Level of the interval.

    Returns
    -------
    VehicleDifference or None
        None unless there are exactly two vehicles with two errors each or more, and
        some spread.

    References
    ----------
    Welch, B. L. (1947), Biometrika 34, 28–35.
    """
    names = sorted(set(errors.vehicles))
    if len(names) != 2:
        return None
    first, second = (errors.of_vehicle(name).errors for name in names)
    if min(first.size, second.size) < 2:
        return None
    if first.std() == 0.0 and second.std() == 0.0:
        return None
    test = stats.ttest_ind(first, second, equal_var=False)
    found = test.confidence_interval(level)
    return VehicleDifference(
        first=names[0],
        second=names[1],
        difference=float(first.mean() - second.mean()),
        interval=Interval(float(found.low), float(found.high), level),
        t=float(test.statistic),
        df=float(test.df),
        p=float(test.pvalue),
    )


def share_within(
    errors: QuantityErrors, tolerance: float, *, level: float = 0.95
) -> ShareWithin:
    """How many errors lie within ± ``tolerance``; the limit itself is within.

    Parameters
    ----------
    errors
        The errors, in per cent, km/h or m.
    tolerance
        Half-width of the tolerance, in the same unit.
    level
        Level of the exact binomial interval.
    """
    n_within = int(
        np.count_nonzero(np.abs(errors.errors) <= tolerance + TOLERANCE_SLACK)
    )
    n = errors.n
    return ShareWithin(
        tolerance=tolerance,
        n=n,
        n_within=n_within,
        share=n_within / n if n else None,
        interval=binomial_interval(n_within, n, level=level) if n else None,
    )
