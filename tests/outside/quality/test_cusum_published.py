"""CUSUM charts and run lengths against published examples and tables."""

from __future__ import annotations

import numpy as np
import pytest

from quality.calc.arl import cusum_arl, one_sided_arl
from quality.calc.cusum import cusum


def test_nist_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959.

    The page prints two decimals; its own rounding allows 0.01.
    """
    values = np.array(
        [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525,
            325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500,
            326.675, 327.775, 326.875, 328.350,
        ]
    )  # fmt: skip
    chart = cusum(values, target=325, k=0.3175, h=4.1959)
    high = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99,
            14.44, 16.00, 19.04]  # fmt: skip
    low = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0,
           0, 0]  # fmt: skip
    assert chart.high == pytest.approx(high, abs=0.01)
    assert chart.low == pytest.approx(low, abs=0.01)
    assert chart.signal == 13  # group 14
    assert chart.side == 1
    assert chart.start == 12  # the upper sum was last zero at group 12


def test_montgomery_example() -> None:
    """Montgomery, Introduction to Statistical Quality Control, chapter 9.

    μ0 10, σ 1, k 0.5, h 5: signal at 29 with 5.28, then 5.30; last zero at 22.
    """
    values = np.array(
        [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03,
            11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33,
            12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
        ]
    )  # fmt: skip
    chart = cusum(values, target=10, k=0.5, h=5)
    assert chart.signal == 28
    assert chart.high[28:30] == pytest.approx([5.28, 5.30], abs=1e-9)
    assert chart.start == 22  # the observation after the last zero, N+ = 7
    assert chart.signal - chart.start + 1 == 7


@pytest.mark.parametrize(
    ("shift", "published", "within"),
    [
        (0, 168, 0.5), (0.25, 74.2, 0.05), (0.5, 26.6, 0.05), (0.75, 13.3, 0.05),
        (1, 8.38, 0.005), (1.5, 4.75, 0.005), (2, 3.34, 0.005), (2.5, 2.62, 0.005),
        (3, 2.19, 0.005), (4, 1.71, 0.005), (5, 1.31, 0.005),
    ],
)  # fmt: skip
def test_lucas_and_crosier_table_1(
    shift: float, published: float, within: float
) -> None:
    """Lucas and Crosier, Technometrics 24, 1982, table 1: k 0.5, h 4, two-sided."""
    assert cusum_arl(k=0.5, h=4, shift=shift) == pytest.approx(published, abs=within)


@pytest.mark.parametrize(
    ("shift", "published", "within"),
    [(0, 465, 0.5), (1, 10.4, 0.05), (1.5, 5.75, 0.005), (2, 4.01, 0.005)],
)
def test_montgomery_run_lengths(shift: float, published: float, within: float) -> None:
    """Montgomery, chapter 9: k 0.5, h 5, two-sided."""
    assert cusum_arl(shift=shift) == pytest.approx(published, abs=within)


@pytest.mark.parametrize(
    ("k", "h", "shift", "published", "rel"),
    [
        (0.5, 3, 0, 117.59, 1e-4),  # Brook and Evans 1972
        (0.5, 3, 1.5, 3.75, 1e-3),
        (0, 10, -0.25, 2071.51, 1e-4),  # Vance 1986
        (0, 10, 0, 124.66, 1e-4),
        (0, 10, 0.25, 36.71, 2e-4),
        (0, 10, 0.5, 20.37, 3e-4),
        (0, 10, 1, 10.75, 5e-4),
        (0.25, 8, 2.5, 4.1500836225, 1e-6),  # SAS/QC
    ],
)
def test_one_sided_run_lengths(
    k: float, h: float, shift: float, published: float, rel: float
) -> None:
    got = one_sided_arl(k=k, h=h, shift=shift)
    assert got == pytest.approx(published, rel=rel)
