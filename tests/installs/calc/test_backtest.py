"""Back-tests: what was known when, scores by hand, and forecasts good and bad."""

from datetime import date, timedelta

import numpy as np
import pytest

from installs.calc.backtest import back_test, brier_score, known_lives
from installs.calc.survival import fit_weibull
from installs.calc.types import FitMethod, LifePrior, RecordedLife, WeibullFit
from wimprog.lib.errors import DomainError

PRIOR = LifePrior(6.9, "stated")
BEGIN, END = date(2005, 1, 1), date(2025, 1, 1)
ORIGINS = [date(year, 1, 1) for year in range(2012, 2024, 2)]


def ours(lives):
    return {k: fit_weibull(v, prior=PRIOR) for k, v in lives.items()}


def fixed(shape, scale):
    def fit(lives):
        return {
            k: WeibullFit(
                shape,
                scale,
                ((0.0, 0.0), (0.0, 0.0)),
                0,
                0,
                FitMethod.MAXIMUM_LIKELIHOOD,
                0.0,
            )
            for k in lives
        }

    return fit


def record(n=60, shape=2.5, scale=8.0, seed=1):
    """Positions filled from 2005 on and renewed on failure until the end of 2024."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(n):
        day = BEGIN + timedelta(days=int(rng.uniform(0, 2000)))
        while day < END:
            ends = day + timedelta(
                days=max(1, int(365.25 * scale * rng.weibull(shape)))
            )
            over = ends if ends <= END else None
            found.append(RecordedLife(f"{i}-{day}", "p", day, over, over is not None))
            day = ends
    return found


def test_only_what_was_recorded_by_then_is_known():
    """Failed in 2020, entered in 2022: at 2021 it still counts as working."""
    late = RecordedLife(
        "a", "p", date(2018, 1, 1), date(2020, 1, 1), True, date(2022, 1, 1)
    )
    future = RecordedLife("b", "p", date(2023, 1, 1))
    ((_, then),) = known_lives([late, future], date(2021, 1, 1))["p"]
    assert not then.failed
    assert then.age_years == pytest.approx(3.0, abs=0.01)
    ((_, now),) = known_lives([late, future], date(2022, 6, 1))["p"]
    assert now.failed
    assert now.age_years == pytest.approx(2.0, abs=0.01)
    assert now.until_years == pytest.approx(4.41, abs=0.01)


def test_brier_by_hand():
    """.9 .8 .3 .1 against 1 1 0 0: (.01 + .04 + .09 + .01) / 4 = .0375."""
    got = brier_score(np.array([0.9, 0.8, 0.3, 0.1]), np.array([1.0, 1.0, 0.0, 0.0]))
    assert got == pytest.approx(0.0375)
    assert brier_score(np.zeros(0), np.zeros(0)) is None


def test_wearing_sensors_are_forecast_better_than_by_a_constant_rate():
    found = back_test(record(), ORIGINS, fit=ours, last_known=END)
    assert len(found.origins) == 6
    assert found.n == sum(one.n for one in found.origins)
    assert found.failed == sum(one.failed for one in found.origins)
    assert found.skill > 0
    assert found.brier == pytest.approx((1 - found.skill) * found.brier_constant_rate)
    told = [one.told for one in found.fifths]
    assert told == sorted(told)
    assert found.fifths[-1].came > found.fifths[0].came
    assert sum(one.n for one in found.fifths) == found.n
    assert "beat a constant rate" in found.sentence


def test_bands_hold_about_as_often_as_they_claim():
    """12 records × 6 origins, one after the other dependent: 90 % bands of whole
    numbers hold at least 80 %."""
    held = origins = 0
    for seed in range(12):
        found = back_test(record(40, seed=seed), ORIGINS, fit=ours, last_known=END)
        held += found.bands_held
        origins += len(found.origins)
    assert held / origins >= 0.8


def test_a_bad_curve_is_told_as_bad():
    """Wear-in where sensors wear out ranks them the wrong way round."""
    found = back_test(record(), ORIGINS, fit=fixed(0.5, 3.0), last_known=END)
    assert found.skill < 0
    assert "do not rank" in found.sentence
    many = back_test(record(), ORIGINS, fit=fixed(2.5, 5.5), last_known=END)
    assert many.expected > many.failed


def test_sensors_taken_out_otherwise_are_left_out_and_counted():
    gone = RecordedLife("g", "p", date(2015, 1, 1), date(2020, 6, 1), False)
    found = back_test([*record(), gone], [date(2020, 1, 1)], fit=ours, last_known=END)
    assert found.left_out == 1
    assert "left for other reasons" in found.sentence


def test_nothing_to_check_is_said():
    found = back_test(record(), [date(2024, 6, 1)], fit=ours, last_known=END)
    assert (found.n, found.brier, found.skill) == (0, None, None)
    assert "No past year" in found.sentence
    few = back_test(record(4), [date(2014, 1, 1)], fit=ours, last_known=END)
    assert "too little" in few.sentence
    assert few.fifths == ()
    with pytest.raises(DomainError, match="horizon"):
        back_test([], [], fit=ours, horizon_years=0.0, last_known=END)


def test_removal_before_installation_is_refused():
    with pytest.raises(DomainError, match="Life x: it ended on 2019-01-01, before"):
        RecordedLife("x", "p", date(2020, 1, 1), date(2019, 1, 1))
    with pytest.raises(DomainError, match="needs its day"):
        RecordedLife("x", "p", date(2020, 1, 1), failed=True)
