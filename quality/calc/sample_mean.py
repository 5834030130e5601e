"""A mean or a share of the vehicles of a week, with n and its interval."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Self

import numpy as np
from scipy.special import stdtrit
from scipy.stats import binomtest

LEVEL = 0.95


@dataclass(frozen=True)
class SampleMean:
    """Mean of n values, in the unit that the figure's name says.

    The interval is Student's t, for chance between the vehicles of this sample only:
    weeks scatter more than that (temperature, mix of trucks).

    Attributes
    ----------
    n
        Values.
    mean, sd
        None where there are too few: no value for the mean, fewer than two for the sd.
    low, high
        Ends of the interval; None with fewer than two values.
    level
        Level of the interval.
    """

    n: int
    mean: float | None
    sd: float | None
    low: float | None
    high: float | None
    level: float = LEVEL

    @classmethod
    def of(cls, values: np.ndarray, level: float = LEVEL) -> Self:
        """Of an array, unknown (NaN) values left out.

        References
        ----------
        NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2.
        """
        known = np.asarray(values, dtype=np.float64)
        known = known[~np.isnan(known)]
        n = len(known)
        if n == 0:
            return cls(0, None, None, None, None, level)
        mean = float(known.mean())
        if n == 1:
            return cls(1, mean, None, None, None, level)
        sd = float(known.std(ddof=1))
        half = float(stdtrit(n - 1, 0.5 + level / 2)) * sd / n**0.5
        return cls(n, mean, sd, mean - half, mean + half, level)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return asdict(self)


@dataclass(frozen=True)
class SampleShare:
    """Share of n vehicles, with Wilson's interval (1927, JASA 22, 209–212).

    Attributes
    ----------
    part, n
        How many of how many.
    share, low, high
        None where there is no vehicle.
    """

    part: int
    n: int
    share: float | None
    low: float | None
    high: float | None
    level: float = LEVEL

    @classmethod
    def of(cls, part: int, n: int, level: float = LEVEL) -> Self:
        """Of counts."""
        if n == 0:
            return cls(0, 0, None, None, None, level)
        ends = binomtest(part, n).proportion_ci(level, method="wilson")
        return cls(part, n, part / n, float(ends.low), float(ends.high), level)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return asdict(self)
