"""What a choice of technology is made from, and published values that fill it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from installs.calc.published import MEMORY, PRACTICE
from installs.calc.types import Technology
from installs.calc.upkeep.types import DataUse, Estimate
from wimprog.lib.errors import DomainError

OWN = "agency's own"


@dataclass(frozen=True)
class Money:
    """An amount with its spread, its money and where it is from.

    Attributes
    ----------
    amount
        In ``currency`` of ``price_year``.
    source, standing
        Shown with every number that rests on it.
    spread_factor
        The true value lies within a factor of this either way, two times in three; 1
        for an amount that is known.
    """

    amount: float
    currency: str
    price_year: int
    source: str
    standing: str
    spread_factor: float = 1.0

    def __post_init__(self) -> None:
        """Refuse amounts that cannot be."""
        if not (math.isfinite(self.amount) and self.amount >= 0):
            raise DomainError(f"A cost cannot be {self.amount} ({self.source}).")
        if not self.spread_factor >= 1.0:
            raise DomainError(
                f"A spread is a factor of 1 or more, not {self.spread_factor}."
            )

    @property
    def text(self) -> str:
        """The amount's origin in a line."""
        return (
            f"{self.amount:,.0f} {self.currency} of {self.price_year}, {self.source} "
            f"({self.standing})"
        )


@dataclass(frozen=True)
class ClassWanted:
    """What a use of the data asks of the system: a type of ASTM E1318.

    ``gvw_pct`` is the type's tolerance of gross weight for 95 % of vehicles [%].
    """

    e1318_type: str
    gvw_pct: float
    source: str
    standing: str


#: Types wanted by use, unless the agency says otherwise. Tolerances are those of ASTM
#: E1318-09, table 1; which use wants which type is our reading of its classification.
CLASS_WANTED: dict[DataUse, ClassWanted] = {
    DataUse.PAVEMENT_DESIGN: ClassWanted(
        "Type I", 10.0, "ASTM E1318-09, types for traffic data", MEMORY
    ),
    DataUse.BRIDGE: ClassWanted(
        "Type I", 10.0, "loads of single vehicles needed", PRACTICE
    ),
    DataUse.FREIGHT_STATISTICS: ClassWanted(
        "Type II", 15.0, "ASTM E1318-09, types for traffic data", MEMORY
    ),
    DataUse.SCREENING: ClassWanted(
        "Type III", 6.0, "ASTM E1318-09, type for screening at speed", MEMORY
    ),
}


@dataclass(frozen=True)
class TechnologyCosts:
    """What a lane of a technology costs.

    Attributes
    ----------
    renewal
        Of all its sensors in a lane, with work, closure and mobilisation, once each
        life.
    upkeep_per_year
        Calibration, visits, power and communications.
    whole_per_year
        Annual cost in one figure, for use only where the two are not known.
    equipment, equipment_life_years
        Roadside electronics for the lane, and how long they last.
    """

    renewal: Money | None = None
    upkeep_per_year: Money | None = None
    whole_per_year: Money | None = None
    equipment: Money | None = None
    equipment_life_years: float = 10.0

    def __post_init__(self) -> None:
        """Refuse a life of the equipment that cannot be."""
        if not self.equipment_life_years > 0:
            raise DomainError("The life of the equipment must be above zero.")


_BUSHMAN = "Bushman and Pratt, NATMEC 1998"
_MCCALL = "McCall and Vodrazka 1997"
#: How far a published cost may be from an agency's own, two times in three; ours.
PUBLISHED_SPREAD = 1.4


def _published(amount: float, source: str, year: int = 1998) -> Money:
    return Money(amount, "USD", year, source, MEMORY, PUBLISHED_SPREAD)


def _from_life_cycle(first: float, yearly: float, life: float) -> TechnologyCosts:
    """Upkeep is what the published annual cost leaves beside first cost over life."""
    return TechnologyCosts(
        renewal=_published(first, f"{_BUSHMAN}, initial cost per lane"),
        upkeep_per_year=_published(
            yearly - first / life,
            f"{_BUSHMAN}, annual cost less initial cost over {life:g} years",
        ),
    )


PUBLISHED_COSTS: dict[Technology, TechnologyCosts] = {
    Technology.POLYMER_PIEZO: _from_life_cycle(9_000, 4_750, 4),
    Technology.CERAMIC_PIEZO: _from_life_cycle(9_000, 4_750, 4),
    Technology.BENDING_PLATE: _from_life_cycle(21_500, 6_400, 6),
    Technology.LOAD_CELL: _from_life_cycle(48_700, 8_300, 12),
    Technology.QUARTZ_PIEZO: TechnologyCosts(
        whole_per_year=_published(7_500, f"{_MCCALL}, annualised", 1997)
    ),
    Technology.STRAIN_GAUGE_STRIP: TechnologyCosts(
        renewal=Money(
            14_000, "AUD", 2010, "a state road agency", "confirmed", PUBLISHED_SPREAD
        ),
    ),
}

#: Tolerance of gross weight (95 %) that a technology is said to reach [%].
PUBLISHED_GVW_PCT: dict[Technology, float] = {
    Technology.POLYMER_PIEZO: 15.0,
    Technology.CERAMIC_PIEZO: 15.0,
    Technology.BENDING_PLATE: 10.0,
    Technology.LOAD_CELL: 6.0,
}
PUBLISHED_GVW_SOURCE = f"{_BUSHMAN} ({MEMORY})"


@dataclass(frozen=True)
class TechnologyOption:
    """A technology that could go into the lane.

    Attributes
    ----------
    technology
        Of the weighing sensors.
    costs
        The agency's own, where it has them; parts left None are filled by published
        values.
    gvw_pct
        Tolerance of gross weight (95 %) that its lanes reach in the agency's own
        sessions [%]; None: published.
    gvw_n
        Sessions or runs behind it.
    sensors_per_lane
        Number; the lane is renewed when the first of them fails.
    months_down_per_renewal
        Without data at each renewal.
    accepted_share
        Share of records accepted while it works; None: not known.
    life_basis
        What its life draws rest on, in a line.
    """

    technology: Technology
    costs: TechnologyCosts = TechnologyCosts()
    gvw_pct: float | None = None
    gvw_n: int = 0
    sensors_per_lane: int = 1
    months_down_per_renewal: float = 3.0
    accepted_share: float | None = None
    life_basis: str = ""

    def __post_init__(self) -> None:
        """Refuse counts and shares that cannot be."""
        if self.sensors_per_lane < 1 or self.months_down_per_renewal < 0:
            raise DomainError(
                f"{self.technology}: a lane has at least one sensor, and is down for "
                "no less than no time."
            )
        if self.accepted_share is not None and not 0 < self.accepted_share <= 1:
            raise DomainError(
                f"{self.technology}: an accepted share lies above 0 and not above 1."
            )


@dataclass(frozen=True)
class TechnologyLine:
    """A technology in the table.

    Attributes
    ----------
    rank
        From 1 among those that reach the class wanted and can be costed; else None.
    reaches_class
        None where its accuracy is not known.
    life_years
        Mean time between renewals of the lane.
    cost_per_year, cost_per_lane_month
        In the program's money of today; None where it cannot be costed.
    cheapest_share
        Share of draws in which its lane-month costs least among the ranked.
    origins
        Where each number is from, a line each.
    sentence
        For people.
    """

    technology: Technology
    rank: int | None
    reaches_class: bool | None
    life_years: Estimate | None
    cost_per_year: Estimate | None
    cost_per_lane_month: Estimate | None
    cheapest_share: float | None
    origins: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class TechnologyChoice:
    """The table, the class wanted, what the location carries, and the sentence."""

    use: DataUse
    wanted: ClassWanted
    location_carries_it: bool | None
    lines: tuple[TechnologyLine, ...]
    sentence: str
