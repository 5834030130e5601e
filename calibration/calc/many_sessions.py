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
