"""What raises or lowers the chance of one sensor against others of its age."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from wimprog.lib.errors import DomainError

ASSUMED = "assumed"
FITTED = "fitted"


@dataclass(frozen=True)
class Effect:
    """How one thing known of a sensor bears on its hazard.

    Attributes
    ----------
    name
        Name of the covariate, as the callers' values are keyed.
    ratio
        Hazard ratio for one more ``step``: 2 says that the chance of failing in the
        next moment doubles.
    step
        One unit of the covariate in words ("decade of insulation below new").
    low, high
        Range the covariate is held to: beyond it nothing is known, and nothing more is
        claimed.
    log_sd
        Spread of log ratio: how sure the stated ratio is.
    standing
        "assumed", "agency's own" or "fitted".
    source
        Where the ratio is from.
    """

    name: str
    ratio: float
    step: str
    low: float
    high: float
    log_sd: float = 0.4
    standing: str = ASSUMED
    source: str = "no published figure known"

    def __post_init__(self) -> None:
        """Refuse effects that are none."""
        if not (math.isfinite(self.ratio) and self.ratio > 0):
            raise DomainError(
                f"The effect of {self.name} must be a hazard ratio above zero, not "
                f"{self.ratio}; 1 is no effect."
            )
        if not self.low < self.high:
            raise DomainError(
                f"The effect of {self.name} needs a range: {self.low} is not below "
                f"{self.high}."
            )
        if not (math.isfinite(self.log_sd) and self.log_sd > 0):
            raise DomainError(
                f"The effect of {self.name} needs a spread above zero, not "
                f"{self.log_sd}."
            )

    def held(self, value: float) -> float:
        """The value, held to the range."""
        return min(max(value, self.low), self.high)


@dataclass(frozen=True)
class ConditionModel:
    """Effects in use, and what they rest on.

    Attributes
    ----------
    effects
        One a covariate.
    log_ratios
        Log hazard ratio of each, fitted or assumed.
    covariance
        Of ``log_ratios``.
    typical
        Value of each covariate that the life curve stands for.
    n_failures
        Failures in the spells that the fit could use.
    standing
        "assumed" or "fitted".
    sentence
        What they rest on, in words.
    """

    effects: tuple[Effect, ...]
    log_ratios: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    typical: Mapping[str, float]
    n_failures: int
    standing: str
    sentence: str


@dataclass(frozen=True)
class Driver:
    """One reason why a sensor's chance is not that of its age."""

    name: str
    value: float
    ratio: float
    sentence: str


@dataclass(frozen=True)
class Condition:
    """A sensor's hazard against the typical one of its technology and age.

    ``log_sd`` is what the effects leave open of its log.
    """

    hazard_ratio: float = 1.0
    log_sd: float = 0.0
    drivers: tuple[Driver, ...] = field(default=())
    standing: str = ASSUMED


#: Nothing known that sets the sensor apart from others of its age.
TYPICAL = Condition()
