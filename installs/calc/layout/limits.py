"""An interval held against limits, and numbers for the sentences that tell of it."""

from __future__ import annotations

import math
from statistics import NormalDist

from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval, Verdict
from wimprog.lib.units import UNITS

#: Level of every interval of the layout calculations.
LEVEL = 0.95
#: Half width of that interval in standard uncertainties, 1.960 (normal distribution;
#: the tape's standard deviation is taken as known).
COVERAGE_FACTOR = NormalDist().inv_cdf((1.0 + LEVEL) / 2.0)


def interval_of(value: float, u: float) -> Interval:
    """The 95 % interval of a value with standard uncertainty ``u``."""
    return Interval(value - COVERAGE_FACTOR * u, value + COVERAGE_FACTOR * u, LEVEL)


def verdict_within(interval: Interval, limit: float) -> Verdict:
    """Whether an interval lies within ±``limit``, ends included.

    ``meets`` when all of it does, ``misses`` when none of it does, else
    ``cannot say``.

    >>> str(verdict_within(Interval(-0.4, 0.5), 0.5))
    'meets'
    >>> str(verdict_within(Interval(0.4, 0.6), 0.5))
    'cannot say'
    """
    if -limit <= interval.low and interval.high <= limit:
        return Verdict.MEETS
    if interval.high < -limit or interval.low > limit:
        return Verdict.MISSES
    return Verdict.CANNOT_SAY


def check_positive(what: str, value: float, unit: str = "m") -> None:
    """Refuse a size that is not a number above zero.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Names the size and what was found.
    """
    if not (math.isfinite(value) and value > 0):
        raise DomainError(
            f"The {what} is {value:g} {unit}; it must be a number above zero."
        )


def length_words(value_m: float, unit: str) -> str:
    """A length in metres told in ``unit``, without needless digits: "9.5 ft".

    >>> length_words(1.524, "ft")
    '5 ft'
    """
    return f"{UNITS[unit].from_si(value_m * _si_per_m(unit)):.5g} {unit}"


def _si_per_m(unit: str) -> float:
    """SI value of one metre in the kind of ``unit``: short lengths count in mm."""
    return 1000.0 if UNITS[unit].kind == "short length" else 1.0
