"""Is the controller's clock wrong? The shape of the hours says so.

Traffic has a shape over the day and the week. A clock that is hours wrong moves the
shape, one wrong by days moves the quiet days, one without AM and PM lays the afternoon
on the morning. Each is held against the usual shape by how likely the hours' vehicles
are under it, whatever their total; hourly counts scatter more than chance, so the
likelihood is divided by their own dispersion.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from quality.calc.days import as_day

HOURS = 24
HOURS_IN_WEEK = 168
LEAST_RATE = 0.02
"""Vehicles an hour that are expected at the least: no hour is impossible."""
MOST_SHIFT_H = 84
GAIN_LIMIT = 25.0
"""Gain in log likelihood from which a shift is spoken of (MEASURED_CHECKS.md)."""


class ClockFault(StrEnum):
    """What is wrong with a clock."""

    NONE = "none"
    HOURS = "hours"
    DAYS = "days"
    NO_AM_PM = "no AM and PM"


@dataclass(frozen=True)
class ClockShift:
    """The likeliest fault of a clock, with its evidence.

    Attributes
    ----------
    fault
        NONE when nothing fits better than a right clock.
    hours
        By how much the records' clock is ahead of the time [h]; 0 without AM and PM.
    gain
        Log likelihood gained over a right clock, over the dispersion.
    agreement_before, agreement_after
        Correlation of the hours with the usual shape, as recorded and with the fault
        taken off.
    n
        Vehicles looked at.
    """

    fault: ClockFault
    hours: int
    gain: float
    agreement_before: float
    agreement_after: float
    n: int

    def is_found(self, limit: float = GAIN_LIMIT) -> bool:
        """Whether the gain is above ``limit``."""
        return self.fault is not ClockFault.NONE and self.gain > limit


def clock_shift(
    hourly: np.ndarray,
    usual_week: np.ndarray,
    first_on: np.datetime64,
    *,
    is_known: np.ndarray | None = None,
    most_h: int = MOST_SHIFT_H,
) -> ClockShift | None:
    """The likeliest fault of the clock over consecutive days.

    Parameters
    ----------
    hourly : (n_days, 24)
        Vehicles of each hour as recorded.
    usual_week : (7, 24)
        Usual vehicles of each hour, Monday first, with the clock right.
    first_on
        The first day, as recorded.
    is_known : bool, (n_days, 24), optional
        Hours that were recorded; all by default.
    most_h
        Shifts of up to so many hours either way are tried: 84 is half a week.

    Returns
    -------
    None when there is nothing to look at.

    Raises
    ------
    ValueError
        When an array has another shape.
    """
    hourly = np.asarray(hourly, dtype=np.float64)
    usual = np.asarray(usual_week, dtype=np.float64)
    if hourly.ndim != 2 or hourly.shape[1] != HOURS or usual.shape != (7, HOURS):
        raise ValueError(
            f"hourly must be (days, 24) and usual_week (7, 24), got {hourly.shape} "
            f"and {usual.shape}"
        )
    known = np.ones(hourly.shape, bool) if is_known is None else np.asarray(is_known)
    day = as_day(first_on).astype(np.int64)
    monday_based = int(day + 3) % 7  # 1970-01-01 was a Thursday
    place = monday_based * HOURS + np.arange(hourly.size)
    shifts = np.arange(-most_h, most_h + 1)
    week = usual.reshape(-1)
    rates = week[(place[None, :] - shifts[:, None]) % HOURS_IN_WEEK]
    folded = _folded(week[place % HOURS_IN_WEEK].reshape(hourly.shape)).reshape(1, -1)
    candidates = np.vstack([rates, folded])[None]
    counts, looked_at = hourly.reshape(1, -1), known.reshape(1, -1)
    gain = gains(counts, candidates, looked_at, none=most_h)[0]
    if np.isnan(gain).any():
        return None
    chosen = int(np.argmax(gain))
    hours = int(shifts[chosen]) if chosen < len(shifts) else 0
    if chosen == len(shifts):
        fault = ClockFault.NO_AM_PM
    elif hours == 0:
        fault = ClockFault.NONE
    else:
        fault = ClockFault.DAYS if hours % HOURS == 0 else ClockFault.HOURS
    mask = known.reshape(-1)
    return ClockShift(
        fault,
        hours,
        float(gain[chosen]),
        _agreement(counts[0, mask], candidates[0, most_h][mask]),
        _agreement(counts[0, mask], candidates[0, chosen][mask]),
        int(counts[0, mask].sum()),
    )


def gains(
    counts: np.ndarray, candidates: np.ndarray, known: np.ndarray, *, none: int
) -> np.ndarray:
    """How much likelier each shape is than the one without a fault.

    Parameters
    ----------
    counts, known : (n, hours)
        Vehicles of each hour, and which hours are looked at.
    candidates : (n, shapes, hours)
        Vehicles to be expected under each shape; only their proportions are used.
    none
        Place of the shape without a fault.

    Returns
    -------
    (n, shapes)
        Log likelihood (multinomial) less that without a fault, over the dispersion
        under the best shape (Pearson's chi-square a degree of freedom, at least 1);
        NaN where nothing is known.
    """
    counts = np.where(known, counts, 0.0)
    expected = np.where(known[:, None, :], np.fmax(candidates, LEAST_RATE), 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = expected / expected.sum(axis=2, keepdims=True)
        logs = np.where(expected > 0, np.log(expected), 0.0)
    likelihood = np.einsum("nh,nsh->ns", counts, logs)
    best = np.argmax(likelihood, axis=1)
    wanted = expected[np.arange(len(counts)), best] * counts.sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.where(wanted > 0, (counts - wanted) ** 2 / wanted, 0.0)
    freedom = np.maximum(known.sum(axis=1) - 1, 1)
    dispersion = np.fmax(apart.sum(axis=1) / freedom, 1.0)
    gain = (likelihood - likelihood[:, none : none + 1]) / dispersion[:, None]
    gain[counts.sum(axis=1) == 0] = np.nan
    return np.asarray(gain)


def _folded(rates: np.ndarray) -> np.ndarray:
    """The shape of a clock without AM and PM: afternoons laid on mornings."""
    half = HOURS // 2
    out = np.zeros(rates.shape)
    out[..., :half] = rates[..., :half] + rates[..., half:]
    return out


def day_candidates(rates: np.ndarray, most_h: int) -> np.ndarray:
    """Shapes of each of n days under shifts of up to ``most_h`` and without AM and PM.

    Parameters
    ----------
    rates : (n, 24)
        Usual vehicles of the hours of consecutive days.

    Returns
    -------
    (n, 2 most_h + 2, 24)
        Shifts from −most_h on, the last without AM and PM; NaN beyond the ends.
    """
    n = len(rates)
    beyond = np.full(most_h, np.nan)
    flat = np.concatenate([beyond, rates.reshape(-1), beyond])
    windows = np.lib.stride_tricks.sliding_window_view(flat, HOURS)
    shifts = np.arange(-most_h, most_h + 1)
    start = np.arange(n)[:, None] * HOURS + most_h - shifts[None, :]
    return np.concatenate([windows[start], _folded(rates)[:, None, :]], axis=1)


def _agreement(counts: np.ndarray, expected: np.ndarray) -> float:
    if len(counts) < 2 or np.ptp(counts) == 0 or np.ptp(expected) == 0:
        return float("nan")
    return float(np.corrcoef(counts, expected)[0, 1])
