"""Worked examples of JCGM 100:2008, Guide to the expression of uncertainty (GUM)."""

import math

import pytest

from calibration.calc.reference import reference_weights
from calibration.calc.reference_types import Scale, ScaleReading
from calibration.calc.uncertainty import (
    Component,
    combined,
    coverage_factor,
    effective_df,
    interval_of,
)

END_GAUGE_NM = [  # H.1: standard's calibration, comparison, two temperature terms
    Component("standard", 25.0, 18),
    Component("difference", 9.7, 25.6),
    Component("expansion", 2.9, 50),
    Component("temperature", 16.6, 2),
]


def test_end_gauge_of_annex_h1():
    """H.1.6: u = 32 nm, 16 degrees of freedom, U99 = 93 nm (with t = 2.92).

    Components and degrees of freedom as public re-computations of H.1 quote them;
    results from memory of the document. The guide rounds u to 32 and cuts to 16.
    """
    u = combined(one.u for one in END_GAUGE_NM)
    df = effective_df(END_GAUGE_NM)
    assert round(u) == 32
    assert math.floor(df) == 16
    assert coverage_factor(math.floor(df), level=0.99) == pytest.approx(2.92, abs=5e-3)
    assert coverage_factor(16, level=0.99) * round(u) == pytest.approx(93, abs=0.6)


def test_comparison_within_annex_h1():
    """H.1.3.2: 5.8 (24), 3.9 (5) and 6.7 (8) nm give 9.7 nm with 25.6 df."""
    parts = [Component("", 5.8, 24), Component("", 3.9, 5), Component("", 6.7, 8)]
    assert combined(one.u for one in parts) == pytest.approx(9.7, abs=0.05)
    assert effective_df(parts) == pytest.approx(25.6, abs=0.2)


def test_example_of_g4():
    """G.4.1: 0.25, 0.57 and 0.82 % of 10, 5 and 15 readings: 1.03 %, df 19.0.

    Values from memory of the document, recomputed.
    """
    parts = [Component("", 0.25, 9), Component("", 0.57, 4), Component("", 0.82, 14)]
    assert combined(one.u for one in parts) == pytest.approx(1.03, abs=5e-3)
    assert effective_df(parts) == pytest.approx(19.0, abs=0.05)


def test_ten_parts_measured_against_one_standard():
    """5.2.2, example: ten resistors of 1,000 Ω, each known to 100 mΩ by one standard,
    make 10 kΩ known to 1 Ω; taken for independent it would be 0.32 Ω (from memory).

    A scale and axles stand in for standard and resistors: the same sum.
    """
    readings = [ScaleReading((axle,), 1000.0) for axle in range(10)]
    for correlation, u in ((1.0, 1.0), (0.0, 0.32)):
        one = Scale(
            "standard",
            resolution_kg=0.0,
            expanded_kg=0.1,
            coverage_k=1.0,
            correlation=correlation,
        )
        found = reference_weights("ten", readings, one, axle_spacings_m=(5.0,) * 9)
        assert found.gross.load_kg == pytest.approx(10_000)
        assert found.gross.u_kg == pytest.approx(u, abs=5e-3)


@pytest.mark.parametrize(
    ("df", "level", "factor"),
    [
        (1, 0.95, 12.71),
        (4, 0.95, 2.78),
        (16, 0.95, 2.12),
        (19, 0.99, 2.86),
        (math.inf, 0.95, 1.960),
        (math.inf, 0.99, 2.576),
    ],
)
def test_factors_of_table_g2(df, level, factor):
    """Table G.2 (from memory, recomputed)."""
    assert coverage_factor(df, level=level) == pytest.approx(factor, abs=5e-3)


def test_welch_satterthwaite_of_two_means_is_welchs_formula():
    """With two means it is the df of Welch's t test (Welch 1947, Biometrika 34)."""
    v1, v2 = 4.0 / 7, 9.0 / 5
    by_formula = (v1 + v2) ** 2 / (v1**2 / 6 + v2**2 / 4)
    parts = [Component("", math.sqrt(v1), 6), Component("", math.sqrt(v2), 4)]
    assert effective_df(parts) == pytest.approx(by_formula)


def test_stated_and_absent_uncertainty_have_no_finite_df():
    assert math.isinf(effective_df([]))
    assert math.isinf(effective_df([Component("", 0.0, 3)]))
    assert math.isinf(effective_df([Component("", 2.0)]))
    tiny = [Component("", 1e-90, 9), Component("", 1e-90, 9)]
    assert effective_df(tiny) == pytest.approx(18)
    found = interval_of(5.0, [Component("", 2.0)])
    assert (found.low, found.high) == pytest.approx((5 - 3.92, 5 + 3.92), abs=1e-3)
