"""How often lanes fail, how long repair takes, what share of the time they work.

A lane is repaired and goes on, so its failures are counted, not its end: the mean
cumulative function says how many failures a lane has had by an age, on average, with a
variance that allows for lanes being unlike. Mean time between failures and to repair,
and availability, come with intervals, and none is given from nothing.

References
----------
Nelson, Recurrent Events Data Analysis, SIAM 2003; robust variance: Lawless & Nadeau,
Technometrics 37 (1995) 158-168; chi-square interval of a rate: IEC 60605-4, time-
terminated; ratio of means: Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6 (all
from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.stats import chi2, norm, t

from installs.calc.likelihood import Array
from installs.calc.types import Estimate, LaneHistory, MeanCumulative
from installs.calc.weibull import check_level
from wimprog.lib.errors import DomainError

#: Below this many failures in any group a comparison says that it is weak.
FEW_FAILURES = 5


def mean_cumulative(
    lanes: Sequence[LaneHistory], *, level: float = 0.95
) -> MeanCumulative:
    """Mean number of failures a lane has had by an age.

    Parameters
    ----------
    lanes
        Failures and watching of each lane, in years from the lane's start.
    level
        Level of the intervals.

    Returns
    -------
    MeanCumulative
        One entry for each age at which some lane failed. ``low`` and ``high`` rest on
        the robust variance (on the log scale, so that ``low`` stays above zero);
        ``poisson_error`` is the error if all lanes failed alike and at random.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When no lane was watched.
    """
    check_level(level)
    ages, failed, watched = _events(lanes)
    at_risk = watched.sum(axis=0)
    failures = failed.sum(axis=0)
    rate = failures / at_risk
    mean = np.cumsum(rate)
    residual = np.where(watched, (failed - rate) / at_risk, 0.0)
    robust = np.sum(np.cumsum(residual, axis=1) ** 2, axis=0)
    poisson = np.cumsum(failures / at_risk.astype(float) ** 2)
    error = np.sqrt(robust)
    reach = norm.ppf((1.0 + level) / 2.0) * error / mean
    return MeanCumulative(
        age_years=tuple(ages.tolist()),
        at_risk=tuple(at_risk.tolist()),
        failures=tuple(failures.tolist()),
        mean=tuple(mean.tolist()),
        standard_error=tuple(error.tolist()),
        poisson_error=tuple(np.sqrt(poisson).tolist()),
        low=tuple((mean * np.exp(-reach)).tolist()),
        high=tuple((mean * np.exp(reach)).tolist()),
        level=level,
        n_lanes=len(lanes),
        n_failures=int(failures.sum()),
    )


def _events(lanes: Sequence[LaneHistory]) -> tuple[Array, Array, np.ndarray]:
    """Ages (k,), failures by lane and age (n, k), whether watched then (n, k)."""
    if not lanes:
        raise DomainError("No lane was watched, so there is nothing to count.")
    ages = np.unique([age for lane in lanes for age in lane.failures_years])
    failed = np.array(
        [
            np.bincount(np.searchsorted(ages, lane.failures_years), minlength=ages.size)
            for lane in lanes
        ]
    )
    begins = np.array([lane.from_years for lane in lanes])[:, None]
    ends = np.array([lane.to_years for lane in lanes])[:, None]
    return ages, failed, (begins < ages) & (ages <= ends)


def mean_cumulative_difference(
    one: Sequence[LaneHistory],
    other: Sequence[LaneHistory],
    age_years: float,
    *,
    level: float = 0.95,
) -> Estimate:
    """Failures per lane by an age, one group less the other, with its interval.

    The groups are independent; each brings its robust variance. ``note`` warns where
    few failures stand behind either.
    """
    (a, var_a, n_a), (b, var_b, n_b) = (_at(g, age_years) for g in (one, other))
    reach = float(norm.ppf((1.0 + level) / 2.0)) * math.sqrt(var_a + var_b)
    weak = min(n_a, n_b) < FEW_FAILURES
    return Estimate(
        value=a - b,
        low=a - b - reach,
        high=a - b + reach,
        level=level,
        n=n_a + n_b,
        unit="failures per lane",
        note=_few_note({"one": n_a, "the other": n_b}) if weak else "",
    )


def _at(lanes: Sequence[LaneHistory], age_years: float) -> tuple[float, float, int]:
    found = mean_cumulative(lanes)
    before = [i for i, age in enumerate(found.age_years) if age <= age_years]
    if not before:
        return 0.0, 0.0, 0
    last = before[-1]
    return (
        found.mean[last],
        found.standard_error[last] ** 2,
        sum(found.failures[: last + 1]),
    )


def _few_note(counts: Mapping[str, int]) -> str:
    least = min(counts, key=lambda name: counts[name])
    n = counts[least]
    told = f"Only {n} failure{'' if n == 1 else 's'}" if n else "No failure"
    return (
        f"{told} in {least}: a difference of this "
        "size comes by chance easily, and none seen does not mean that there is none."
    )


# --- times and shares ---------------------------------------------------------------


def mean_time_between_failures(
    years_in_service: float, n_failures: int, *, level: float = 0.90
) -> Estimate:
    """Service time per failure [years], with the chi-square interval.

    The interval is that of a constant rate (Poisson counts in a fixed time). Without a
    failure only the lower end exists: ``value`` is None and ``high`` infinite.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the time is not above zero or the count is negative.
    """
    check_level(level)
    if not (math.isfinite(years_in_service) and years_in_service > 0):
        raise DomainError(
            f"A service time of {years_in_service} years cannot be; without service "
            "there is no data."
        )
    if n_failures < 0:
        raise DomainError(f"{n_failures} failures cannot be counted.")
    tail = (1.0 - level) / 2.0
    low = 2.0 * years_in_service / float(chi2.ppf(1.0 - tail, 2 * n_failures + 2))
    if not n_failures:
        # All the doubt is on one side then.
        low = 2.0 * years_in_service / float(chi2.ppf(level, 2))
        return Estimate(
            None, low, math.inf, level, 0, "years", "No failure yet: at least this."
        )
    high = 2.0 * years_in_service / float(chi2.ppf(tail, 2 * n_failures))
    few = f"Rests on {n_failures} failure{'' if n_failures == 1 else 's'}."
    note = "" if n_failures >= FEW_FAILURES else few
    return Estimate(
        years_in_service / n_failures, low, high, level, n_failures, "years", note
    )


def mean_time_to_repair(
    repair_days: Sequence[float], *, level: float = 0.90, n_open: int = 0
) -> Estimate:
    """Mean time to repair [days], with the t interval of log times carried to the mean.

    Repair times are skewed: the interval is Cox's for a log-normal mean, and the value
    the plain mean of the times.

    Parameters
    ----------
    repair_days
        Days from failure to working again, above zero; a repair on the same day counts
        as half a day.
    level
        Level of the interval.
    n_open
        Failures not yet repaired: left out, which makes the mean too small, and said.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no repairs or one took less than no time.
    """
    check_level(level)
    days = np.asarray(repair_days, dtype=float)
    if not days.size:
        raise DomainError("No failure has been repaired yet: no data.")
    if not np.all(np.isfinite(days)) or np.any(days < 0):
        raise DomainError(
            "A repair ends before its failure begins; correct the days of downtime."
        )
    note = f"{n_open} still down, left out: the true mean is longer." if n_open else ""
    mean = float(days.mean())
    if days.size < 2:
        return Estimate(mean, None, None, level, 1, "days", note or "A single repair.")
    logs = np.log(np.maximum(days, 0.5))
    variance = float(logs.var(ddof=1))
    middle = float(logs.mean()) + variance / 2.0
    error = math.sqrt(variance / days.size + variance**2 / (2.0 * (days.size - 1)))
    reach = float(t.ppf((1.0 + level) / 2.0, days.size - 1)) * error
    return Estimate(
        mean,
        min(math.exp(middle - reach), mean),
        max(math.exp(middle + reach), mean),
        level,
        int(days.size),
        "days",
        note,
    )


def availability(
    up_years: Sequence[float], in_service_years: Sequence[float], *, level: float = 0.90
) -> Estimate:
    """Share of service time that lanes worked: a ratio of sums, interval over lanes.

    Lanes are the units that differ, so the interval comes from their spread about the
    ratio (delta method, Student t with n - 1 degrees), on the scale of log(-log) of the
    share so that it stays between 0 and 1.

    Parameters
    ----------
    up_years, in_service_years
        By lane: time working, and time in service.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When nothing was in service or a lane worked longer than it was in service.
    """
    check_level(level)
    up = np.asarray(up_years, dtype=float)
    whole = np.asarray(in_service_years, dtype=float)
    if not whole.size or whole.sum() <= 0:
        raise DomainError("No lane was in service: no data.")
    if np.any(up < 0) or np.any(up > whole + 1e-9):
        raise DomainError(
            "A lane cannot work longer than it was in service; correct its downtime."
        )
    share = float(up.sum() / whole.sum())
    n = int(whole.size)
    if n < 2:
        return Estimate(share, None, None, level, n, "", "A single lane: no interval.")
    if not 0.0 < share < 1.0:
        return Estimate(
            share,
            None,
            None,
            level,
            n,
            "",
            "No downtime seen, or nothing but downtime.",
        )
    left = up - share * whole
    error = math.sqrt(n / (n - 1.0) * float(left @ left)) / float(whole.sum())
    spread = float(t.ppf((1.0 + level) / 2.0, n - 1)) * error
    spread /= abs(share * math.log(share))
    return Estimate(
        share,
        share ** math.exp(spread),
        share ** math.exp(-spread),
        level,
        n,
        "",
        "" if n >= FEW_FAILURES else f"Rests on {n} lanes.",
    )
