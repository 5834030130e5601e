"""How many runs are worth making."""

import math

import numpy as np
import pytest
from scipy import stats

from calibration.calc.run_counts import (
    half_width,
    power_of_mean,
    runs_for_half_width,
    runs_to_show,
    runs_worth_making,
)


def test_half_width_is_the_t_interval_and_stops_at_the_reference():
    expected = stats.t.ppf(0.975, 19) * 3.0 / math.sqrt(20)
    assert float(half_width(3.0, 20)) == pytest.approx(expected)
    many = half_width(3.0, [10, 1_000_000], u_reference=0.5)
    assert many[1] == pytest.approx(1.96 * 0.5, rel=1e-3)
    assert many[0] > many[1]


def test_power_agrees_with_simulation():
    """20,000 sessions of 12 runs: bias 2 %, spread 2.5 %."""
    generator = np.random.default_rng(8)
    runs = generator.normal(2.0, 2.5, size=(20_000, 12))
    t = runs.mean(axis=1) / (runs.std(axis=1, ddof=1) / math.sqrt(12))
    share = np.mean(np.abs(t) > stats.t.ppf(0.975, 11))
    assert power_of_mean(2.0, 2.5, 12) == pytest.approx(share, abs=0.015)
    assert power_of_mean(0.0, 2.5, 12) == pytest.approx(0.05)
    assert power_of_mean(50.0, 1.0, 12) == pytest.approx(1.0)
    assert power_of_mean(-2.0, 2.5, 12) == power_of_mean(2.0, 2.5, 12)


def test_runs_to_show_are_the_fewest():
    n = runs_to_show(1.0, 2.0)
    assert power_of_mean(1.0, 2.0, n) >= 0.8 > power_of_mean(1.0, 2.0, n - 1)
    assert runs_to_show(0.0, 2.0) is None
    assert runs_to_show(1.0, 0.0) == 2
    assert runs_to_show(0.001, 5.0) is None
    assert runs_for_half_width(0.0, 1.0) == 2
    assert runs_for_half_width(0.0, 1.0, assurance=0.9) == 2
    assert runs_for_half_width(5.0, 0.01) is None


def test_more_runs_in_words():
    found = runs_worth_making(0.5, 3.0, 10, wanted=1.0)
    assert found.n_wanted == 38
    assert "takes 38 runs, 28 more" in found.sentence
    assert found.n_to_show > 10
    assert found.counts[0] == 2
    assert found.half_widths[8] == pytest.approx(found.half_width)
    shown = runs_worth_making(4.0, 2.0, 10, wanted=2.0)
    assert "shown already" in shown.sentence
    assert "is reached" in shown.sentence
    stuck = runs_worth_making(0.5, 3.0, 10, wanted=0.5, u_reference=0.6)
    assert "No number of runs" in stuck.sentence
    assert stuck.n_wanted is None
    assert "not likely" in runs_worth_making(1e-4, 3.0, 10).sentence
    with pytest.raises(ValueError, match="at least 2"):
        runs_worth_making(1.0, 1.0, 1)
