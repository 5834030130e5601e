"""Results of holding curves and forecasts against what happened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class PlotPoint:
    """One age of failure on the Weibull plot.

    ``failed_frac`` is half-way down the step; ``low`` and ``high`` bound survival just
    after it, simultaneously with all other ages (NaN where no band exists).
    """

    age_years: float
    failed_frac: float
    low: float
    high: float
    model_survival: float


@dataclass(frozen=True)
class ResidualPoint:
    """A residual and the Nelson–Aalen estimate there; equal if the curve is true."""

    residual: float
    cumulative_hazard: float


@dataclass(frozen=True)
class Goodness:
    """How a curve stands against its lives."""

    points: tuple[PlotPoint, ...]
    residuals: tuple[ResidualPoint, ...]
    factor: float
    outside: int
    n_failures: int
    level: float
    sentence: str


@dataclass(frozen=True)
class RecordedLife:
    """One life by its dates, and when its end was recorded.

    Without ``recorded_on`` the end is taken as known on the day it happened.
    """

    key: str
    group: str
    installed_on: date
    ended_on: date | None = None
    failed: bool = False
    recorded_on: date | None = None

    def __post_init__(self) -> None:
        """Refuse an end before the installation, and a failure without a day."""
        if self.ended_on is not None and self.ended_on < self.installed_on:
            raise DomainError(
                f"Life {self.key}: it ended on {self.ended_on}, before its "
                f"installation on {self.installed_on}; correct one of the days."
            )
        if self.failed and self.ended_on is None:
            raise DomainError(f"Life {self.key}: a failure needs its day.")

    @property
    def known_on(self) -> date:
        """Day from which the end was known."""
        known = self.recorded_on or self.ended_on
        if known is None or self.ended_on is None:
            return date.max
        return max(known, self.ended_on)


@dataclass(frozen=True)
class OriginScore:
    """One day forecast from: failures expected, their band, failures that came."""

    origin: date
    n: int
    expected: float
    low: float
    high: float
    failed: int
    left_out: int


@dataclass(frozen=True)
class Fifth:
    """A fifth of the forecasts by chance told: its mean, and the share that came."""

    told: float
    came: float
    n: int


@dataclass(frozen=True)
class BackTest:
    """How past forecasts stood against what came; scores are None without forecasts."""

    horizon_years: float
    level: float
    n: int
    failed: int
    expected: float
    brier: float | None
    brier_constant_rate: float | None
    skill: float | None
    fifths: tuple[Fifth, ...]
    origins: tuple[OriginScore, ...]
    bands_held: int
    left_out: int
    sentence: str

    def with_sentence(self, sentence: str) -> BackTest:
        """The same, told in words."""
        return replace(self, sentence=sentence)
