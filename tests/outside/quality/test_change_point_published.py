"""Break of the Nile series, and critical values of a break's date."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from quality.calc.change_point import (
    Shape,
    difference_sd,
    fit_change,
    likelihood_drop,
    pelt,
)

NILE = np.array(
    [
        1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994,
        1020, 960, 1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100,
        774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456,
        824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796,
        1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812,
        742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923,
        975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
    ],
    dtype=float,
)  # fmt: skip
"""Annual flow of the Nile at Aswan 1871 to 1970, 10⁸ m³: Cobb, Biometrika 65, 1978."""


def test_the_nile_breaks_once_after_1898() -> None:
    """Cobb 1978, and the usual textbook result: 1097.75 before, 849.97 after."""
    breaks = pelt(NILE)
    assert breaks == [28]
    assert 1871 + breaks[0] - 1 == 1898
    assert NILE[:28].mean() == pytest.approx(1097.75, abs=0.005)
    assert NILE[28:].mean() == pytest.approx(849.97, abs=0.005)


def test_the_nile_by_likelihood_is_a_step_in_1899() -> None:
    fit = fit_change(NILE)
    assert fit.shape is Shape.STEP
    assert 1871 + fit.onset == 1899
    assert fit.onset_low <= 28 <= fit.onset_high
    assert fit.onset_high - fit.onset_low <= 12
    assert fit.size_low < 849.97 - 1097.75 < fit.size_high


@pytest.mark.parametrize(
    ("level", "published"),
    [
        (0.80, 4.50), (0.85, 5.10), (0.90, 5.94), (0.925, 6.53), (0.95, 7.35),
        (0.975, 8.75), (0.99, 10.59),
    ],
)  # fmt: skip
def test_critical_values_of_the_date(level: float, published: float) -> None:
    """Hansen, Econometrica 68, 2000, table I (from memory)."""
    assert likelihood_drop(level) == pytest.approx(published, abs=0.006)


@pytest.mark.parametrize("seed", range(12))
def test_the_breaks_are_the_best_of_all_sets(seed: int) -> None:
    """Against every set of up to three breaks in 14 values."""
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(14)
    values[5:] += rng.choice([0.0, 3.0])
    values[9:] -= rng.choice([0.0, 4.0])
    sd, penalty = difference_sd(values), 5.0

    def price(breaks: tuple[int, ...]) -> float:
        edges = (0, *breaks, 14)
        parts = [values[a:b] for a, b in pairwise(edges)]
        if min(map(len, parts)) < 2:
            return np.inf
        return sum(p.var() * len(p) for p in parts) / sd**2 + penalty * len(breaks)

    sets = [s for k in range(4) for s in combinations(range(1, 14), k)]
    best = min(sets, key=price)
    found = tuple(pelt(values, penalty=penalty))
    assert price(found) <= price(best) + 1e-9
