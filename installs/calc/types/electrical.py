"""Readings of electrical tests, their limits, trends and crossings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from installs.calc.types.words import ElectricalQuantity
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval


@dataclass(frozen=True)
class AcceptanceLimit:
    """Lowest and highest acceptable value of a quantity, and where that is from."""

    low: float | None
    high: float | None
    source: str
    standing: str = "agency's own"

    def __post_init__(self) -> None:
        """Refuse a limit without a side or with its sides crossed."""
        if self.low is None and self.high is None:
            raise DomainError("A limit needs a lowest value, a highest value or both.")
        sides = [side for side in (self.low, self.high) if side is not None]
        if not all(math.isfinite(side) for side in sides):
            raise DomainError("A side of a limit is not a number.")
        if sides != sorted(sides):
            raise DomainError(
                f"The highest value {self.high:g} is below the lowest {self.low:g}."
            )


@dataclass(frozen=True)
class DatedReading:
    """One reading of a quantity; ``over_range`` if the meter said only "above".

    ``temp_c`` is the pavement's temperature at the test [°C], None where nobody
    measured it.
    """

    on: date
    value: float
    over_range: bool = False
    temp_c: float | None = None


@dataclass(frozen=True)
class TemperatureCoefficient:
    """How a quantity moves with pavement temperature, and who says so.

    Attributes
    ----------
    pct_per_c
        Per cent of the value at the reference temperature, for each °C above it.
    reference_c
        Temperature that values are corrected to [°C].
    source
        Where the coefficient is from.
    """

    pct_per_c: float
    reference_c: float
    source: str

    def __post_init__(self) -> None:
        """Refuse a coefficient that is not a number."""
        if not (math.isfinite(self.pct_per_c) and math.isfinite(self.reference_c)):
            raise DomainError(
                "A temperature coefficient and its reference temperature must both be "
                "numbers."
            )


@dataclass(frozen=True)
class Tolerance:
    """How far a value may be from what it is held against, as ratios to it.

    ``low`` 0.8 and ``high`` 1.2 say ±20 %; a side that is None is open.
    """

    low: float | None
    high: float | None
    source: str
    standing: str = "agency's own"

    @classmethod
    def within_pct(
        cls, pct: float, source: str, standing: str = "agency's own"
    ) -> Tolerance:
        """The tolerance ± ``pct`` per cent."""
        if not 0 < pct <= 100:
            raise DomainError(
                f"A tolerance of ±{pct:g} % cannot be used; it must be above zero and "
                "at most 100."
            )
        return cls(1 - pct / 100, 1 + pct / 100, source, standing)

    @property
    def words(self) -> str:
        """Such as "within ±20 % of" or "at least 0.1 times"."""
        low, high = self.low, self.high
        if low is not None and high is not None:
            if math.isclose(1 - low, high - 1, rel_tol=1e-9):
                return f"within ±{100 * (high - 1):.6g} % of"
            return f"{low:.6g} to {high:.6g} times"
        if low is not None:
            return f"at least {low:.6g} times"
        return f"at most {high:.6g} times"


@dataclass(frozen=True)
class QuantityRules:
    """All that a quantity of a sensor model is held to; each part may be missing."""

    limit: AcceptanceLimit | None = None
    data_sheet_tolerance: Tolerance | None = None
    first_tolerance: Tolerance | None = None
    coefficient: TemperatureCoefficient | None = None


@dataclass(frozen=True)
class Baseline:
    """The sensor's own first complete readings of a quantity, as one value.

    Attributes
    ----------
    value
        Median of the readings [unit of the quantity].
    n
        Readings behind it.
    first_on, last_on
        Days of the first and last of them.
    over_range
        The meter said only that the value is above ``value``.
    """

    value: float
    n: int
    first_on: date
    last_on: date
    over_range: bool = False


@dataclass(frozen=True)
class ElectricalTrend:
    """A robust straight-line trend through the readings of one quantity.

    Attributes
    ----------
    quantity
        What was read.
    n, n_over_range, n_zero
        Readings used, readings left out because the meter was at its upper end, and
        readings of zero left out because a logarithm of zero does not exist.
    slope_per_year
        Unit a year; on a log scale, decades (powers of ten) a year. None when there
        are too few readings; so are the fields that follow from it.
    interval
        Interval of the slope at the level it carries.
    fitted_last
        The line's value on the day of the last reading used, in the quantity's unit.
    middle_days, middle_value
        The point that the lines turn about: days after ``first_on``, and the median
        value on the trend's own scale (log10 where that is used).
    first_on, last_on
        Days of the first and last reading used.
    sentence
        The trend in words.
    """

    quantity: ElectricalQuantity
    n: int
    n_over_range: int
    n_zero: int
    slope_per_year: float | None
    interval: Interval | None
    fitted_last: float | None
    middle_days: float | None
    middle_value: float | None
    first_on: date | None
    last_on: date | None
    sentence: str

    @property
    def is_known(self) -> bool:
        """Whether there were readings enough for a slope."""
        return self.slope_per_year is not None


@dataclass(frozen=True)
class LimitCrossing:
    """When a trend reaches a limit, as far as the readings carry.

    ``expected_on``, ``earliest_on`` and ``latest_on`` are None where that line does
    not reach the limit by ``reach_until``: the day as far after the last reading as
    the first is before it. No trend is drawn beyond that day.
    """

    expected_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reach_until: date
    already_past: bool = False
    limit_value: float | None = None
