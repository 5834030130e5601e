"""Bridge formula and legal limits against the published formula and its table.

Sources: 23 U.S.C. 127 and 23 CFR 658.17, W = 500 [L N / (N − 1) + 12 N + 36] to the
nearest 500 lb; single 20,000, tandem 34,000, gross 80,000 lb; two tandems in a row may
carry 34,000 lb each from 36 ft on (all confirmed). What counts as a tandem, more than
40 in and up to 96 in, is from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from quality.calc.bridge_formula import bridge_limit_lb, formula_lb
from quality.calc.legal_limits import LegalLimits, axle_groups
from wimprog.lib.units import KG_PER_LB, M_PER_FT


@pytest.mark.parametrize(
    ("length_ft", "n_axles", "exact", "rounded"),
    [
        (51, 5, 79_875, 80_000),
        (36, 4, 66_000, 66_000),
        (38, 4, 67_333, 67_500),
        (35, 4, 65_333, 65_500),
        (20, 3, 51_000, 51_000),
        (16, 3, 48_000, 48_000),
        (12, 3, 45_000, 45_000),
        (10, 2, 40_000, 40_000),
        (57, 5, 83_625, 83_500),
        (60, 6, 90_000, 90_000),
    ],
)
def test_the_formulas_table(
    length_ft: float, n_axles: int, exact: float, rounded: float
) -> None:
    assert float(formula_lb(length_ft, n_axles)) == pytest.approx(exact, abs=0.5)
    assert float(bridge_limit_lb(length_ft, n_axles)) == rounded


def test_a_group_has_two_axles_at_least() -> None:
    with pytest.raises(ValueError, match="two axles or more"):
        bridge_limit_lb(10.0, 1)


def groups_lb(
    weights_lb: list[float], spacings_ft: list[float]
) -> tuple[float, float, float]:
    """Heaviest single and tandem axle, and the excess over the formula [lb]."""
    found = axle_groups(
        [np.array([w * KG_PER_LB], dtype=np.float32) for w in weights_lb],
        [np.array([s * M_PER_FT], dtype=np.float32) for s in spacings_ft],
        {len(weights_lb): np.array([0])},
    )
    return tuple(
        float(one[0]) / KG_PER_LB
        for one in (found.single_kg, found.tandem_kg, found.over_bridge_kg)
    )  # type: ignore[return-value]


def test_the_classic_five_axles_on_51_ft_are_just_legal() -> None:
    """12 + 34 + 34 kip on 51 ft: 80,000 lb is the limit of all five axles."""
    single, tandem, over = groups_lb(
        [12_000, 17_000, 17_000, 17_000, 17_000], [12.0, 4.0, 31.0, 4.0]
    )
    assert single == pytest.approx(17_000, abs=0.1)
    assert tandem == pytest.approx(34_000, abs=0.1)
    assert over == pytest.approx(0, abs=0.1)
    # a foot shorter: 500 (50 × 5/4 + 96) = 79,250, to the nearest 500 lb 79,500
    _, _, over = groups_lb(
        [12_000, 17_000, 17_000, 17_000, 17_000], [11.0, 4.0, 31.0, 4.0]
    )
    assert over == pytest.approx(500, abs=0.1)


@pytest.mark.parametrize(
    ("between_ft", "over"),
    # two tandems of 34,000 lb: 36 ft from first to last is allowed 68,000 by the
    # exception; 35 ft is not, and has 65,500 by the formula
    [(28.0, 0.0), (27.0, 2_500.0)],
)
def test_two_tandems_in_a_row(between_ft: float, over: float) -> None:
    _, _, found = groups_lb([17_000] * 4, [4.0, between_ft, 4.0])
    assert found == pytest.approx(over, abs=0.5)


@pytest.mark.parametrize(
    ("spread_ft", "single", "tandem", "over"),
    [
        (3.3, 36_000, np.nan, np.nan),  # within 40 in: one axle
        (4.0, 18_000, 36_000, np.nan),  # a tandem
        (8.0, 18_000, 36_000, np.nan),  # 96 in, still a tandem
        (9.0, 18_000, np.nan, -3_000),  # 500 (18 + 24 + 36) = 39,000
    ],
)
def test_what_two_axles_are(
    spread_ft: float, single: float, tandem: float, over: float
) -> None:
    found = groups_lb([18_000, 18_000], [spread_ft])
    assert found == pytest.approx((single, tandem, over), abs=0.5, nan_ok=True)


def slow_excess_lb(weights_lb: np.ndarray, spacings_ft: np.ndarray) -> float:
    """The worst group, one at a time, by the text of the law."""
    limits, worst = LegalLimits(), np.nan
    at = np.concatenate([[0.0], np.cumsum(spacings_ft)])
    for first in range(len(weights_lb)):
        for last in range(first + 1, len(weights_lb)):
            length, n = at[last] - at[first], last - first + 1
            if n <= 4 and length <= 8.0 + 0.005:
                continue
            allowed = float(bridge_limit_lb(length, n))
            inner = spacings_ft[first:last]
            if n == 4 and max(inner[0], inner[2]) <= 8.005 and length >= 36 - 0.005:
                allowed = max(allowed, 2 * limits.tandem_kg / KG_PER_LB)
            worst = np.fmax(worst, weights_lb[first : last + 1].sum() - allowed)
    return float(worst)


def test_all_groups_of_many_vehicles_as_one_by_one() -> None:
    rng = np.random.default_rng(12)
    n = 400
    n_axles = rng.integers(2, 9, n)
    weights = np.rint(rng.uniform(4_000, 22_000, (n, 9)))
    spacings = rng.choice([3.0, 4.1, 4.5, 6.2, 8.0, 9.7, 14.3, 31.1], (n, 8))
    kg = [np.float32(weights[:, k] * KG_PER_LB) for k in range(8)]
    metres = [np.float32(spacings[:, k] * M_PER_FT) for k in range(7)]
    rows = {int(k): np.flatnonzero(n_axles == k) for k in np.unique(n_axles)}
    found = axle_groups(kg, metres, rows).over_bridge_kg / KG_PER_LB
    slow = np.array(
        [
            slow_excess_lb(weights[row, :k], spacings[row, : k - 1])
            for row, k in enumerate(n_axles)
        ]
    )
    assert (np.isnan(found) == np.isnan(slow)).all()
    # a length that falls half way between two steps of 500 lb may round either way
    assert np.nanmax(np.abs(found - slow)) < 501
    assert np.isclose(found, slow, atol=1.0, equal_nan=True).mean() > 0.99
