"""Sen (1968), JASA 63, 1379-1389: the worked example of the median slope."""

from datetime import date, timedelta

import pytest

from installs.calc.electrical import electrical_trend
from installs.calc.types import (
    DAYS_PER_YEAR,
    DatedReading,
    ElectricalQuantity,
)

X = [1, 2, 3, 4, 10, 12, 18]
Y = [9, 15, 19, 20, 45, 55, 78]


def test_sen_example():
    """Slope 4 with 93 % limits 3.71 and 4.38; the example's x are taken as days."""
    trend = electrical_trend(
        ElectricalQuantity.CAPACITANCE,
        [
            DatedReading(date(2026, 1, 1) + timedelta(days=x), y)
            for x, y in zip(X, Y, strict=True)
        ],
        level=0.93,
    )
    assert trend.n == 7
    assert trend.slope_per_year / DAYS_PER_YEAR == pytest.approx(4.0)
    assert trend.interval.low / DAYS_PER_YEAR == pytest.approx(3.71, abs=0.005)
    assert trend.interval.high / DAYS_PER_YEAR == pytest.approx(4.38, abs=0.0051)
    # Intercept 4 (difference of the medians): the line at x = 18 is 4 + 4 * 18.
    assert trend.fitted_last == pytest.approx(4 + 4 * 18)
