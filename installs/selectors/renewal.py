"""The renewal forecast: curves, chances of each sensor, replacements a year."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from installs.calc.types import (
    BackTest,
    FleetForecast,
    Goodness,
    GroupComparison,
    IncidenceCurve,
    Life,
    RecordedLife,
    SensorForecast,
    SurvivalCurve,
    Technology,
    WeibullFit,
)
from installs.models import Installation
from installs.selectors.conditions import conditions_of
from installs.selectors.lives import (
    Expectation,
    LifeRow,
    _lives,
    fits_of,
    forecasts_of,
    life_rows,
    sensors_in_service,
    technology_expectations,
)
from sites.models import Program

DEFAULT_YEARS = 5
#: Past years that a back-test looks at, the latest first.
MOST_ORIGINS = 12


@dataclass(frozen=True)
class TechnologyCurve:
    """What is known of the life of one technology."""

    technology: str
    lives: tuple[Life, ...]
    curve: SurvivalCurve
    fit: WeibullFit
    expectation: Expectation
    n_live: int
    ends: tuple[IncidenceCurve, ...]
    modes: tuple[IncidenceCurve, ...]
    goodness: Goodness
    rests_on: str
    by_lot: GroupComparison | None


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
    back_test: BackTest


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

    rows = life_rows(today)
    lives = _lives(rows)
    expectations = technology_expectations()
    fits = fits_of(lives, expectations)
    live = sensors_in_service(rows, conditions_of(rows, fits, today))
    forecasts = forecasts_of(live, fits)
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
            _curve(
                [row for row in rows if row.technology == word],
                fits[word],
                expectations[word],
            )
            for word in sorted(lives)
        ),
        risks=tuple(sorted(risks, key=lambda r: -r.chance_2y)),
        fleet=fleet,
        back_test=_back_test(rows, expectations, today),
    )


def _curve(
    rows: list[LifeRow], fit: WeibullFit, expectation: Expectation
) -> TechnologyCurve:
    """One technology's curve, how it stands against its lives, and its ends."""
    from installs.calc.competing import cumulative_incidence
    from installs.calc.goodness import goodness_of_fit
    from installs.calc.pooling import borrowing
    from installs.calc.survival import kaplan_meier

    lives = [row.life for row in rows]
    reasons = [row.end_reason for row in rows]
    modes = [row.failure_mode or row.end_reason for row in rows]
    return TechnologyCurve(
        technology=rows[0].technology,
        lives=tuple(lives),
        curve=kaplan_meier(lives),
        fit=fit,
        expectation=expectation,
        n_live=sum(row.ended_on is None for row in rows),
        ends=cumulative_incidence(lives, reasons),
        modes=cumulative_incidence(lives, modes),
        goodness=goodness_of_fit(lives, fit),
        rests_on=borrowing(fit).sentence,
        by_lot=_by_lot(rows),
    )


def _by_lot(rows: list[LifeRow]) -> GroupComparison | None:
    """Whether the lots live alike; None where fewer than two lots are named."""
    from installs.calc.groups import compare_lives

    lots: dict[str, list[Life]] = {}
    for row in rows:
        if row.lot:
            lots.setdefault(row.lot, []).append(row.life)
    return compare_lives(lots) if len(lots) > 1 else None


def _back_test(
    rows: list[LifeRow], expectations: dict[str, Expectation], today: dt.date
) -> BackTest:
    """Forecasts from the turn of each past year, held against what came."""
    from installs.calc.backtest import back_test

    history = [
        RecordedLife(
            key=str(row.pk),
            group=row.technology,
            installed_on=row.installed_on,
            ended_on=row.ended_on,
            failed=row.failed,
        )
        for row in rows
    ]
    first = min((row.installed_on.year for row in rows), default=today.year)
    origins = [dt.date(year, 1, 1) for year in range(first + 1, today.year)]
    return back_test(
        history,
        origins[-MOST_ORIGINS:],
        fit=lambda lives: fits_of(
            {word: list(lived) for word, lived in lives.items()}, expectations
        ),
        last_known=today,
    )
