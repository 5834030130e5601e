"""What futures are played with: positions, policies, and how long things take."""

from __future__ import annotations

import math
from dataclasses import dataclass

from installs.calc.types import Technology
from installs.calc.upkeep.types import PolicyKind
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class Position:
    """A place in a lane with the sensor that works there today.

    Attributes
    ----------
    key, site, lane
        The caller's names; lanes of different sites have different names.
    technology
        What is replaced like for like.
    age_years
        Of today's sensor.
    hazard_multiplier
        Of today's sensor against a typical one: above 1 when it reads wet or drifts.
    life_group
        Key of its life draws; the technology's word when empty.
    carries_data
        Whether the lane gives no accepted data while this sensor is down.
    """

    key: str
    site: str
    lane: str
    technology: Technology
    age_years: float
    hazard_multiplier: float = 1.0
    life_group: str = ""
    carries_data: bool = True

    def __post_init__(self) -> None:
        """Refuse an age or a multiplier that cannot be."""
        if not (math.isfinite(self.age_years) and self.age_years >= 0):
            raise DomainError(
                f"Sensor {self.key}: its age of {self.age_years} years cannot be; "
                "correct the day of its installation."
            )
        if not (math.isfinite(self.hazard_multiplier) and self.hazard_multiplier > 0):
            raise DomainError(
                f"Sensor {self.key}: a hazard multiplier must be above zero, not "
                f"{self.hazard_multiplier}."
            )

    @property
    def group(self) -> str:
        """Key of its life draws."""
        return self.life_group or str(self.technology)


@dataclass(frozen=True)
class Policy:
    """When sensors are replaced.

    Attributes
    ----------
    kind
        On failure, at an age, at a condition, or with the pavement programme.
    age_years
        At an age: that age.
    chance_within_year
        At a condition: the chance of failing within a year (by age and hazard
        multiplier) at which a sensor is replaced at the next inspection.
    wait_for_works_years
        A replacement that falls due no longer than this before pavement works at the
        site waits for them. 0: the programme is not looked at.
    """

    kind: PolicyKind
    age_years: float = math.inf
    chance_within_year: float = 1.0
    wait_for_works_years: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a policy without what it needs."""
        if self.kind is PolicyKind.AT_AGE and not self.age_years > 0:
            raise DomainError("Replacing at an age needs an age above zero.")
        if self.kind is PolicyKind.AT_CONDITION and not (
            0.0 < self.chance_within_year < 1.0
        ):
            raise DomainError(
                "Replacing at a condition needs a chance of failing within a year "
                f"between 0 and 1, not {self.chance_within_year}."
            )
        if not self.wait_for_works_years >= 0:
            raise DomainError("A sensor cannot wait less than no time for works.")
        if self.kind is PolicyKind.WITH_PAVEMENT and not self.wait_for_works_years:
            raise DomainError(
                "Replacing with the pavement programme needs the longest time that a "
                "failed sensor may wait for the works."
            )

    @property
    def label(self) -> str:
        """The policy in a few words."""
        words = str(self.kind)
        if self.kind is PolicyKind.AT_AGE:
            words = f"at {self.age_years:g} years"
        elif self.kind is PolicyKind.AT_CONDITION:
            words = (
                f"at a {100 * self.chance_within_year:g} % chance of failing within "
                "a year"
            )
        if self.wait_for_works_years:
            months = round(12 * self.wait_for_works_years)
            words += f", waiting up to {months} months for works"
        return words


@dataclass(frozen=True)
class Times:
    """How long things take, in years.

    Attributes
    ----------
    repair_years
        From a failure until the new sensor works: noticing, ordering, closing the lane,
        curing, calibrating.
    planned_down_years, works_down_years
        Down during a planned replacement, and during pavement works.
    inspection_years
        Between inspections, at which a condition is seen.
    """

    repair_years: float = 0.25
    planned_down_years: float = 7 / 365.25
    works_down_years: float = 14 / 365.25
    inspection_years: float = 0.5

    def __post_init__(self) -> None:
        """Refuse times that cannot be."""
        for name in ("repair_years", "planned_down_years", "works_down_years"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise DomainError(f"{name} must be zero or more.")
        if not (math.isfinite(self.inspection_years) and self.inspection_years > 0):
            raise DomainError("inspection_years must be above zero.")
