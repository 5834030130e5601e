"""The two-sided tabular CUSUM; :mod:`quality.calc.arl` says how long it runs.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3. Montgomery,
Introduction to Statistical Quality Control, chapter 9. Lucas and Crosier,
Technometrics 24, 1982, table 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

K = 0.5
H = 5.0
"""Reference value and decision interval, in standard deviations (Montgomery)."""


@dataclass(frozen=True)
class Cusum:
    """A chart.

    Attributes
    ----------
    high, low : (n,)
        Upper and lower sums in the units of the data; both are at least 0.
    signal : int or None
        Place of the first point at which a sum passes the decision interval.
    side : int
        +1 when the upper sum signalled, −1 for the lower, 0 for neither.
    start : int or None
        Place of the first point after the signalling sum was last zero: the estimate
        of when the shift began.
    """

    high: np.ndarray
    low: np.ndarray
    signal: int | None
    side: int
    start: int | None


def cusum(values: np.ndarray, *, target: float, k: float, h: float) -> Cusum:
    """Chart ``values`` against ``target``.

    Parameters
    ----------
    values : (n,)
        Observations in time order; must be finite.
    target, k, h
        Target, reference value and decision interval, in the units of the data. A sum
        greater than ``h`` signals; equal to it does not.

    Raises
    ------
    ValueError
        When a value is not finite, or ``h`` is not positive.
    """
    values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(values).all():
        raise ValueError("values must be finite; leave out weeks without data")
    if h <= 0 or k < 0:
        raise ValueError(f"h must be positive and k not negative, got {h} and {k}")
    high, low = np.zeros(len(values)), np.zeros(len(values))
    up = down = 0.0
    for place, value in enumerate(values):
        up = max(0.0, up + value - target - k)
        down = max(0.0, down + target - value - k)
        high[place], low[place] = up, down
    over = np.flatnonzero((high > h) | (low > h))
    if len(over) == 0:
        return Cusum(high, low, None, 0, None)
    signal = int(over[0])
    side = 1 if high[signal] > h else -1
    sums = high if side > 0 else low
    zeros = np.flatnonzero(sums[: signal + 1] == 0.0)
    start = int(zeros[-1]) + 1 if len(zeros) else 0
    return Cusum(high, low, signal, side, start)


def running_signal(chart: Cusum, h: float) -> tuple[int, int] | None:
    """Start and signal of the excursion that the chart is in at its last point.

    None when neither sum is beyond ``h`` at the end: what signalled once and has gone
    back is history. The start is the first point after the sum was last zero.
    """
    if len(chart.high) == 0:
        return None
    sums = chart.high if chart.high[-1] >= chart.low[-1] else chart.low
    if sums[-1] <= h:
        return None
    zeros = np.flatnonzero(sums == 0.0)
    start = int(zeros[-1]) + 1 if len(zeros) else 0
    return start, start + int(np.flatnonzero(sums[start:] > h)[0])
