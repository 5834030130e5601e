"""Condition: two sensors of one age differ when one is wet."""

import math

import numpy as np
import pytest

from installs.calc.condition import (
    DECADES_BELOW_NEW,
    Spell,
    condition_model,
    condition_of,
    spells,
    weibull_hazards,
)
from installs.calc.forecast import fleet_forecast, sensor_forecasts
from installs.calc.renewals import expected_replacements, simulated_replacements
from installs.calc.survival import failure_probability, median_remaining_life
from installs.calc.types import (
    Condition,
    Effect,
    FitMethod,
    Life,
    SensorInService,
    Technology,
    WeibullFit,
)
from installs.calc.weibull import weibull_maximum_likelihood
from tests.installs.calc.test_forecast import PERIODS
from wimprog.lib.errors import DomainError

FIT = WeibullFit(
    2.0, 8.0, ((0.01, 0.0), (0.0, 0.01)), 40, 20, FitMethod.MAXIMUM_LIKELIHOOD, 0.0
)
PIEZO = Technology.POLYMER_PIEZO
WET = Effect("wet", 2.0, "decade below new", 0.0, 4.0)


def history(n, ratio, seed=1):
    """Sensors half of which turn wet at age 2, hazard times ``ratio`` from then on."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(n):
        wet = i % 2
        left = rng.standard_exponential()
        dry = (2.0 / 8.0) ** 2
        if left < dry:
            end = 8.0 * left**0.5
        else:
            end = 8.0 * (dry + (left - dry) / (ratio if wet else 1.0)) ** 0.5
        stop = float(rng.uniform(2.0, 12.0))
        life = Life(min(end, stop), end <= stop)
        found += spells(life, [(0.0, {"wet": 0.0}), (2.0, {"wet": float(wet)})])
    return found


def test_a_life_is_cut_where_its_values_changed():
    life = Life(5.0, True)
    found = spells(life, [(3.0, {"b": 1.0}), (1.0, {"a": 2.0}), (5.0, {"a": 9.0})])
    assert [(s.life.entry_age_years, s.life.age_years) for s in found] == [
        (1, 3),
        (3, 5),
    ]
    assert [s.life.failed for s in found] == [False, True]
    assert found[1].values == {"a": 2.0, "b": 1.0}
    assert spells(life, []) == []


def test_values_at_the_end_of_a_life_prove_nothing():
    """Pulled wet on the day it failed: the spell before carries the older value."""
    (only,) = spells(Life(4.0, True), [(0.0, {"wet": 0.0}), (4.0, {"wet": 3.0})])
    assert only.values == {"wet": 0.0}


def test_late_entry_begins_the_first_spell():
    (only,) = spells(Life(4.0, False, 2.0), [(1.0, {"wet": 1.0})])
    assert only.life.entry_age_years == 2.0


def test_few_failures_keep_the_stated_effect_and_say_so():
    few = history(12, 3.0)
    model = condition_model(few, FIT, effects=[WET], typical={"wet": 0.0})
    assert model.standing == "assumed"
    assert model.log_ratios == (pytest.approx(math.log(2.0)),)
    assert "10 are needed for 1 effects" in model.sentence
    assert condition_model([], None, effects=[WET]).standing == "assumed"


def test_many_failures_find_the_true_effect():
    """True ratio 3, stated 2: the fit lies within three of its standard errors, and
    nearer to 3 than the stated effect is."""
    model = condition_model(history(600, 3.0), FIT, effects=[WET])
    assert model.standing == "fitted"
    (slope,), ((variance,),) = model.log_ratios, model.covariance
    assert abs(slope - math.log(3.0)) < 3 * math.sqrt(variance)
    assert slope > math.log(2.4)
    assert "drawn towards" in model.sentence


def test_no_effect_is_not_invented():
    model = condition_model(history(1200, 1.0, seed=2), FIT, effects=[WET])
    (slope,), ((variance,),) = model.log_ratios, model.covariance
    assert abs(slope) < 3 * math.sqrt(variance)


def test_hazards_without_covariates_are_the_plain_fit():
    lives = [s.life for s in history(80, 1.0)]
    plain = weibull_maximum_likelihood(lives)
    found, covariance = weibull_hazards(lives, np.zeros((len(lives), 0)), start=(0, 1))
    assert np.exp(found) == pytest.approx([plain.shape, plain.scale_years])
    assert covariance == pytest.approx(np.array(plain.log_covariance), rel=1e-5)


def test_wet_sensors_differ_and_the_reason_is_told():
    model = condition_model([], None, effects=[WET], typical={"wet": 0.5})
    wet = condition_of(model, {"wet": 2.5})
    assert wet.hazard_ratio == pytest.approx(4.0)
    assert wet.log_sd == pytest.approx(2.0 * 0.4)
    (driver,) = wet.drivers
    assert "wet raises it: 2.5 against 0.5 as usual" in driver.sentence
    assert driver.sentence.endswith("assumed")
    assert "lowers" in condition_of(model, {"wet": 0.0}).drivers[0].sentence
    assert condition_of(model, {}).hazard_ratio == 1.0
    beyond = condition_of(model, {"wet": 9.0})
    assert beyond.drivers[0].value == 4.0


def test_chance_of_a_wet_sensor():
    """Twice the hazard squares the chance of surviving (definition)."""
    plain = float(failure_probability(FIT, 3.0, 2.0))
    wet = float(failure_probability(FIT, 3.0, 2.0, hazard_ratio=2.0))
    assert 1 - wet == pytest.approx((1 - plain) ** 2)
    half = float(median_remaining_life(FIT, 3.0, hazard_ratio=2.0))
    assert float(failure_probability(FIT, 3.0, half, hazard_ratio=2.0)) == (
        pytest.approx(0.5)
    )


def test_condition_reaches_sensors_and_fleet():
    wet = Condition(2.0, 0.3)
    sensors = [
        SensorInService("dry", PIEZO, 4.0),
        SensorInService("wet", PIEZO, 4.0, wet),
    ]
    dry, soaked = sensor_forecasts(sensors, {PIEZO: FIT})
    assert soaked.condition == wet
    assert soaked.within(2).probability > dry.within(2).probability
    assert soaked.median_remaining_years < dry.median_remaining_years
    width = [x.within(1).high / x.within(1).low for x in (dry, soaked)]
    assert width[1] > width[0]
    both = fleet_forecast(sensors, {PIEZO: FIT}, PERIODS)
    typical = fleet_forecast(
        [SensorInService(str(i), PIEZO, 4.0) for i in range(2)], {PIEZO: FIT}, PERIODS
    )
    assert both.total.expected > typical.total.expected


def test_simulated_fleet_agrees_with_its_expectation():
    known = WeibullFit(2.0, 8.0, ((0, 0), (0, 0)), 0, 0, FIT.method, 0.0)
    ages, ratios = np.linspace(0, 8, 30), np.linspace(0.5, 3.0, 30)
    counts = simulated_replacements(
        known, ages, [4.0], n_draws=3000, rng=np.random.default_rng(1),
        hazard_ratios=ratios,
    )[:, 0]  # fmt: skip
    expected = expected_replacements(known, ages, [4.0], hazard_ratios=ratios)[0]
    assert abs(counts.mean() - expected) < 4 * counts.std() / np.sqrt(3000)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"ratio": 0.0}, "above zero"),
        ({"low": 5.0}, "range"),
        ({"log_sd": -1.0}, "spread"),
    ],
)
def test_impossible_effects_are_refused(change, said):
    given = {"name": "wet", "ratio": 2.0, "step": "", "low": 0.0, "high": 4.0}
    with pytest.raises(DomainError, match=said):
        Effect(**{**given, **change})
    with pytest.raises(DomainError, match="covariates"):
        weibull_hazards([Life(1.0, True)], np.zeros((2, 1)), start=(0.0, 1.0))


def test_assumed_effects_stand_as_assumed():
    model = condition_model([Spell(Life(1.0, False), {})], FIT)
    assert {e.standing for e in model.effects} == {"assumed"}
    assert DECADES_BELOW_NEW in {e.name for e in model.effects}
