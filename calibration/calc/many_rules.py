"""The rules of the standards, held against many sessions in one pass.

Each gives the verdicts that its standard gives session by session; the tests hold them
together to the last digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from calibration.calc.many_sessions import (
    BoolArray,
    FlatErrors,
    IntArray,
    Moments,
    count_within,
    session_moments,
)
from calibration.calc.statistics import TOLERANCE_SLACK
from calibration.calc.types import FloatArray, Quantity


@dataclass(frozen=True, eq=False)
class ManyJudged:
    """One criterion judged in each session; arrays of shape (n_sessions,).

    Attributes
    ----------
    quantity
        The criterion.
    moments
        Number, mean and standard deviation of the errors judged.
    value
        The statistic that is judged: share within [%], the larger end of the interval
        in the errors' unit, or the confidence π [%]; nan without data.
    limit
        What it is held against, in the same unit.
    is_met, is_missed
        Verdict; neither where nothing can be said.
    """

    quantity: Quantity
    moments: Moments
    value: FloatArray
    limit: FloatArray
    is_met: BoolArray
    is_missed: BoolArray


@dataclass(frozen=True, eq=False)
class ManyVerdicts:
    """Many sessions judged by one class of one standard.

    Attributes
    ----------
    standard, class_name
        Key of the standard, and the class.
    criteria
        One for each criterion that decides.
    is_met, is_missed
        Verdict of the system in each session, shape (n_sessions,); neither where
        nothing can be said.
    """

    standard: str
    class_name: str
    criteria: tuple[ManyJudged, ...]
    is_met: BoolArray
    is_missed: BoolArray

    def of(self, quantity: Quantity) -> ManyJudged:
        """One criterion, by its quantity.

        Raises
        ------
        KeyError
            When the standard has no such criterion.
        """
        for one in self.criteria:
            if one.quantity is quantity:
                return one
        raise KeyError(quantity)


def many_by_share(
    flat: FlatErrors,
    n_sessions: int,
    *,
    tolerance: float,
    max_outside_pct: float,
    min_runs: int,
) -> ManyJudged:
    """The rule of :func:`calibration.calc.standards.shares.judge_share`, at once.

    Parameters
    ----------
    flat
        Errors of one quantity.
    n_sessions
        Number of sessions.
    tolerance
        Half-width, in the errors' unit.
    max_outside_pct
        Greatest share outside [%].
    min_runs
        Fewest runs on which the criterion can be met.
    """
    moments = session_moments(flat, n_sessions)
    n = moments.n
    n_within = count_within(flat, tolerance, n_sessions)
    allowed = np.floor(n * max_outside_pct / 100.0 + 1e-9)
    is_missed = (moments.n_runs >= 2) & (n - n_within > allowed)
    share = np.divide(n_within, n, out=np.full(n_sessions, np.nan), where=n > 0)
    return ManyJudged(
        quantity=flat.quantity,
        moments=moments,
        value=100.0 * share,
        limit=np.full(n_sessions, 100.0 - max_outside_pct),
        is_met=~is_missed & (moments.n_runs >= min_runs),
        is_missed=is_missed,
    )


def many_by_interval(
    flat: FlatErrors, n_sessions: int, *, limit: float, min_runs: int
) -> ManyJudged:
    """Mean ± t(0.975, n−1)·sd wholly inside ± ``limit``, in each session.

    Parameters
    ----------
    flat
        Errors of one quantity.
    n_sessions
        Number of sessions.
    limit
        In the errors' unit.
    min_runs
        Fewest runs on which anything is said.
    """
    moments = session_moments(flat, n_sessions)
    reach = np.abs(moments.mean) + t_quantiles(moments.n) * moments.sd
    is_judged = moments.n_runs >= min_runs
    with np.errstate(invalid="ignore"):
        is_inside = reach <= limit + TOLERANCE_SLACK
    return ManyJudged(
        quantity=flat.quantity,
        moments=moments,
        value=reach,
        limit=np.full(n_sessions, limit),
        is_met=is_judged & is_inside,
        is_missed=is_judged & ~is_inside,
    )


def many_by_confidence(
    flat: FlatErrors, n_sessions: int, *, delta: float, margin: float, min_runs: int
) -> ManyJudged:
    """Estimated confidence π that an error lies within ±δ against π0, in each session.

    Parameters
    ----------
    flat
        Errors of one quantity.
    n_sessions
        Number of sessions.
    delta
        Tolerance δ [%].
    margin
        u/f of the test plan and environment.
    min_runs
        Fewest runs on which anything is said.

    References
    ----------
    COST 323, European WIM Specification, version 3.0 (1999).
    """
    moments = session_moments(flat, n_sessions)
    n, mean, sd = moments.n, moments.mean, moments.sd
    is_judged = moments.n_runs >= min_runs
    pi = np.full(n_sessions, np.nan)
    pi0 = np.full(n_sessions, np.nan)
    a = t_quantiles(n[is_judged]) / np.sqrt(n[is_judged])
    pi0[is_judged] = 2.0 * special.ndtr(margin - a) - 1.0
    df, m, s = n[is_judged] - 1, mean[is_judged], sd[is_judged]
    spread = np.where(s > 0, s, 1.0)
    found = special.stdtr(df, (delta - m) / spread - a)
    found = found - special.stdtr(df, (-delta - m) / spread + a)
    pi[is_judged] = np.where(s > 0, found, np.abs(m) <= delta)
    with np.errstate(invalid="ignore"):
        is_enough = pi >= pi0
    return ManyJudged(
        quantity=flat.quantity,
        moments=moments,
        value=100.0 * pi,
        limit=100.0 * pi0,
        is_met=is_judged & is_enough,
        is_missed=is_judged & ~is_enough,
    )


def t_quantiles(n: IntArray, *, level: float = 0.95) -> FloatArray:
    """Two-sided Student quantiles for n observations; nan for fewer than two.

    Parameters
    ----------
    n
        Numbers of observations, any shape.
    level
        Two-sided level.
    """
    sizes, places = np.unique(n, return_inverse=True)
    quantiles = np.full(sizes.shape, np.nan)
    enough = sizes >= 2
    quantiles[enough] = special.stdtrit(sizes[enough] - 1, 0.5 + level / 2.0)
    result: FloatArray = quantiles[places]
    return result


def all_together(
    standard: str, class_name: str, criteria: Sequence[ManyJudged]
) -> ManyVerdicts:
    """The system's verdict from those of its criteria, in each session.

    One criterion missed: the system misses. Otherwise it meets the class when gross
    weight does.

    Parameters
    ----------
    standard, class_name
        Key of the standard, and the class.
    criteria
        One for each criterion, gross weight among them.
    """
    gross = next(one for one in criteria if one.quantity is Quantity.GROSS_WEIGHT)
    is_missed = np.logical_or.reduce([one.is_missed for one in criteria])
    return ManyVerdicts(
        standard=standard,
        class_name=class_name,
        criteria=tuple(criteria),
        is_met=gross.is_met & ~is_missed,
        is_missed=is_missed,
    )
