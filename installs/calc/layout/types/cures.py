"""Temperatures to work in, and what a maker's table says about its resin."""

from __future__ import annotations

import math
from dataclasses import dataclass

from installs.calc.layout.types.words import AGENCY_OWN
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class TemperatureWindow:
    """Lowest and highest temperature to work in, °C, and whose figures they are."""

    low_c: float | None
    high_c: float | None
    source: str = AGENCY_OWN
    standing: str = "agency's own"

    def __post_init__(self) -> None:
        """Refuse a window without a side or with its sides crossed."""
        sides = [side for side in (self.low_c, self.high_c) if side is not None]
        if not sides or not all(math.isfinite(side) for side in sides):
            raise DomainError(
                "A temperature window needs a lowest or a highest temperature."
            )
        if sides != sorted(sides):
            raise DomainError(
                f"The highest temperature, {self.high_c:g} °C, is below the lowest, "
                f"{self.low_c:g} °C."
            )


@dataclass(frozen=True)
class CatalystStep:
    """One row of a maker's table: what holds at one temperature."""

    temp_c: float
    amount: float
    pot_life_min: float
    cure_min: float


@dataclass(frozen=True)
class CatalystChoice:
    """What the table says at a temperature.

    ``below`` and ``above`` are the rows that it lies between; the same row twice when
    it is that row's temperature.
    """

    temp_c: float
    amount: float
    pot_life_min: float
    cure_min: float
    below: CatalystStep
    above: CatalystStep
    sentence: str


@dataclass(frozen=True)
class CureTime:
    """How long to wait before grinding and traffic, and why that long.

    ``by_table`` is False when no maker's table stood behind it.
    """

    minutes: float
    temp_c: float
    basis: str
    standing: str
    by_table: bool = True


@dataclass(frozen=True)
class ForecastPoint:
    """Forecast air temperature, minutes after the pour."""

    after_min: float
    air_c: float
