"""Chances of single sensors, and replacements of a fleet by period."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from installs.calc.types.condition import TYPICAL, Condition
from installs.calc.types.words import Technology
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class FailureChance:
    """The chance that a sensor working today fails within a horizon."""

    horizon_years: float
    probability: float
    low: float
    high: float
    level: float = 0.90


@dataclass(frozen=True)
class SensorInService:
    """A sensor working today: the caller's key, its technology, age and condition."""

    key: str
    technology: Technology
    age_years: float
    condition: Condition = TYPICAL

    def __post_init__(self) -> None:
        """Refuse an age that cannot be."""
        if not (math.isfinite(self.age_years) and self.age_years >= 0):
            raise DomainError(
                f"Sensor {self.key}: its age of {self.age_years} years cannot be; "
                "correct the day of its installation."
            )


@dataclass(frozen=True)
class SensorForecast:
    """One sensor's chances, and what they rest on."""

    key: str
    technology: Technology
    age_years: float
    chances: tuple[FailureChance, ...]
    median_remaining_years: float
    basis: str
    condition: Condition = TYPICAL

    def within(self, horizon_years: float) -> FailureChance:
        """The chance within one of the horizons asked for.

        Raises
        ------
        KeyError
            When that horizon was not asked for.
        """
        for chance in self.chances:
            if chance.horizon_years == horizon_years:
                return chance
        raise KeyError(horizon_years)


@dataclass(frozen=True)
class ForecastPeriod:
    """A budget year, or what is left of it, as years from the day of the forecast."""

    label: str
    first_day: date
    last_day: date
    from_years: float
    to_years: float


@dataclass(frozen=True)
class Band:
    """Expected value with the 10, 50 and 90 % points of what may happen."""

    expected: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class YearForecast:
    """Replacements in one period, and their cost where prices were given."""

    period: ForecastPeriod
    replacements: Band
    expected_by_technology: tuple[tuple[Technology, float], ...]
    cost: Band | None = None


@dataclass(frozen=True)
class FleetForecast:
    """Replacements by period for the whole fleet.

    Attributes
    ----------
    years
        One entry a period, in order.
    total
        All periods together. Its band is simulated for the sum: the yearly bands do
        not add up to it.
    total_cost
        The same for cost; None when no price was given.
    n_sensors
        Sensors in service that were forecast.
    n_draws
        Simulated fleets behind the bands.
    bases
        What each technology's curve rests on, in a line.
    unpriced
        Technologies without a price: their replacements cost nothing in ``cost``,
        which is then too low, and must be said so.
    method
        The method in one line.
    """

    years: tuple[YearForecast, ...]
    total: Band
    total_cost: Band | None
    n_sensors: int
    n_draws: int
    bases: tuple[tuple[Technology, str], ...]
    unpriced: tuple[Technology, ...]
    method: str
