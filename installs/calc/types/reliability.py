"""Failures of lanes, and figures with their intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class LaneHistory:
    """One lane: when it was watched and when it failed.

    Attributes
    ----------
    key
        The caller's name for the lane, repeated in complaints.
    failures_years
        Ages of failures [years from the lane's start], several at one age allowed.
    to_years
        Age at which watching ends.
    from_years
        Age at which watching begins.
    """

    key: str
    failures_years: tuple[float, ...]
    to_years: float
    from_years: float = 0.0

    def __post_init__(self) -> None:
        """Refuse failures outside the time watched."""
        given = (self.from_years, self.to_years, *self.failures_years)
        if not all(math.isfinite(age) for age in given):
            raise DomainError(f"Lane {self.key}: an age is not a number.")
        if self.to_years < self.from_years:
            raise DomainError(
                f"Lane {self.key}: watching ends at {self.to_years:.2f} years, before "
                f"it begins at {self.from_years:.2f}."
            )
        for age in self.failures_years:
            if not self.from_years <= age <= self.to_years:
                raise DomainError(
                    f"Lane {self.key}: a failure at {age:.2f} years lies outside the "
                    f"time it was watched ({self.from_years:.2f} to "
                    f"{self.to_years:.2f} years)."
                )


@dataclass(frozen=True)
class MeanCumulative:
    """Mean number of failures per lane by age, one entry an age of failure."""

    age_years: tuple[float, ...]
    at_risk: tuple[int, ...]
    failures: tuple[int, ...]
    mean: tuple[float, ...]
    standard_error: tuple[float, ...]
    poisson_error: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    level: float
    n_lanes: int
    n_failures: int


@dataclass(frozen=True)
class Estimate:
    """A figure, its interval, what it rests on, and what must be said with it.

    ``value`` is None where the data give a bound only; ``low`` and ``high`` are None
    where they give no interval.
    """

    value: float | None
    low: float | None
    high: float | None
    level: float
    n: int
    unit: str
    note: str = ""


@dataclass(frozen=True)
class GroupCount:
    """Failures of one group, seen and expected were all groups alike."""

    name: str
    n_lives: int
    failures: int
    expected: float


@dataclass(frozen=True)
class GroupComparison:
    """Whether groups live alike; ``p_value`` is None where nothing can be compared."""

    groups: tuple[GroupCount, ...]
    statistic: float
    degrees: int
    p_value: float | None
    sentence: str
    warning: str
