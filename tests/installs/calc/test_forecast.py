"""The fleet: periods, single sensors, counts and costs with their bands."""

from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest

from installs.calc import renewals
from installs.calc.forecast import (
    budget_years,
    failure_count_distribution,
    fleet_forecast,
    sensor_forecasts,
)
from installs.calc.renewals import (
    expected_replacements,
    renewal_function,
    simulated_replacements,
)
from installs.calc.survival import fit_weibull
from installs.calc.types import (
    FitMethod,
    ForecastPeriod,
    Life,
    LifePrior,
    SensorInService,
    Technology,
    WeibullFit,
)
from wimprog.lib.errors import DomainError

PIEZO, PLATE = Technology.POLYMER_PIEZO, Technology.BENDING_PLATE


def curve(shape, scale, spread=0.15):
    return WeibullFit(
        shape,
        scale,
        ((spread**2, 0.0), (0.0, spread**2)),
        30,
        15,
        FitMethod.MAXIMUM_LIKELIHOOD,
        0.0,
    )


FITS = {PIEZO: curve(2.0, 5.0), PLATE: curve(2.5, 12.0)}
SENSORS = [
    SensorInService(f"s{i}", PLATE if i % 3 else PIEZO, 0.3 * i) for i in range(30)
]
PERIODS = budget_years(date(2026, 7, 1), 5)


def rng():
    return np.random.default_rng(4)


def test_calendar_years_begin_with_the_rest_of_this_one():
    first, second, third = budget_years(date(2026, 11, 25), 3)
    assert first.label == "rest of 2026"
    assert (first.first_day, first.last_day) == (
        date(2026, 11, 25),
        date(2026, 12, 31),
    )
    assert first.from_years == 0.0
    assert first.to_years == second.from_years == pytest.approx(37 / 365.25)
    assert (second.label, third.label) == ("2027", "2028")
    assert third.last_day == date(2028, 12, 31)


def test_a_year_begun_today_is_whole():
    (only,) = budget_years(date(2026, 1, 1), 1)
    assert only.label == "2026"
    assert only.to_years == pytest.approx(365 / 365.25)


@pytest.mark.parametrize(
    ("start", "label", "last"),
    [
        (date(2026, 6, 30), "rest of 2026", date(2026, 6, 30)),
        (date(2026, 7, 1), "2027", date(2027, 6, 30)),
        (date(2026, 11, 25), "rest of 2027", date(2027, 6, 30)),
    ],
)
def test_budget_year_is_named_by_its_end(start, label, last):
    first, second = budget_years(start, 2, start_month=7)
    assert (first.label, first.last_day) == (label, last)
    assert second.first_day == last + timedelta(days=1)


@pytest.mark.parametrize(
    ("n_years", "month", "said"), [(0, 1, "one year"), (1, 0, "month 0"), (1, 13, "13")]
)
def test_impossible_periods_are_refused(n_years, month, said):
    with pytest.raises(DomainError, match=said):
        budget_years(date(2026, 1, 1), n_years, start_month=month)


def test_sensor_forecasts_keep_the_order_given():
    found = sensor_forecasts(SENSORS, FITS)
    assert [one.key for one in found] == [s.key for s in SENSORS]
    assert [c.horizon_years for c in found[0].chances] == [1.0, 2.0, 5.0]
    piezos = [one for one in found if one.technology == PIEZO]
    chances = [one.within(2).probability for one in piezos]
    assert chances == sorted(chances)
    assert all(one.basis == FITS[one.technology].basis for one in found)
    assert found == sensor_forecasts(SENSORS, FITS)
    assert sensor_forecasts([], {}) == []


def test_a_technology_without_a_curve_is_named():
    with pytest.raises(DomainError, match="bending plate"):
        sensor_forecasts(SENSORS, {PIEZO: FITS[PIEZO]})
    with pytest.raises(DomainError, match="bending plate"):
        fleet_forecast(SENSORS, {PIEZO: FITS[PIEZO]}, PERIODS)


def test_fleet_needs_a_period():
    with pytest.raises(DomainError, match="one period"):
        fleet_forecast(SENSORS, FITS, [])


def test_fleet_adds_up():
    found = fleet_forecast(SENSORS, FITS, PERIODS, rng=rng())
    assert found.n_sensors == 30
    assert [y.period for y in found.years] == list(PERIODS)
    assert found.total.expected == pytest.approx(
        sum(y.replacements.expected for y in found.years)
    )
    for year in found.years:
        band = year.replacements
        assert band.p10 <= band.p50 <= band.p90
        assert band.p10 < band.expected < band.p90
        assert sum(x for _, x in year.expected_by_technology) == pytest.approx(
            band.expected
        )
        assert year.cost is None
    assert found.total_cost is None
    assert found.unpriced == ()
    assert dict(found.bases) == {t: f.basis for t, f in FITS.items()}
    assert "1,000 simulated fleets" in found.method


def test_fleet_repeats_with_its_seed_whatever_the_order_of_technologies():
    turned = dict(reversed(list(FITS.items())))
    first = fleet_forecast(SENSORS, FITS, PERIODS, rng=rng(), n_draws=200)
    again = fleet_forecast(SENSORS, turned, PERIODS, rng=rng(), n_draws=200)
    assert first == again
    assert fleet_forecast(SENSORS, FITS, PERIODS) == fleet_forecast(
        SENSORS, FITS, PERIODS
    )


def test_empty_fleet_replaces_nothing():
    found = fleet_forecast([], FITS, PERIODS, prices={PIEZO: 100.0})
    assert found.total.expected == found.total.p90 == 0.0
    assert found.total_cost is not None
    assert found.total_cost.expected == 0.0


def test_cost_is_count_times_price_grown_to_mid_period():
    piezos = [s for s in SENSORS if s.technology == PIEZO]
    found = fleet_forecast(
        piezos,
        FITS,
        PERIODS,
        prices={PIEZO: Decimal("4000.00")},
        price_growth_per_year=0.05,
        rng=rng(),
    )
    for year in found.years:
        middle = (year.period.from_years + year.period.to_years) / 2
        price = 4000 * 1.05**middle
        assert year.cost.expected == pytest.approx(year.replacements.expected * price)
        assert year.cost.p90 == pytest.approx(year.replacements.p90 * price)
    assert found.total_cost.expected == pytest.approx(
        sum(y.cost.expected for y in found.years)
    )


def test_a_technology_without_a_price_is_named():
    found = fleet_forecast(SENSORS, FITS, PERIODS, prices={PIEZO: 100.0})
    assert found.unpriced == (PLATE,)


@pytest.mark.parametrize("price", [-1.0, float("nan"), Decimal("-0.01")])
def test_impossible_prices_are_refused(price):
    with pytest.raises(DomainError, match="polymer piezo"):
        fleet_forecast(SENSORS, FITS, PERIODS, prices={PIEZO: price})


@pytest.mark.parametrize("growth", [-1.0, float("nan")])
def test_impossible_price_growth_is_refused(growth):
    with pytest.raises(DomainError, match="grow"):
        fleet_forecast(SENSORS, FITS, PERIODS, price_growth_per_year=growth)


@pytest.mark.parametrize("probability", [-0.1, 1.1, float("nan")])
def test_count_distribution_takes_probabilities(probability):
    with pytest.raises(DomainError, match="not a probability"):
        failure_count_distribution([0.5, probability])


def test_count_distribution_of_nobody():
    assert failure_count_distribution([]).tolist() == [1.0]


def test_expected_counts_of_nobody_or_of_no_time():
    assert expected_replacements(FITS[PIEZO], [], [1.0]).tolist() == [0.0]
    assert expected_replacements(FITS[PIEZO], [1.0], [0.0]).tolist() == [0.0]


def test_first_failures_come_first():
    """Soon, replacements are first failures; later they are more."""
    ages = np.linspace(0, 8, 20)
    soon, late = expected_replacements(FITS[PIEZO], ages, [0.05, 10.0])
    first = (
        1
        - np.exp((ages / 5) ** 2 - ((ages[:, None] + [0.05, 10.0]) / 5).T ** 2).sum(
            axis=1
        )
        / 20
    )
    assert soon == pytest.approx(20 * first[0], rel=1e-2)
    assert late > 20 * first[1]


def test_renewals_do_not_depend_on_the_step():
    fine = renewal_function(2.0, 1.0, [0.5, 3.0], step_years=0.002)
    assert renewal_function(2.0, 1.0, [0.5, 3.0]) == pytest.approx(fine, abs=1e-4)


def test_simulation_in_chunks_counts_the_same_fleet(monkeypatch):
    """Small chunks draw other numbers, but the same law."""
    ages = np.linspace(0, 8, 50)
    monkeypatch.setattr(renewals, "_CHUNK", 120)
    counts = simulated_replacements(
        curve(2.0, 5.0, 0.0), ages, [2.0, 5.0], n_draws=400, rng=rng()
    )
    assert counts.shape == (400, 2)
    expected = np.diff(
        expected_replacements(FITS[PIEZO], ages, [2.0, 5.0]), prepend=0.0
    )
    errors = counts.std(axis=0) / 20
    assert np.all(np.abs(counts.mean(axis=0) - expected) < 4 * errors)


@pytest.mark.slow
@pytest.mark.parametrize(("n", "scale"), [(30, 8.0), (12, 5.0)])
def test_simulated_coverage_of_the_band(n, scale):
    """200 agencies that replace on failure for eight years, then three years ahead.

    The band from the 10 to the 90 % point holds the count in about 80 % (counts are
    whole, so a little more); four standard errors are 11 points. With the curve taken
    as known it holds it less often: that is why the parameters are drawn.
    """
    generator = np.random.default_rng(17)
    periods = [ForecastPeriod("", date(2026, 1, 1), date(2028, 12, 31), 0.0, 3.0)]
    prior = LifePrior(scale * 0.83, "about right")
    held = held_as_known = 0
    for _ in range(200):
        lives, sensors, future = _agency(generator, n, scale)
        fit = fit_weibull(lives, prior=prior)
        for spread in (fit.log_covariance, ((0.0, 0.0), (0.0, 0.0))):
            used = WeibullFit(fit.shape, fit.scale_years, spread, n, 9, fit.method, 0.0)
            band = fleet_forecast(
                sensors, {PIEZO: used}, periods, rng=generator, n_draws=300
            ).total
            if spread == fit.log_covariance:
                held += band.p10 <= future <= band.p90
            else:
                held_as_known += band.p10 <= future <= band.p90
    assert 0.72 <= held / 200 <= 0.95
    assert held_as_known < held


def _agency(generator, n, scale):
    """Lives of n positions over eight years, sensors then in service, and the number
    of failures in the three years after."""
    lives, sensors, future = [], [], 0
    for i in range(n):
        now = 0.0
        while True:
            life = scale * generator.weibull(2.0)
            if now < 8.0 <= now + life:
                lives.append(Life(8.0 - now, False))
                sensors.append(SensorInService(str(i), PIEZO, 8.0 - now))
            if now + life < 8.0:
                lives.append(Life(life, True))
            elif now + life < 11.0:
                future += 1
            else:
                break
            now += life
    return lives, sensors, future
