"""Numbers of runs against tables computed by an independent program, and a textbook."""

import pytest

from calibration.calc.run_counts import (
    power_of_mean,
    runs_for_half_width,
    runs_to_show,
)

HALF_WIDTHS = (1.0, 1.5, 2.0)


@pytest.mark.parametrize(
    ("sd", "runs"),
    [(2, (18, 10, 7)), (3, (38, 18, 12)), (4, (64, 30, 18)), (5, (99, 46, 27))],
)
def test_runs_for_a_wanted_half_width(sd, runs):
    """Student interval, 95 %, computed by an independent program. The normal formula
    gives 34.6 for sd 3 and ±1: too few."""
    assert tuple(runs_for_half_width(sd, half) for half in HALF_WIDTHS) == runs


@pytest.mark.parametrize(
    ("sd", "runs"), [(2, (24, 14, 9)), (3, (47, 24, 16)), (4, (77, 39, 24))]
)
def test_runs_for_a_wanted_half_width_with_assurance(sd, runs):
    """The same with 90 % assurance."""
    got = tuple(runs_for_half_width(sd, half, assurance=0.9) for half in HALF_WIDTHS)
    assert got == runs


@pytest.mark.parametrize(("effect", "n"), [(0.2, 199), (0.5, 34), (0.8, 15)])
def test_one_sample_t_test_of_small_middle_and_large_effects(effect, n):
    """Cohen's effects, 80 % power, 5 % two-sided: 199, 34, 15 (Cohen 1988, Statistical
    Power Analysis; as common programs give them, from memory)."""
    assert runs_to_show(effect, 1.0) == n
    assert power_of_mean(effect, 1.0, n) >= 0.8
