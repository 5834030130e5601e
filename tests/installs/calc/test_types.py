"""Words, and facts that no installation can have lived."""

import subprocess
import sys
from datetime import date

import pytest

from installs.calc.published import published_prior, typical_limits
from installs.calc.types import (
    USUAL_QUANTITIES,
    AcceptanceLimit,
    ElectricalQuantity,
    EndReason,
    FailureChance,
    FitMethod,
    Life,
    LifeOutcome,
    LifePrior,
    SensorForecast,
    SensorInService,
    Technology,
    WeibullFit,
    years_between,
)
from wimprog.lib.errors import DomainError


def test_models_can_import_the_words_without_numpy_or_django():
    code = (
        "import sys, installs.calc.types as t; "
        "print([m for m in ('numpy', 'scipy', 'django') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_calc_needs_no_django():
    code = (
        "import sys, installs.calc.forecast, installs.calc.electrical, "
        "installs.calc.published; print('django' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"


def test_quantity_is_its_word_and_carries_its_unit():
    quantity = ElectricalQuantity("insulation resistance")
    assert quantity == "insulation resistance"
    assert f"{quantity}" == "insulation resistance"
    assert (quantity.unit, quantity.on_log_scale) == ("MΩ", True)
    assert not ElectricalQuantity.CAPACITANCE.on_log_scale


def test_every_technology_has_quantities_and_an_expected_life():
    for technology in Technology:
        assert USUAL_QUANTITIES[technology]
        assert published_prior(technology).source
        assert published_prior(technology).standing != "agency's own"
        for quantity in typical_limits(technology):
            assert quantity in USUAL_QUANTITIES[technology]


def test_typical_limits_are_a_copy():
    typical_limits(Technology.POLYMER_PIEZO).clear()
    assert typical_limits(Technology.POLYMER_PIEZO)
    assert typical_limits(Technology.TEMPERATURE_PROBE) == {}


def test_only_failing_is_failure():
    assert [reason for reason in EndReason if reason.is_failure] == [EndReason.FAILED]


def test_loops_and_probes_do_not_weigh():
    assert {t for t in Technology if not t.weighs} == {
        Technology.INDUCTIVE_LOOP,
        Technology.TEMPERATURE_PROBE,
    }


def test_years_between_days():
    assert years_between(date(2020, 1, 1), date(2024, 1, 1)) == pytest.approx(4.0)
    assert years_between(date(2024, 1, 1), date(2020, 1, 1)) == pytest.approx(-4.0)


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"age_years": float("nan"), "failed": True}, "not a number"),
        ({"age_years": float("inf"), "failed": False}, "not a number"),
        ({"age_years": -0.1, "failed": False}, "negative"),
        ({"age_years": 1.0, "failed": True, "entry_age_years": 2.0}, "before the rec"),
        ({"age_years": 2.0, "failed": True, "low_years": 1.0}, "needs both"),
        ({"age_years": 2.0, "failed": True, "high_years": 2.0}, "needs both"),
        (
            {"age_years": 2.0, "failed": False, "low_years": 1.0, "high_years": 2.0},
            "only a failure",
        ),
        (
            {"age_years": 2.0, "failed": True, "low_years": 2.0, "high_years": 2.0},
            "is not before",
        ),
        (
            {
                "age_years": 3.0,
                "failed": True,
                "entry_age_years": 2.0,
                "low_years": 1.0,
                "high_years": 3.0,
            },
            "before the records begin",
        ),
    ],
)
def test_impossible_lives_are_refused_by_name(facts, said):
    with pytest.raises(DomainError, match=said) as refused:
        Life(**facts, key="OV-003 lane 1")
    assert "OV-003 lane 1" in refused.value.message
    with pytest.raises(DomainError, match=said):
        Life(**facts)


def test_a_life_tells_its_outcome_and_one_age():
    bracketed = Life(3.0, failed=True, low_years=2.0, high_years=3.0)
    assert bracketed.is_bracketed
    assert bracketed.point_age_years == 2.5
    assert bracketed.outcome == LifeOutcome.FAILED
    working = Life(0.0, failed=False)
    assert working.outcome == LifeOutcome.CENSORED
    assert working.point_age_years == 0.0
    assert not working.is_bracketed


def test_failing_on_the_first_day_counts_as_one_day():
    assert Life(0.0, failed=True).point_age_years == pytest.approx(1 / 365.25)
    late = Life(2.0, failed=True, entry_age_years=2.0)
    assert late.point_age_years == pytest.approx(2 + 1 / 365.25)


@pytest.mark.parametrize(
    "field", ["median_years", "log_median_sd", "shape", "log_shape_sd"]
)
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_prior_needs_numbers_above_zero(field, value):
    with pytest.raises(DomainError, match=field):
        LifePrior(**{"median_years": 4.0, "source": "own records", field: value})


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (None, None, "lowest value, a highest value or both"),
        (2.0, 1.0, "is below the lowest"),
        (float("nan"), None, "not a number"),
        (None, float("inf"), "not a number"),
    ],
)
def test_impossible_limits_are_refused(low, high, said):
    with pytest.raises(DomainError, match=said):
        AcceptanceLimit(low, high, "data sheet")


@pytest.mark.parametrize("age", [-1.0, float("nan")])
def test_sensor_of_impossible_age_is_refused(age):
    with pytest.raises(DomainError, match="OV-7"):
        SensorInService("OV-7", Technology.LOAD_CELL, age)


def test_sensor_forecast_gives_the_horizon_asked_for():
    chance = FailureChance(2.0, 0.3, 0.2, 0.4)
    forecast = SensorForecast("1", Technology.LOAD_CELL, 1.0, (chance,), 5.0, "basis")
    assert forecast.within(2) is chance
    with pytest.raises(KeyError):
        forecast.within(3)


def test_basis_counts_in_words_that_fit_the_number():
    plain = WeibullFit(
        2, 8, ((0.1, 0), (0, 0.1)), 1, 1, FitMethod.MAXIMUM_LIKELIHOOD, 0.0
    )
    assert plain.basis == "Weibull by maximum likelihood, 1 failure in 1 life"
    assert plain.prior_text == ""
    prior = LifePrior(4.0, "own records")
    with_prior = WeibullFit(
        2, 8, ((0.1, 0), (0, 0.1)), 9, 2, FitMethod.WITH_PRIOR, 0.0, prior
    )
    assert "2 failures in 9 lives" in with_prior.basis
    assert "own records" in with_prior.basis
    assert with_prior.prior_text in with_prior.basis
    assert plain.median_years == pytest.approx(8 * 0.6931471805599453**0.5)
