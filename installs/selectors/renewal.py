"""The renewal forecast: curves, chances of each sensor, replacements and cost a year.

The replacements and the money come from simulated futures under the policy in force
(:mod:`installs.calc.upkeep.futures`), so that the page, the printed programme, the
year's report and the command tell the same figures.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from django.core.cache import cache
from django.db.models import Count, Max

from installs.calc.types import (
    BackTest,
    Band,
    FleetForecast,
    RecordedLife,
    SensorForecast,
    WeibullFit,
    YearForecast,
)
from installs.calc.upkeep.fleet import Policy
from installs.models import (
    ElectricalLimit,
    ElectricalTest,
    FailureReport,
    HazardEffect,
    Installation,
    PavementWork,
    Reading,
    RenewalSettings,
    Sensor,
    SensorModel,
    TechnologyMoney,
    TechnologyProfile,
)
from installs.selectors.conditions import conditions_of
from installs.selectors.life_curves import TechnologyCurve, doubts, technology_curve
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
from installs.selectors.policies import (
    Spot,
    WhatIf,
    assumed_words,
    futures_of,
    policy_of,
    spots_of,
)
from installs.selectors.renewal_money import Money, money_of
from sites.models import Lane, Program, Site

if TYPE_CHECKING:
    from installs.calc.upkeep.costs import ProgrammeCost, YearCost

_T = TypeVar("_T")
DEFAULT_YEARS = 5
#: Past years that a back-test looks at, the latest first.
MOST_ORIGINS = 12
#: Raised whenever the way of reckoning changes, so that no old answer is shown.
METHOD_VERSION = "renewal-4"
KEPT_SECONDS = 24 * 3600
#: Facts that the forecast rests on.
VERSIONED = (
    Program, Site, Lane, Sensor, SensorModel, Installation, ElectricalTest,
    ElectricalLimit, TechnologyProfile, TechnologyMoney, RenewalSettings, HazardEffect,
    PavementWork, FailureReport,
)  # fmt: skip


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
    def hazard_ratio(self) -> float:
        """Its hazard by condition against the usual of its age."""
        return self.forecast.condition.hazard_ratio

    @property
    def chance_2y(self) -> float:
        """Chance of failing within two years."""
        return self.forecast.within(2).probability


@dataclass(frozen=True)
class Renewal:
    """Everything on the renewal pages; ``fleet`` is None when nothing is in the road.

    Attributes
    ----------
    risks
        Live sensors, the likeliest to fail within two years first.
    spots
        The same positions and those that stand empty since a failure.
    programme
        Replacements, trips and money by budget year under ``policy``.
    warnings
        What in the records makes the forecast doubtful, in sentences.
    assumed
        What the money rests on that the agency has not entered, in sentences.
    """

    as_of: dt.date
    n_years: int
    curves: tuple[TechnologyCurve, ...]
    risks: tuple[SensorRisk, ...]
    fleet: FleetForecast | None
    back_test: BackTest
    asked: WhatIf
    policy: Policy
    money: Money
    programme: ProgrammeCost | None = None
    spots: tuple[Spot, ...] = ()
    fits: Mapping[str, WeibullFit] = field(default_factory=dict)
    forecasts: Mapping[int, SensorForecast] = field(default_factory=dict)
    ratios: Mapping[int, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def next_year(self) -> YearForecast | None:
        """The coming whole budget year: what is asked for now; None without sensors."""
        if self.fleet is None:
            return None
        whole = [y for y in self.fleet.years if not y.period.label.startswith("rest")]
        return (whole or list(self.fleet.years))[0]

    @property
    def next_cost(self) -> YearCost | None:
        """What next year's cost is made of."""
        year = self.next_year
        if year is None or self.programme is None:
            return None
        return next(y for y in self.programme.years if y.period == year.period)

    @property
    def n_down(self) -> int:
        """Positions that stand empty since a failure."""
        return sum(spot.is_down for spot in self.spots)


def facts_version(today: dt.date) -> str:
    """A fingerprint of every fact that the forecast rests on; one query a model."""
    parts = [METHOD_VERSION, today.isoformat(), str(Reading.objects.count())]
    for model in VERSIONED:
        row = model._default_manager.aggregate(n=Count("pk"), last=Max("updated_at"))
        parts.append(f"{model.__name__}:{row['n']}:{row['last']}")
    return hashlib.sha256("|".join(parts).encode()).hexdigest()[:24]


def renewal_forecast(
    program: Program,
    today: dt.date,
    *,
    n_years: int = DEFAULT_YEARS,
    asked: WhatIf | None = None,
) -> Renewal:
    """The forecast as of a day, from the lives as they were known then.

    Kept under the versions of the facts behind it, so that it cannot be older.
    """
    asked = asked or WhatIf(years=n_years)
    version = facts_version(today)
    lived = _kept(f"renewal-lived:{version}", lambda: _lived(today))
    money = money_of(
        technology_expectations(),
        growth_pct=program.price_growth_pct
        if asked.growth_pct is None
        else asked.growth_pct,
    )
    policy = policy_of(money.settings, asked)
    played = hashlib.sha256(repr((policy, money, asked.years)).encode()).hexdigest()
    fleet, programme = _kept(
        f"renewal-played:{version}:{played[:24]}",
        lambda: _programme(program, today, lived, money, policy, asked.years),
    )
    return Renewal(
        as_of=today,
        n_years=asked.years,
        curves=lived.curves,
        risks=lived.risks,
        fleet=fleet,
        back_test=lived.back_test,
        asked=asked,
        policy=policy,
        money=money,
        programme=programme,
        spots=lived.spots,
        fits=lived.fits,
        forecasts=lived.forecasts,
        ratios=lived.ratios,
        warnings=lived.warnings,
        assumed=assumed_words(lived.spots, money),
    )


def _kept(key: str, make: Callable[[], _T]) -> _T:
    found: _T | None = cache.get(key)
    if found is None:
        found = make()
        cache.set(key, found, KEPT_SECONDS)
    return found


@dataclass(frozen=True)
class _Lived:
    """What follows from the lives alone, whatever is asked about money and policy."""

    curves: tuple[TechnologyCurve, ...]
    risks: tuple[SensorRisk, ...]
    back_test: BackTest
    spots: tuple[Spot, ...]
    fits: dict[str, WeibullFit]
    forecasts: dict[int, SensorForecast]
    ratios: dict[int, float]
    warnings: tuple[str, ...]


def _lived(today: dt.date) -> _Lived:
    rows = life_rows(today)
    lives = _lives(rows)
    expectations = technology_expectations()
    fits = fits_of(lives, expectations)
    conditions = conditions_of(rows, fits, today)
    live = sensors_in_service(rows, conditions)
    forecasts = forecasts_of(live, fits)
    installations = Installation.objects.select_related(
        "sensor__model", "lane__wim_site"
    ).in_bulk([row.pk for row in rows])
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
    return _Lived(
        curves=tuple(
            technology_curve(
                [row for row in rows if row.technology == word],
                fits[word],
                expectations[word],
            )
            for word in sorted(lives)
        ),
        risks=tuple(sorted(risks, key=lambda r: -r.chance_2y)),
        back_test=_back_test(rows, expectations, today),
        spots=tuple(spots_of(rows, installations)),
        fits=fits,
        forecasts=forecasts,
        ratios={pk: one.hazard_ratio for pk, one in conditions.items()},
        warnings=tuple(
            doubts(rows, {pk: str(place) for pk, place in installations.items()})
        ),
    )


def _programme(
    program: Program,
    today: dt.date,
    lived: _Lived,
    money: Money,
    policy: Policy,
    n_years: int,
) -> tuple[FleetForecast | None, ProgrammeCost | None]:
    """Replacements and money by budget year, from futures played under a policy."""
    import numpy as np

    from installs.calc.forecast import budget_years
    from installs.calc.upkeep.costs import price_events, programme_cost

    if not lived.spots:
        return None, None
    periods = budget_years(today, n_years, start_month=program.fiscal_year_start_month)
    horizon = periods[-1].to_years
    futures = futures_of(
        lived.spots, lived.fits, lived.ratios, money, today=today, horizon_years=horizon
    )
    used = sorted({one.technology for one in futures.positions})
    priced = price_events(
        futures.play(policy),
        futures.positions,
        money.sensor_prices(used),
        money.shared,
        horizon_years=horizon,
    )
    cost = programme_cost(priced, periods, n_draws=futures.n_draws)
    edges = np.array([period.to_years for period in periods])
    kind = np.array([used.index(one.technology) for one in futures.positions])
    table = np.zeros((edges.size + 1, len(used)))
    np.add.at(
        table,
        (
            np.searchsorted(edges, priced.when_years, side="right"),
            kind[priced.position],
        ),
        1.0 / futures.n_draws,
    )
    unpriced = money.unpriced(used)
    has_price = len(unpriced) < len(used)
    whole = np.bincount(priced.draw, minlength=futures.n_draws)
    p10, p50, p90 = np.quantile(whole, (0.10, 0.50, 0.90))
    fleet = FleetForecast(
        years=tuple(
            YearForecast(
                period=year.period,
                replacements=year.replacements,
                expected_by_technology=tuple(
                    (word, float(table[i, k])) for k, word in enumerate(used)
                ),
                cost=year.cost if has_price else None,
            )
            for i, year in enumerate(cost.years)
        ),
        total=Band(float(whole.mean()), float(p10), float(p50), float(p90)),
        total_cost=cost.total if has_price else None,
        n_sensors=sum(not spot.is_down for spot in lived.spots),
        n_draws=futures.n_draws,
        bases=tuple((word, lived.fits[word].basis) for word in used),
        unpriced=unpriced,
        method=(
            f"{cost.method} Policy: {policy.label}. A replacement is counted in the "
            "year in which the new sensor begins to work; a position that stands empty "
            "counts as failed today."
        ),
    )
    return fleet, cost


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
            recorded_on=row.recorded_on,
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
