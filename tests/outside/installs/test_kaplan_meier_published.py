"""Kaplan–Meier tables that were printed, and one that another program printed."""

import math

import pytest
from scipy.stats import CensoredData, ecdf

from installs.calc.survival import kaplan_meier
from installs.calc.types import SurvivalCurve
from tests.outside.installs.published_lives import SIX_MP, SIX_MP_CONTROL, lives

# Freireich et al. 1963, 6-MP arm, the standard textbook table (from memory, then
# recomputed): age, at risk, failures, survival, Greenwood SE, 95 % log-log interval.
SIX_MP_TABLE = [
    (6, 21, 3, 0.8571, 0.0764, 0.6197, 0.9516),
    (7, 17, 1, 0.8067, 0.0869, 0.5631, 0.9228),
    (10, 15, 1, 0.7529, 0.0963, 0.5032, 0.8894),
    (13, 12, 1, 0.6902, 0.1068, 0.4316, 0.8491),
    (16, 11, 1, 0.6275, 0.1141, 0.3675, 0.8049),
    (22, 7, 1, 0.5378, 0.1282, 0.2678, 0.7468),
    (23, 6, 1, 0.4482, 0.1346, 0.1881, 0.6801),
]


def test_six_mp_table():
    """Freireich et al. 1963, to the printed digits."""
    curve = kaplan_meier(SIX_MP)
    rows = list(
        zip(
            curve.age_years,
            curve.at_risk,
            curve.failures,
            curve.survival,
            curve.standard_error,
            curve.low,
            curve.high,
            strict=True,
        )
    )
    assert [row[:3] for row in rows] == [row[:3] for row in SIX_MP_TABLE]
    for got, printed in zip(rows, SIX_MP_TABLE, strict=True):
        assert got[3:] == pytest.approx(printed[3:], abs=5.1e-5)


def test_six_mp_medians():
    """Freireich et al. 1963: median remission 23 weeks, 8 under control."""
    assert kaplan_meier(SIX_MP).median_years == 23
    assert kaplan_meier(SIX_MP_CONTROL).median_years == 8


def step(curve: SurvivalCurve, age: float, values: tuple[float, ...]) -> float:
    return [v for a, v in zip(curve.age_years, values, strict=True) if a <= age][-1]


def test_second_set():
    """R `survfit`, 90 % log-log, as quoted in the tests of scipy.stats.ecdf."""
    times = [3, 5, 8, 10, 5, 5, 8, 12, 15, 14, 2, 11, 10, 9, 12, 5, 8, 11]
    event = [1, 1, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1, 1, 1]
    data = lives(
        [t for t, e in zip(times, event, strict=True) if e],
        [t for t, e in zip(times, event, strict=True) if not e],
    )
    curve = kaplan_meier(data, level=0.90)
    at = [2, 3, 5, 8, 9, 10, 11, 12, 14, 15]
    survival = [0.944, 0.889, 0.722, 0.542, 0.542, 0.542, 0.361, 0.181, 0.181, 0.181]
    low = [0.743667, 0.685823, 0.505968, 0.329131, 0.329131, 0.329131]
    low += [0.159869, 0.044995, 0.044995, 0.044995]
    high = [0.989029, 0.963884, 0.856037, 0.713017, 0.713017, 0.713017]
    high += [0.567860, 0.388762, 0.388762, 0.388762]
    assert [step(curve, a, curve.survival) for a in at] == pytest.approx(
        survival, abs=5.1e-4
    )
    assert [step(curve, a, curve.low) for a in at] == pytest.approx(low, abs=1e-6)
    assert [step(curve, a, curve.high) for a in at] == pytest.approx(high, abs=1e-6)


def test_equals_the_library_estimate():
    """scipy.stats.ecdf on the control arm, where all failed."""
    curve = kaplan_meier(SIX_MP_CONTROL)
    theirs = ecdf(CensoredData(uncensored=[x.age_years for x in SIX_MP_CONTROL])).sf
    assert curve.survival == pytest.approx(theirs.probabilities, abs=1e-12)
    assert math.isnan(curve.low[-1])
    assert math.isnan(curve.high[-1])
