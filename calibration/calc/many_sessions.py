"""Many sessions as flat arrays, and their statistics in one pass.

The errors of one quantity of all sessions stand in one array, beside an array that says
which session each belongs to; so 10,000 sessions cost a few numpy calls. Mean and
standard deviation are computed in two passes (deviations from each session's own mean),
never from sums of squares, which lose digits when the bias is large.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from calibration.calc.statistics import TOLERANCE_SLACK
from calibration.calc.types import FloatArray, Quantity, RunErrors

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class FlatErrors:
    """The errors of one quantity of many sessions. All arrays have shape (N,).

    Attributes
    ----------
    quantity
        What the errors are errors of.
    session
        Index of the session of each error, 0 to n_sessions − 1, in any order.
    run
        A number for the run of each error, different for different runs of a session;
        the errors of one run stand together.
    errors
        In ``quantity.unit``.
    measured, reference, reference_gvw_kg
        As in :class:`calibration.calc.types.QuantityErrors`.
    """

    quantity: Quantity
    session: IntArray
    run: IntArray
    errors: FloatArray
    measured: FloatArray
    reference: FloatArray
    reference_gvw_kg: FloatArray

    def __post_init__(self) -> None:
        sizes = {
            name: getattr(self, name).shape
            for name in ("session", "run", "errors", "measured", "reference")
        }
        if set(sizes.values()) | {self.reference_gvw_kg.shape} != {self.errors.shape}:
            raise ValueError(f"{self.quantity}: arrays of different shapes: {sizes}")

    def where(self, keep: BoolArray) -> FlatErrors:
        """Only the errors that ``keep`` (shape (N,)) marks."""
        return FlatErrors(
            quantity=self.quantity,
            session=self.session[keep],
            run=self.run[keep],
            errors=self.errors[keep],
            measured=self.measured[keep],
            reference=self.reference[keep],
            reference_gvw_kg=self.reference_gvw_kg[keep],
        )

    def with_errors(self, errors: FloatArray) -> FlatErrors:
        """The same places with other errors, of shape (N,)."""
        return FlatErrors(
            self.quantity,
            self.session,
            self.run,
            errors,
            self.measured,
            self.reference,
            self.reference_gvw_kg,
        )


@dataclass(frozen=True, eq=False)
class ManySessions:
    """The errors of many sessions, by quantity.

    Attributes
    ----------
    n_sessions
        Number of sessions, those without errors too.
    by_quantity
        Flat errors; a quantity that is not there has no errors in any session.
    speeds_known, speeds_kmh
        For each run with a speed, its session and the speed [km/h]; for standards that
        are for certain speeds.
    n_runs
        Runs of each session, shape (n_sessions,).
    """

    n_sessions: int
    by_quantity: Mapping[Quantity, FlatErrors]
    n_runs: IntArray
    speeds_known: IntArray
    speeds_kmh: FloatArray

    def __getitem__(self, quantity: Quantity) -> FlatErrors:
        """The flat errors of one quantity, empty where there are none."""
        found = self.by_quantity.get(quantity)
        return _empty(quantity) if found is None else found


@dataclass(frozen=True, eq=False)
class Moments:
    """Statistics of one quantity of each session; shape (n_sessions,).

    Attributes
    ----------
    n
        Number of errors.
    n_runs
        Number of different runs behind them.
    mean
        Mean; nan without errors.
    sd
        Standard deviation (divisor n − 1); nan with fewer than two errors.
    """

    n: IntArray
    n_runs: IntArray
    mean: FloatArray
    sd: FloatArray


def _empty(quantity: Quantity) -> FlatErrors:
    places, nothing = np.empty(0, dtype=np.int64), np.empty(0)
    return FlatErrors(quantity, places, places, nothing, nothing, nothing, nothing)


def flatten_sessions(sessions: Sequence[RunErrors]) -> ManySessions:
    """Put the errors of many sessions into flat arrays.

    Parameters
    ----------
    sessions
        Errors of each session, as :func:`calibration.calc.run_errors.run_errors` gives
        them.

    Returns
    -------
    ManySessions
        Session k of it is ``sessions[k]``.
    """
    numbers = [
        {run: place for place, run in enumerate(one.runs_used)} for one in sessions
    ]
    by_quantity = {}
    for quantity in Quantity:
        parts = [one[quantity] for one in sessions]
        if not any(part.n for part in parts):
            continue
        by_quantity[quantity] = FlatErrors(
            quantity=quantity,
            session=np.repeat(
                np.arange(len(parts), dtype=np.int64), [part.n for part in parts]
            ),
            run=np.array(
                [
                    known[run]
                    for known, part in zip(numbers, parts, strict=True)
                    for run in part.runs
                ],
                dtype=np.int64,
            ),
            errors=np.concatenate([part.errors for part in parts]),
            measured=np.concatenate([part.measured for part in parts]),
            reference=np.concatenate([part.reference for part in parts]),
            reference_gvw_kg=np.concatenate([part.reference_gvw_kg for part in parts]),
        )
    speeds = [
        (place, run.speed_kmh if ref is None else ref)
        for place, one in enumerate(sessions)
        for run in one.runs
        for ref in (run.reference_speed_kmh,)
        if ref is not None or run.speed_kmh is not None
    ]
    return ManySessions(
        n_sessions=len(sessions),
        by_quantity=by_quantity,
        n_runs=np.array([len(one.runs_used) for one in sessions], dtype=np.int64),
        speeds_known=np.array([place for place, _ in speeds], dtype=np.int64),
        speeds_kmh=np.array([speed for _, speed in speeds], dtype=float),
    )


def session_moments(flat: FlatErrors, n_sessions: int) -> Moments:
    """Number, mean and standard deviation of each session's errors.

    Parameters
    ----------
    flat
        Errors of one quantity.
    n_sessions
        Number of sessions.

    Returns
    -------
    Moments
    """
    session, errors = flat.session, flat.errors
    n = np.bincount(session, minlength=n_sessions)
    sums = np.bincount(session, errors, minlength=n_sessions)
    mean = np.divide(sums, n, out=np.full(n_sessions, np.nan), where=n > 0)
    squares = np.bincount(session, (errors - mean[session]) ** 2, minlength=n_sessions)
    sd = np.full(n_sessions, np.nan)
    np.divide(squares, n - 1, out=sd, where=n > 1)
    return Moments(
        n=n.astype(np.int64),
        n_runs=_count_runs(flat, n_sessions),
        mean=mean,
        sd=np.sqrt(sd),
    )


def _count_runs(flat: FlatErrors, n_sessions: int) -> IntArray:
    """Runs start where session or run number changes."""
    if not flat.session.size:
        return np.zeros(n_sessions, dtype=np.int64)
    is_first = np.ones(flat.session.size, dtype=bool)
    is_first[1:] = (np.diff(flat.session) != 0) | (np.diff(flat.run) != 0)
    counts = np.bincount(flat.session[is_first], minlength=n_sessions)
    return counts.astype(np.int64)


def count_within(flat: FlatErrors, tolerance: float, n_sessions: int) -> IntArray:
    """How many errors of each session lie within ± ``tolerance``, the limit included.

    Parameters
    ----------
    flat
        Errors of one quantity.
    tolerance
        Half-width, in the errors' unit.
    n_sessions
        Number of sessions.
    """
    is_within = np.abs(flat.errors) <= tolerance + TOLERANCE_SLACK
    counts = np.bincount(flat.session[is_within], minlength=n_sessions)
    return counts.astype(np.int64)


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
