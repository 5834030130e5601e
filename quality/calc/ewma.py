"""The exponentially weighted moving average (EWMA) chart.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4. Lucas and Saccucci,
Technometrics 32, 1990.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

WEIGHT = 0.1
LIMIT = 2.814
"""Weight of the newest week and limit in standard deviations: an average run length of
500 for independent data of known mean (Lucas and Saccucci 1990)."""


@dataclass(frozen=True)
class Ewma:
    """A chart.

    Attributes
    ----------
    level : (n,)
        The smoothed values, in the units of the data.
    low, high : (n,)
        Limits at each point.
    signal : int or None
        Place of the first point outside its limits.
    side : int
        +1 above, −1 below, 0 for no signal.
    """

    level: np.ndarray
    low: np.ndarray
    high: np.ndarray
    signal: int | None
    side: int


def steady_half_width(weight: float, limit: float) -> float:
    """Half the distance of the steady limits, in standard deviations of the data.

    Raises
    ------
    ValueError
        When ``weight`` is not above 0 and at most 1, or ``limit`` is not positive.
    """
    if not 0.0 < weight <= 1.0:
        raise ValueError(f"weight must lie above 0 and at most at 1, got {weight}")
    if limit <= 0.0:
        raise ValueError(f"limit must be positive, got {limit}")
    return limit * float(np.sqrt(weight / (2.0 - weight)))


def ewma(
    values: np.ndarray,
    *,
    target: float,
    sd: float,
    weight: float = WEIGHT,
    limit: float = LIMIT,
    exact_start: bool = False,
) -> Ewma:
    """Chart ``values`` against ``target``.

    Parameters
    ----------
    values : (n,)
        Observations in time order; must be finite.
    target, sd
        Target and standard deviation, in the units of the data.
    weight, limit
        λ and L. A point on its limit does not signal.
    exact_start
        Narrower limits at the start, where the average still varies less; the run
        lengths of :func:`quality.calc.arl.ewma_arl` are those of the steady limits.

    Raises
    ------
    ValueError
        When a value is not finite, or a constant is out of range.
    """
    values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(values).all():
        raise ValueError("values must be finite; leave out weeks without data")
    if sd < 0.0:
        raise ValueError(f"sd must not be negative, got {sd}")
    half = np.full(len(values), sd * steady_half_width(weight, limit))
    if exact_start:
        age = np.arange(1, len(values) + 1)
        half = half * np.sqrt(1.0 - (1.0 - weight) ** (2 * age))
    level = np.empty(len(values))
    now = target
    for place, value in enumerate(values):
        now += weight * (value - now)
        level[place] = now
    out = np.flatnonzero(np.abs(level - target) > half)
    if len(out) == 0:
        return Ewma(level, target - half, target + half, None, 0)
    first = int(out[0])
    side = 1 if level[first] > target else -1
    return Ewma(level, target - half, target + half, first, side)
