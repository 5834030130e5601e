"""Repairable systems and comparisons of groups against what was printed."""

import math

import pytest
from scipy.stats import CensoredData, logrank

from installs.calc.groups import compare_lives
from installs.calc.reliability import mean_cumulative, mean_time_between_failures
from installs.calc.types import LaneHistory
from tests.outside.installs.published_lives import (
    SIX_MP,
    SIX_MP_CONTROL,
    VALVE_SEATS,
)


def test_three_systems():
    """Documentation of the R package ReliaGrowR: mean, and its upper limit at 95 %
    (random failures, limits on the plain scale)."""
    found = mean_cumulative(
        [
            LaneHistory("A", (100, 300, 500), 500),
            LaneHistory("B", (150, 400), 400),
            LaneHistory("C", (50, 200, 350, 600), 600),
        ]
    )
    mean = [0.3333, 0.6667, 1.0, 1.3333, 1.6667, 2.0, 2.3333, 2.8333, 3.8333]
    upper = [0.9867, 1.5906, 2.1316, 2.64, 3.1275, 3.6003, 4.0619, 4.8203, 6.6243]
    assert found.mean == pytest.approx(mean, abs=5.1e-5)
    got = [
        m + 1.959964 * e for m, e in zip(found.mean, found.poisson_error, strict=True)
    ]
    assert got == pytest.approx(upper, abs=5.1e-5)


def test_valve_seats():
    """Nelson 1995, 41 engines, 48 replacements. The means by a second program
    (reliability 0.9.0: .0243902, .219512, 1.54269); the robust errors are recorded
    values of an independent computation of Lawless & Nadeau's formula."""
    found = mean_cumulative(
        [LaneHistory(str(i), days, end) for i, (days, end) in enumerate(VALVE_SEATS)]
    )
    assert (found.n_lanes, found.n_failures) == (41, 48)
    at = {
        age: (mean, error)
        for age, mean, error in zip(
            found.age_years, found.mean, found.standard_error, strict=True
        )
    }
    for age, mean, error in [
        (61, 0.02439, 0.02409),
        (76, 0.04878, 0.03364),
        (139, 0.21951, 0.07327),
        (298, 0.46341, 0.10961),
        (410, 0.73354, 0.13914),
        (539, 0.85854, 0.15513),
        (604, 1.05972, 0.18506),
        (653, 1.54269, 0.31166),
    ]:
        assert at[age] == pytest.approx((mean, error), abs=5.1e-6)


def test_six_mp_against_control():
    """Freireich et al. 1963: log-rank chi-square 16.79 (textbooks; from memory)."""
    found = compare_lives({"6-MP": SIX_MP, "control": SIX_MP_CONTROL})
    assert found.statistic == pytest.approx(16.79, abs=0.005)
    assert found.p_value == pytest.approx(4.17e-5, abs=5e-8)
    assert [one.failures for one in found.groups] == [9, 21]
    assert [one.expected for one in found.groups] == pytest.approx(
        [19.25, 10.75], abs=0.005
    )


def test_six_mp_against_control_by_the_library():
    """scipy.stats.logrank (its statistic is the signed root)."""
    theirs = logrank(
        CensoredData.right_censored(
            [x.age_years for x in SIX_MP], [not x.failed for x in SIX_MP]
        ),
        CensoredData(uncensored=[x.age_years for x in SIX_MP_CONTROL]),
    )
    found = compare_lives({"6-MP": SIX_MP, "control": SIX_MP_CONTROL})
    assert found.statistic == pytest.approx(theirs.statistic**2)
    assert found.p_value == pytest.approx(theirs.pvalue)


def test_chi_square_limits_of_a_failure_rate():
    """Textbook Poisson limits (from memory): for 10 events, 95 %, 4.795 to 18.390; for
    none, one-sided 95 %, 2.996."""
    found = mean_time_between_failures(100.0, 10, level=0.95)
    assert (100 / found.high, 100 / found.low) == pytest.approx(
        (4.795, 18.390), abs=5.1e-4
    )
    none = mean_time_between_failures(100.0, 0, level=0.95)
    assert 100 / none.low == pytest.approx(2.996, abs=5.1e-4)
    assert none.value is None
    assert math.isinf(none.high)
