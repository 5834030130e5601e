"""What a replacement order is made from, and what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class Candidate:
    """A sensor that could be replaced in the coming year.

    Attributes
    ----------
    key, site, lane
        The caller's names; lanes of different sites have different names.
    chance_within_year
        Of failing within the year if it is left; 1 if it has failed.
    down_share_left
        Share of the year for which it is expected to be down if left: chance × months
        down after a failure / 12; up to 1 if it has failed and stays so.
    down_share_new
        The same for a new one, with the time its replacement takes.
    cost
        Of replacing it, without mobilisation.
    why
        What drives its chance, in words.
    """

    key: str
    site: str
    lane: str
    chance_within_year: float
    down_share_left: float
    down_share_new: float
    cost: float
    why: str = ""

    def __post_init__(self) -> None:
        """Refuse shares and costs that cannot be."""
        for name in ("chance_within_year", "down_share_left", "down_share_new"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise DomainError(
                    f"Sensor {self.key}: {name} must lie between 0 and 1, not "
                    f"{getattr(self, name)}."
                )
        if not (math.isfinite(self.cost) and self.cost > 0):
            raise DomainError(
                f"Sensor {self.key}: its replacement must cost more than nothing, not "
                f"{self.cost}."
            )


@dataclass(frozen=True)
class OrderLine:
    """One step of the order: a bundle of sensors at one site.

    Attributes
    ----------
    rank
        From 1.
    keys, site
        What is replaced, where.
    cost, mobilisation
        The step's whole cost, and the mobilisation in it (0 when paid before).
    lane_months_saved
        Of accepted data in the coming year, after the steps before it.
    saved_per_1000
        For each 1,000 of money.
    cumulative_cost, cumulative_saved
        With all steps before it.
    sentence
        Why it stands here.
    """

    rank: int
    keys: tuple[str, ...]
    site: str
    cost: float
    mobilisation: float
    lane_months_saved: float
    cumulative_cost: float
    cumulative_saved: float
    sentence: str

    @property
    def saved_per_1000(self) -> float:
        """Lane-months of accepted data for each 1,000 of money."""
        return 1000.0 * self.lane_months_saved / self.cost


@dataclass(frozen=True)
class BudgetOrder:
    """What a budget buys, in order, and what just misses.

    Attributes
    ----------
    budget, spent, lane_months_saved
        Money given and spent; what it saves in the coming year.
    lane_months_lost_if_nothing
        What the coming year loses if nothing is replaced.
    funded, near_misses
        Steps inside the budget, and the next ones beyond it, in order.
    best_possible
        Most lane-months that any choice within the budget saves; None where the case
        was too large for the exact search.
    sentence
        For people.
    """

    budget: float
    spent: float
    lane_months_saved: float
    lane_months_lost_if_nothing: float
    funded: tuple[OrderLine, ...]
    near_misses: tuple[OrderLine, ...]
    best_possible: float | None
    sentence: str
