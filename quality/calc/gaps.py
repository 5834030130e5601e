"""Is an empty hour an hour without trucks, or an hour without data?

On a quiet lane many hours are empty by nature. A run of empty hours is judged by how
likely it is, given what the same hours of the week held in the eight weeks before.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

HOURS_IN_WEEK = 168
TRAILING_WEEKS = 8
LEAST_WEEKS = 4
SPREAD_K = 20.0
"""Negative binomial size: hourly counts scatter more than Poisson (own simulation)."""
GAP_PROBABILITY = 1e-6
WATCH_PROBABILITY = 1e-4


@dataclass(frozen=True)
class EmptyRun:
    """A run of empty hours: ``start`` and ``stop`` count hours from the first day's 0.

    ``probability`` is the chance of the whole run with the lane working, ``expected``
    the vehicles that were to be expected in it.
    """

    start: int
    stop: int
    probability: float
    expected: float


def zero_probability(rate: np.ndarray | float, k: float = SPREAD_K) -> np.ndarray:
    """Chance that an hour with ``rate`` expected vehicles is empty: (k/(k+rate))^k.

    >>> round(float(zero_probability(3.0)), 4)
    0.0611
    """
    return np.asarray((k / (k + np.asarray(rate, dtype=np.float64))) ** k)


def trailing_rates(counts: np.ndarray, is_known: np.ndarray) -> np.ndarray:
    """Expected vehicles of each hour: mean of the same hour of the week before.

    Parameters
    ----------
    counts : (n_days, 24)
        Vehicles of each hour; consecutive days.
    is_known : bool, (n_days, 24)
        Hours that may be learnt from (not missing, not already found bad).

    Returns
    -------
    (n_days, 24), NaN where fewer than 4 of the 8 weeks before are known.
    """
    n_days = counts.shape[0]
    weeks = -(-n_days // 7)
    padding = weeks * 7 - n_days
    value = np.where(is_known, counts, 0).astype(np.float64)
    value = np.pad(value, ((0, padding), (0, 0))).reshape(weeks, HOURS_IN_WEEK)
    known = np.pad(is_known, ((0, padding), (0, 0))).reshape(weeks, HOURS_IN_WEEK)
    total, number = _trailing_sum(value), _trailing_sum(known.astype(np.float64))
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(number >= LEAST_WEEKS, total / number, np.nan)
    return rate.reshape(weeks * 7, 24)[:n_days]


def _trailing_sum(values: np.ndarray) -> np.ndarray:
    """Sum of the eight rows before each row."""
    sums = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    place = np.arange(len(values))
    return sums[place] - sums[np.maximum(place - TRAILING_WEEKS, 0)]


def empty_runs(
    counts: np.ndarray,
    *,
    is_empty: np.ndarray | None = None,
    is_known: np.ndarray | None = None,
    watch: float = WATCH_PROBABILITY,
    gap: float = GAP_PROBABILITY,
) -> list[EmptyRun]:
    """Runs of empty hours less likely than ``watch``, in order.

    Parameters
    ----------
    counts : (n_days, 24)
        Vehicles of each hour of consecutive days.
    is_empty : bool, (n_days, 24), optional
        Hours that nothing says were recorded; by default those without a vehicle. An
        hour that the file marks as recorded and empty is not in question.
    is_known : bool, (n_days, 24), optional
        Hours that may be learnt from; all by default.

    Notes
    -----
    Done twice: gaps found first do not enter the rates of the second pass. Hours whose
    rate is not known yet are taken as silent on the matter (probability 1).
    """
    counts = np.asarray(counts)
    if counts.ndim != 2 or counts.shape[1] != 24:
        raise ValueError(f"counts must have the shape (days, 24), got {counts.shape}")
    empty = counts == 0 if is_empty is None else np.asarray(is_empty, dtype=bool)
    known = np.ones(counts.shape, bool) if is_known is None else np.array(is_known)
    runs = _runs(empty, trailing_rates(counts, known), watch)
    flat = known.reshape(-1).copy()
    for run in runs:
        if run.probability <= gap:
            flat[run.start : run.stop] = False
    return _runs(empty, trailing_rates(counts, flat.reshape(counts.shape)), watch)


def _runs(empty: np.ndarray, rates: np.ndarray, watch: float) -> list[EmptyRun]:
    flags = np.concatenate([[False], empty.reshape(-1), [False]])
    edges = np.flatnonzero(flags[1:] != flags[:-1])
    starts, stops = edges[::2], edges[1::2]
    rate = np.nan_to_num(rates.reshape(-1))
    log_p = np.concatenate([[0.0], np.cumsum(np.log(zero_probability(rate)))])
    expected = np.concatenate([[0.0], np.cumsum(rate)])
    log_run = log_p[stops] - log_p[starts]
    found = []
    for i in np.flatnonzero(log_run <= np.log(watch)):
        a, b = int(starts[i]), int(stops[i])
        found.append(
            EmptyRun(a, b, float(np.exp(log_run[i])), float(expected[b] - expected[a]))
        )
    return found
