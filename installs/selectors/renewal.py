"""The renewal forecast: curves, chances of each sensor, replacements a year."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from installs.calc.types import (
    FleetForecast,
    Life,
    SensorForecast,
    SurvivalCurve,
    Technology,
    WeibullFit,
)
from installs.models import Installation
from installs.selectors.lives import (
    Expectation,
    _lives,
    fits_of,
    forecasts_of,
    life_rows,
    sensors_in_service,
    technology_expectations,
)
from sites.models import Program

DEFAULT_YEARS = 5


@dataclass(frozen=True)
class TechnologyCurve:
    """What is known of the life of one technology."""

    technology: str
    lives: tuple[Life, ...]
    curve: SurvivalCurve
    fit: WeibullFit
    expectation: Expectation
    n_live: int


@dataclass(frozen=True)
class SensorRisk:
    """One live sensor and its chances."""

    installation: Installation
    technology: str
    age_years: float
    forecast: SensorForecast

    @property
    def chance_1y(self) -> float:
        """Chance of failing within a year."""
        return self.forecast.within(1).probability

    @property
    def chance_5y(self) -> float:
        """Chance of failing within five years."""
        return self.forecast.within(5).probability

    @property
    def chance_2y(self) -> float:
        """Chance of failing within two years."""
        return self.forecast.within(2).probability


@dataclass(frozen=True)
class Renewal:
    """Everything on the renewal page; ``fleet`` is None when nothing is in the road."""

    as_of: dt.date
    n_years: int
    curves: tuple[TechnologyCurve, ...]
    risks: tuple[SensorRisk, ...]
    fleet: FleetForecast | None


def _prices(expectations: dict[str, Expectation]) -> dict[Technology, Decimal]:
    return {
        one.technology: one.cost
        for one in expectations.values()
        if one.cost is not None
    }


def renewal_forecast(
    program: Program, today: dt.date, *, n_years: int = DEFAULT_YEARS
) -> Renewal:
    """The forecast as of a day, from the lives as they were known then."""
    from installs.calc.forecast import budget_years, fleet_forecast
    from installs.calc.survival import kaplan_meier

    rows = life_rows(today)
    lives = _lives(rows)
    expectations = technology_expectations()
    fits = fits_of(lives, expectations)
    forecasts = forecasts_of(rows, fits)
    live = sensors_in_service(rows)
    installations = Installation.objects.select_related(
        "sensor__model", "lane__wim_site"
    ).in_bulk(list(forecasts))
    risks = [
        SensorRisk(
            installation=installations[row.pk],
            technology=row.technology,
            age_years=row.age_years,
            forecast=forecasts[row.pk],
        )
        for row in rows
        if row.pk in forecasts
    ]
    fleet = None
    if live:
        fleet = fleet_forecast(
            live,
            {Technology(word): fit for word, fit in fits.items()},
            budget_years(today, n_years, start_month=program.fiscal_year_start_month),
            prices=_prices(expectations),
            price_growth_per_year=program.price_growth_pct / 100.0,
        )
    return Renewal(
        as_of=today,
        n_years=n_years,
        curves=tuple(
            TechnologyCurve(
                technology=word,
                lives=tuple(lived),
                curve=kaplan_meier(lived),
                fit=fits[word],
                expectation=expectations[word],
                n_live=sum(one.technology == word for one in live),
            )
            for word, lived in sorted(lives.items())
        ),
        risks=tuple(sorted(risks, key=lambda r: -r.chance_2y)),
        fleet=fleet,
    )
