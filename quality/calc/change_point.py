"""When a level changed, by how much, and whether at once or little by little.

Two questions are kept apart. *Where does a long record break?* is answered by
:func:`pelt`, which finds the best set of breaks for a price per break. *When exactly,
and how surely?* is asked about one change at a time by :func:`fit_change`: the
likelihood of every possible date, for a step and for a ramp, allowing for
autocorrelated weeks.

References
----------
Killick, Fearnhead and Eckley, Journal of the American Statistical Association 107, 2012
(pruned exact search). Hansen, Econometrica 68, 2000 (the set of dates that a likelihood
ratio leaves, and its critical values).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import stdtrit

from quality.calc.week_spread import Spread, week_spread
from quality.calc.whitening import Whitener

NORMAL_MAD = 1.4826
PENALTY_FACTOR = 4.0
"""A break costs 4 ln n on weekly data: of our simulations without a break, 0 % (weeks
independent) and 4 % (correlation 0.4) show one at 104 weeks."""
TOLD_APART = 6.0
"""Difference of twice the log likelihood from which a step and a ramp are told apart:
odds of about 20 to 1 (own choice, no source)."""


class Shape(StrEnum):
    """How a level changed."""

    STEP = "step"
    RAMP = "ramp"
    UNCLEAR = "step or ramp"


@dataclass(frozen=True)
class ChangeFit:
    """One change in a stretch of weeks.

    Attributes
    ----------
    shape
        Step or ramp, or unclear when the weeks do not tell them apart.
    onset, onset_low, onset_high
        Place of the first week of the change, and the first and last place that the
        level leaves possible.
    size, size_low, size_high
        Change from before to the last week of the stretch [units of the data].
    slope
        Change a week while a ramp runs; None unless it is told to be one.
    gain_step, gain_ramp
        Twice the log likelihood over no change.
    level
        Level of both intervals.
    """

    shape: Shape
    onset: int
    onset_low: int
    onset_high: int
    size: float
    size_low: float
    size_high: float
    slope: float | None
    gain_step: float
    gain_ramp: float
    level: float


def difference_sd(values: np.ndarray) -> float:
    """Spread by the median absolute difference of neighbours: 1.4826·median/√2.

    Half the differences may be of breaks or wild weeks without moving it much.
    """
    if len(values) < 2:
        return 0.0
    steps = np.abs(np.diff(np.asarray(values, dtype=np.float64)))
    return float(NORMAL_MAD * np.median(steps) / np.sqrt(2.0))


def pelt(
    values: np.ndarray,
    *,
    penalty: float | None = None,
    sd: float | None = None,
    least_weeks: int = 2,
) -> list[int]:
    """Breaks in the mean: the set with least squared error plus penalty.

    Parameters
    ----------
    values : (n,)
        Values in time order, finite.
    penalty
        Price of a break in variances; 4 ln n when None.
    sd
        Spread within a stretch [units of the data]; by :func:`difference_sd` when None.
    least_weeks
        Shortest stretch.

    Returns
    -------
    list of int
        Place of the first value after each break, in order.

    Raises
    ------
    ValueError
        When a value is not finite.

    Notes
    -----
    The exact minimum, by dynamic programming; starts that can never win again are
    dropped.
    """
    values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(values).all():
        raise ValueError("values must be finite; leave out weeks without data")
    n = len(values)
    if n < 2 * least_weeks:
        return []
    penalty = PENALTY_FACTOR * float(np.log(n)) if penalty is None else penalty
    scale = difference_sd(values) if sd is None else sd
    if scale <= 0.0:
        scale = 1e-9 * max(float(np.abs(values).max()), 1.0)
    z = (values - values.mean()) / scale
    sums = np.concatenate([[0.0], np.cumsum(z)])
    squares = np.concatenate([[0.0], np.cumsum(z * z)])
    best = np.full(n + 1, np.inf)
    best[0] = -penalty
    last = np.zeros(n + 1, dtype=np.int64)
    starts = np.array([0])
    for end in range(least_weeks, n + 1):
        length = end - starts
        cost = squares[end] - squares[starts] - (sums[end] - sums[starts]) ** 2 / length
        total = best[starts] + cost
        total[length < least_weeks] = np.inf
        win = int(np.argmin(total))
        best[end] = total[win] + penalty
        last[end] = starts[win]
        keep = (total <= best[end]) | (length < least_weeks)
        starts = np.append(starts[keep], end - least_weeks + 1)
    breaks, end = [], n
    while last[end] > 0:
        end = int(last[end])
        breaks.append(end)
    return breaks[::-1]


def likelihood_drop(level: float) -> float:
    """How far twice the log likelihood may fall for a step's date to stay possible.

    −2 ln(1 − √level): Hansen 2000, equation for the distribution of the likelihood
    ratio of a threshold. Dates are whole weeks, so the set holds the truth more often
    than it says.

    >>> round(likelihood_drop(0.95), 2)
    7.35
    """
    return -2.0 * float(np.log(1.0 - np.sqrt(level)))


def fit_change(
    values: np.ndarray,
    *,
    spread: Spread | None = None,
    least_before: int = 2,
    least_after: int = 2,
    level: float = 0.95,
) -> ChangeFit:
    """Date, size and shape of the one change in a stretch of weeks.

    Parameters
    ----------
    values : (n,)
        Weekly values in time order, finite; n at least ``least_before`` +
        ``least_after``.
    spread
        Spread and correlation of weeks; estimated from the values when None.
    least_before, least_after
        Weeks that must lie on either side of the change.
    level
        Level of the intervals.

    Raises
    ------
    ValueError
        With fewer weeks.

    Notes
    -----
    Generalised least squares for first-order autoregressive weeks. A ramp starts at its
    onset and runs to the end of the stretch. The interval of the date is the set of
    dates whose likelihood is near the best; that of the size is its profile likelihood
    over those dates, so that it allows for not knowing the date. Both are widened for
    the degrees of freedom of the spread. Where step and ramp are not told apart, the
    intervals cover both.
    """
    values = np.asarray(values, dtype=np.float64)
    n = len(values)
    if n < least_before + least_after:
        raise ValueError(
            f"{least_before + least_after} weeks are needed to date a change, got {n}"
        )
    spread = week_spread(values) if spread is None else spread
    sd = spread.sd or 1e-9 * max(float(np.abs(values).max()), 1.0)
    widen = float(stdtrit(spread.df, 0.5 + level / 2)) ** 2
    plain = 3.841458820694124 if level == 0.95 else _chi_square_1(level)
    drop_step = likelihood_drop(level) * widen / plain
    places = np.arange(least_before, n - least_after + 1)
    white = Whitener(n, spread.phi, sd)
    step = _Profile.of(white, values, white.steps(places))
    ramp = _Profile.of(white, values, white.ramps(places))
    shapes = {Shape.STEP: (step, drop_step), Shape.RAMP: (ramp, widen)}
    apart = ramp.top - step.top
    best = Shape.RAMP if apart > 0 else Shape.STEP
    shape = best if abs(apart) >= TOLD_APART else Shape.UNCLEAR
    used = [best] if shape is not Shape.UNCLEAR else [Shape.STEP, Shape.RAMP]
    dates, sizes = [], []
    for one in used:
        profile, drop = shapes[one]
        # a ramp to the last week's value: its slope times the weeks it ran
        reach = np.ones(len(places)) if one is Shape.STEP else n - places
        possible = profile.gain >= profile.top - drop
        dates.append(places[possible])
        room = widen - (profile.top - profile.gain)
        inside = room >= 0.0
        half = np.sqrt(room[inside]) * profile.error[inside]
        sizes.append(reach[inside] * (profile.slope[inside] - half))
        sizes.append(reach[inside] * (profile.slope[inside] + half))
    profile = shapes[best][0]
    at = profile.best
    reach_at = 1.0 if best is Shape.STEP else float(n - places[at])
    every_date, every_size = np.concatenate(dates), np.concatenate(sizes)
    return ChangeFit(
        shape=shape,
        onset=int(places[at]),
        onset_low=int(every_date.min()),
        onset_high=int(every_date.max()),
        size=float(profile.slope[at] * reach_at),
        size_low=float(every_size.min()),
        size_high=float(every_size.max()),
        slope=float(profile.slope[at]) if shape is Shape.RAMP else None,
        gain_step=step.top,
        gain_ramp=ramp.top,
        level=level,
    )


def ramp_against_steps(values: np.ndarray, cuts: list[int], spread: Spread) -> float:
    """How much better one ramp explains a stretch than steps at ``cuts``.

    Returns
    -------
    float
        Difference of twice the log likelihood, each less ln n for every parameter (two
        a change); above 0 the ramp is to be preferred.
    """
    n = len(values)
    white = Whitener(n, spread.phi, spread.sd or 1e-9)
    places = np.arange(1, n - 1)
    ramp = _Profile.of(white, values, white.ramps(places))
    columns = white.clear(white.steps(np.array(cuts)))
    y = white.clear(white.of(values[:, None]))[:, 0]
    coefficients, *_ = np.linalg.lstsq(columns, y, rcond=None)
    fitted = columns @ coefficients
    price = 2.0 * float(np.log(n))
    return (ramp.top - price) - (float(fitted @ fitted) - price * len(cuts))


@dataclass(frozen=True)
class _Profile:
    """Likelihood of every date of one shape."""

    gain: np.ndarray
    slope: np.ndarray
    error: np.ndarray

    @property
    def best(self) -> int:
        return int(np.argmax(self.gain))

    @property
    def top(self) -> float:
        return float(self.gain.max())

    @classmethod
    def of(cls, white: Whitener, values: np.ndarray, columns: np.ndarray) -> _Profile:
        y = white.clear(white.of(values[:, None]))[:, 0]
        x = white.clear(columns)
        power = np.einsum("ij,ij->j", x, x)
        shared = y @ x
        return cls(shared * shared / power, shared / power, 1.0 / np.sqrt(power))


def _chi_square_1(level: float) -> float:
    from scipy.stats import chi2

    return float(chi2.ppf(level, 1))
