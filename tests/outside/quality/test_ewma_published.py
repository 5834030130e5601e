"""EWMA charts and run lengths against published examples and tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from quality.calc.arl import ewma_arl, one_sided_arl
from quality.calc.ewma import ewma


def test_nist_handbook_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4: λ 0.3, start 50, s 2.0539, L 3.

    The page prints a lower limit of 47.4115; exact is 47.411568.
    """
    values = np.array(
        [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6,
            49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ]
    )  # fmt: skip
    printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11,
        49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    chart = ewma(values, target=50, sd=2.0539, weight=0.3, limit=3)
    assert chart.level == pytest.approx(printed, abs=0.006)
    assert chart.high[-1] == pytest.approx(52.5884, abs=5e-5)
    assert chart.low[-1] == pytest.approx(47.4115, abs=1e-4)
    assert chart.signal is None


def test_montgomery_example() -> None:
    """Montgomery, chapter 9 (data of the CUSUM example): λ 0.1, L 2.7, exact start."""
    values = np.array(
        [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03,
            11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33,
            12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
        ]
    )  # fmt: skip
    chart = ewma(values, target=10, sd=1, weight=0.1, limit=2.7, exact_start=True)
    assert chart.level[:2] == pytest.approx([9.945, 9.7495])
    assert chart.high[:2] == pytest.approx([10.27, 10.36], abs=0.005)
    assert chart.high[-1] == pytest.approx(10.62, abs=0.005)
    assert chart.signal == 28
    assert chart.side == 1


@pytest.mark.parametrize(
    ("weight", "limit", "lengths"),
    [
        (0.5, 3.071, {0: 500, 0.25: 255, 0.5: 88.8, 1: 17.5, 2: 3.63, 3: 1.93}),
        (0.03, 2.437, {0: 500, 0.25: 76.7, 0.5: 29.3, 1: 12.6, 2: 5.99, 3: 4.03}),
        (0.2, 2.962, {0: 500, 1: 10.5}),
        (0.1, 2.814, {0: 500, 1: 10.3}),
    ],
)
def test_lucas_and_saccucci_table(
    weight: float, limit: float, lengths: dict[float, float]
) -> None:
    """Lucas and Saccucci, Technometrics 32, 1990, table 3; three figures printed."""
    for shift, published in lengths.items():
        got = ewma_arl(weight=weight, limit=limit, shift=shift)
        assert got == pytest.approx(published, rel=4e-3)


@pytest.mark.parametrize(
    ("weight", "limit", "shift", "published", "within"),
    [
        (0.05, 2, 0, 127.53, 0.005),  # Crowder 1987
        (0.05, 2, 0.25, 43.94, 0.005),
        (0.05, 2, 1, 8.38, 0.005),
        (0.5, 2, 1.25, 3.59, 0.005),  # Crowder prints 3.95, a known misprint
        (0.25, 3, 1, 11.154267016, 1e-8),  # SAS/QC documentation
    ],
)
def test_crowder_run_lengths(
    weight: float, limit: float, shift: float, published: float, within: float
) -> None:
    got = ewma_arl(weight=weight, limit=limit, shift=shift)
    assert got == pytest.approx(published, abs=within)


@pytest.mark.parametrize(("k", "h", "shift"), [(0.5, 3, 0.0), (0.5, 5, 1.0)])
def test_integral_equation_and_markov_chain_agree(
    k: float, h: float, shift: float
) -> None:
    """Brook and Evans, Biometrika 59, 1972: the same run length by a Markov chain.

    Two sizes of chain, extrapolated in 1/m² as the paper does.
    """

    def chain(m: int) -> float:
        width = 2 * h / (2 * m - 1)
        step = (np.arange(m)[None, :] - np.arange(m)[:, None]) * width + k - shift
        moves = norm.cdf(step + width / 2) - norm.cdf(step - width / 2)
        moves[:, 0] = norm.cdf(step[:, 0] + width / 2)
        return float(np.linalg.solve(np.eye(m) - moves, np.ones(m))[0])

    extrapolated = (4 * chain(160) - chain(80)) / 3
    assert one_sided_arl(k=k, h=h, shift=shift) == pytest.approx(extrapolated, rel=1e-3)


def test_constants_out_of_range_are_refused() -> None:
    with pytest.raises(ValueError, match="weight must lie above 0"):
        ewma_arl(weight=0.0, limit=3)
    with pytest.raises(ValueError, match="limit must be positive"):
        ewma_arl(weight=0.1, limit=0)
    with pytest.raises(ValueError, match="finite"):
        ewma(np.array([1.0, np.nan]), target=0, sd=1)
