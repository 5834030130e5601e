"""What will have to be replaced, when, and at what cost.

Each sensor's chances come from its technology's life curve given its age. For the fleet
a failed sensor is replaced at once by a new one of the same technology, which can fail
again: the expected counts solve the renewal equation, and the bands come from simulated
fleets, each with curve parameters of its own, so that they hold both what the data
leave open and chance. (With the fitted parameters taken as known, a 90 % band covers
about two thirds in simulation.)

A sensor's condition multiplies its hazard until it fails; its successor is typical.
Left for later: replacement at an age, mobilisation shared by a site.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.renewals import expected_replacements, simulated_replacements
from installs.calc.survival import failure_chances, median_remaining_life
from installs.calc.types import (
    Band,
    FleetForecast,
    ForecastPeriod,
    SensorForecast,
    SensorInService,
    Technology,
    WeibullFit,
    YearForecast,
    years_between,
)
from wimprog.lib.errors import DomainError

HORIZONS_YEARS = (1.0, 2.0, 5.0)
BAND_QUANTILES = (0.10, 0.50, 0.90)
#: Seed used when the caller gives no generator: the same facts, the same numbers.
DEFAULT_SEED = 20_110


def budget_years(
    start: date, n_years: int, *, start_month: int = 1
) -> tuple[ForecastPeriod, ...]:
    """The rest of the budget year that ``start`` lies in, then whole budget years.

    Parameters
    ----------
    start
        Day of the forecast (sensors' ages are of this day).
    n_years
        Number of periods, at least 1.
    start_month
        Month in which the budget year begins; a budget year that does not begin in
        January is named by the calendar year in which it ends.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is no such month or no period.
    """
    if not 1 <= start_month <= 12:
        raise DomainError(f"There is no month {start_month}; give 1 to 12.")
    if n_years < 1:
        raise DomainError("A forecast needs at least one year.")
    begun = start.year - (start.month < start_month)
    periods = []
    for i in range(n_years):
        opening = date(begun + i, start_month, 1)
        closing = date(begun + i + 1, start_month, 1)
        first = max(opening, start)
        name = str(closing.year if start_month > 1 else opening.year)
        periods.append(
            ForecastPeriod(
                label=name if first == opening else f"rest of {name}",
                first_day=first,
                last_day=closing - timedelta(days=1),
                from_years=years_between(start, first),
                to_years=years_between(start, closing),
            )
        )
    return tuple(periods)


def sensor_forecasts(
    sensors: Sequence[SensorInService],
    fits: Mapping[Technology, WeibullFit],
    *,
    horizons_years: Sequence[float] = HORIZONS_YEARS,
    level: float = 0.90,
    rng: np.random.Generator | None = None,
) -> list[SensorForecast]:
    """Each sensor's chance of failing within the horizons, in the order given.

    Without ``rng`` a generator of :data:`DEFAULT_SEED` draws the intervals.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a sensor's technology has no life curve.
    """
    _check_covered(sensors, fits)
    rng = rng or np.random.default_rng(DEFAULT_SEED)
    found: dict[int, SensorForecast] = {}
    for technology, places in _by_technology(sensors):
        fit = fits[technology]
        ages = np.array([sensors[i].age_years for i in places])
        conditions = [sensors[i].condition for i in places]
        chances = failure_chances(
            fit, ages, horizons_years, rng=rng, level=level, conditions=conditions
        )
        ratios = [one.hazard_ratio for one in conditions]
        remaining = median_remaining_life(fit, ages, hazard_ratio=ratios)
        for i, own, left in zip(places, chances, remaining, strict=True):
            found[i] = SensorForecast(
                key=sensors[i].key,
                technology=technology,
                age_years=sensors[i].age_years,
                chances=own,
                median_remaining_years=float(left),
                basis=fit.basis,
                condition=sensors[i].condition,
            )
    return [found[i] for i in range(len(sensors))]


def failure_count_distribution(probabilities: Iterable[float]) -> Array:
    """Exact distribution of the number of first failures (Poisson-binomial).

    Parameters
    ----------
    probabilities
        Each sensor's chance of failing, n of them, independent.

    Returns
    -------
    numpy.ndarray
        Probability of 0, 1, ..., n failures, shape (n + 1,).
    """
    distribution = np.ones(1)
    for probability in probabilities:
        if not 0.0 <= probability <= 1.0:
            raise DomainError(f"{probability} is not a probability.")
        distribution = np.convolve(distribution, [1.0 - probability, probability])
    return distribution


def fleet_forecast(
    sensors: Sequence[SensorInService],
    fits: Mapping[Technology, WeibullFit],
    periods: Sequence[ForecastPeriod],
    *,
    prices: Mapping[Technology, float | Decimal] | None = None,
    price_growth_per_year: float = 0.0,
    n_draws: int = 1000,
    rng: np.random.Generator | None = None,
) -> FleetForecast:
    """Replacements and cost by period, with bands, for a fleet of mixed technologies.

    Parameters
    ----------
    sensors
        Sensors working on the day of the forecast.
    fits
        Life curve of each technology among them.
    periods
        From :func:`budget_years`.
    prices
        Cost of replacing one sensor in today's money, by technology, in any currency;
        without any, no cost is given.
    price_growth_per_year
        0.03 for 3 % a year, compounded from the day of the forecast to the middle of
        the period.
    n_draws
        Simulated fleets behind the bands.
    rng
        Seeded generator; the same seed gives the same bands. Without one,
        :data:`DEFAULT_SEED` is used.

    Returns
    -------
    FleetForecast
        The expected counts are those of the curves; the bands hold the uncertainty of
        the curves and chance. Technologies are taken as independent.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a technology has no life curve, there is no period, or a price or its
        growth cannot be.
    """
    _check_covered(sensors, fits)
    if not periods:
        raise DomainError("A forecast needs at least one period.")
    rng = rng or np.random.default_rng(DEFAULT_SEED)
    edges = np.array([period.to_years for period in periods])
    groups = _by_technology(sensors)
    expected: dict[Technology, Array] = {}
    counts = np.zeros((n_draws, edges.size), dtype=int)
    price = _price_by_period(prices or {}, price_growth_per_year, periods)
    spent = np.zeros((n_draws, edges.size))
    for technology, places in groups:
        ages = np.array([sensors[i].age_years for i in places])
        ratios = np.array([sensors[i].condition.hazard_ratio for i in places])
        by_then = expected_replacements(
            fits[technology], ages, edges, hazard_ratios=ratios
        )
        expected[technology] = np.diff(by_then, prepend=0.0)
        drawn = simulated_replacements(
            fits[technology],
            ages,
            edges,
            n_draws=n_draws,
            rng=rng,
            hazard_ratios=ratios,
            log_ratio_sd=[sensors[i].condition.log_sd for i in places],
        )
        counts += drawn
        spent += drawn * price(technology)
    mean = np.sum([np.zeros(edges.size), *expected.values()], axis=0)
    mean_cost = np.sum(
        [np.zeros(edges.size), *(expected[t] * price(t) for t in expected)], axis=0
    )
    years = tuple(
        YearForecast(
            period=period,
            replacements=_band(mean[i], counts[:, i]),
            expected_by_technology=tuple((t, float(expected[t][i])) for t in expected),
            cost=_band(mean_cost[i], spent[:, i]) if prices else None,
        )
        for i, period in enumerate(periods)
    )
    return FleetForecast(
        years=years,
        total=_band(mean.sum(), counts.sum(axis=1)),
        total_cost=_band(mean_cost.sum(), spent.sum(axis=1)) if prices else None,
        n_sensors=len(sensors),
        n_draws=n_draws,
        bases=tuple((t, fits[t].basis) for t in expected),
        unpriced=tuple(t for t in expected if prices and t not in prices),
        method=(
            "Expected: Weibull lives given age, failed sensors renewed like for like "
            f"(renewal equation). Band: 10, 50 and 90 % points of {n_draws:,} "
            "simulated fleets, each with life parameters drawn from what the data "
            "leave open."
        ),
    )


def _band(expected: float, drawn: np.ndarray) -> Band:
    p10, p50, p90 = np.quantile(drawn, BAND_QUANTILES)
    return Band(float(expected), float(p10), float(p50), float(p90))


def _price_by_period(
    prices: Mapping[Technology, float | Decimal],
    growth_per_year: float,
    periods: Sequence[ForecastPeriod],
) -> Callable[[Technology], Array]:
    """Price of one replacement in each period, zero where none was given."""
    for technology, price in prices.items():
        if not (math.isfinite(price) and price >= 0):
            raise DomainError(
                f"The replacement cost of a {technology} cannot be {price}; give zero "
                "or more."
            )
    if not (math.isfinite(growth_per_year) and growth_per_year > -1):
        raise DomainError(
            f"Prices cannot grow by {growth_per_year} a year; give a share such as "
            "0.03."
        )
    middles = np.array([(p.from_years + p.to_years) / 2.0 for p in periods])
    growth = (1.0 + growth_per_year) ** middles
    return lambda technology: np.asarray(float(prices.get(technology, 0.0)) * growth)


def _by_technology(
    sensors: Sequence[SensorInService],
) -> list[tuple[Technology, list[int]]]:
    """Places of the sensors by technology, in an order that does not depend on them."""
    places: dict[Technology, list[int]] = {}
    for i, sensor in enumerate(sensors):
        places.setdefault(sensor.technology, []).append(i)
    return sorted(places.items())


def _check_covered(
    sensors: Sequence[SensorInService], fits: Mapping[Technology, WeibullFit]
) -> None:
    missing = sorted({sensor.technology for sensor in sensors} - set(fits))
    if missing:
        raise DomainError(
            f"There is no life curve for {', '.join(missing)}; give an expected life."
        )
