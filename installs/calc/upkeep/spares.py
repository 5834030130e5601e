"""How many spares of a model to keep, from the demand while an order is on its way.

An order takes its lead time, so the stock on hand and on order must meet the demand of
that time with the service level's chance. Demand is taken from simulated replacements
where there are any, else as Poisson, or as negative binomial where its variance is
larger than its mean (an uncertain life curve, failures that come together).

References
----------
Silver, Pyke and Peterson, Inventory Management and Production Planning and Scheduling,
Wiley, chapter 7 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import nbinom, poisson

from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number

#: Counts beyond this are not looked at.
_MOST = 100_000


@dataclass(frozen=True)
class Demand:
    """Number needed in a time: its mean and its chances.

    Attributes
    ----------
    mean
        Expected number.
    chances
        Chance of needing at most 0, 1, 2, ... (cumulative), up to nearly 1.
    basis
        What the chances rest on, in words.
    """

    mean: float
    chances: tuple[float, ...]
    basis: str

    def least_for(self, service_level: float) -> int:
        """Smallest number that is enough with at least this chance."""
        for count, chance in enumerate(self.chances):
            if chance >= service_level:
                return count
        return len(self.chances)

    def enough(self, count: int) -> float:
        """Chance that a number is enough."""
        if count < 0:
            return 0.0
        return self.chances[min(count, len(self.chances) - 1)]


def poisson_demand(mean: float) -> Demand:
    """Demand of independent failures that are each unlikely."""
    _check_mean(mean)
    most = int(poisson.ppf(1.0 - 1e-9, mean)) + 1 if mean else 0
    chances = poisson.cdf(np.arange(most + 1), mean) if mean else np.ones(1)
    return Demand(mean, tuple(map(float, chances)), "Poisson")


def spread_demand(mean: float, variance: float) -> Demand:
    """Negative binomial demand of this mean and variance; Poisson if no wider.

    A Poisson number whose mean is itself uncertain (gamma distributed) is negative
    binomial: size r = mean² / (variance − mean).
    """
    _check_mean(mean)
    if not (math.isfinite(variance) and variance >= 0):
        raise DomainError(f"A variance of {variance} cannot be.")
    if variance <= mean * (1.0 + 1e-9) or not mean:
        return poisson_demand(mean)
    size = mean**2 / (variance - mean)
    law = nbinom(size, size / (size + mean))
    most = min(int(law.ppf(1.0 - 1e-9)) + 1, _MOST)
    return Demand(
        mean, tuple(map(float, law.cdf(np.arange(most + 1)))), "negative binomial"
    )


def simulated_demand(counts: ArrayLike) -> Demand:
    """Demand from simulated counts, shape (n_draws,), as of replacements in a time."""
    drawn = np.asarray(counts)
    if not drawn.size or np.any(drawn < 0):
        raise DomainError("Demand needs simulated counts of zero or more.")
    chances = np.cumsum(np.bincount(drawn.astype(int))) / drawn.size
    return Demand(
        float(drawn.mean()),
        tuple(map(float, chances)),
        f"{drawn.size:,} simulated futures",
    )


@dataclass(frozen=True)
class StockAdvice:
    """What to keep of a model, and what to do now.

    Attributes
    ----------
    model
        The caller's name.
    minimum_level
        Meets the demand of the lead time with the service level; order as soon as the
        position is below it.
    order_up_to
        Up to this: the minimum, or what also lasts until the next order.
    position
        On hand and on order, less what is promised to planned work.
    order_now
        How many to order today; 0 for none.
    chance_enough
        That the position meets the demand of the lead time.
    sentence
        For people.
    """

    model: str
    minimum_level: int
    order_up_to: int
    position: int
    order_now: int
    chance_enough: float
    sentence: str

    @property
    def reorder_point(self) -> int:
        """Position at or below which to order; −1 when nothing need be kept."""
        return self.minimum_level - 1


def advise_stock(
    model: str,
    lead_time_demand: Demand,
    *,
    lead_time_days: int,
    service_level: float = 0.90,
    on_hand: int = 0,
    on_order: int = 0,
    promised: int = 0,
    cycle_demand: Demand | None = None,
) -> StockAdvice:
    """Minimum level and reorder point of a model.

    Parameters
    ----------
    model
        Its name, for the sentence.
    lead_time_demand
        Demand while an order is on its way.
    lead_time_days
        That time [days].
    service_level
        Chance with which the stock should be enough, between 0 and 1.
    on_hand, on_order, promised
        Counts today.
    cycle_demand
        Demand of the lead time and the usual time between orders together; without it,
        one is ordered for each that is used.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the service level, a count or the lead time cannot be.
    """
    if not 0.0 < service_level < 1.0:
        raise DomainError(
            f"A service level must lie between 0 and 1, not {service_level}."
        )
    if min(on_hand, on_order, promised) < 0 or lead_time_days < 0:
        raise DomainError(f"{model}: counts and lead time cannot be below zero.")
    enough = lead_time_demand.least_for(service_level)
    upper = enough
    if cycle_demand:
        upper = max(enough, cycle_demand.least_for(service_level))
    position = on_hand + on_order - promised
    order_now = upper - position if position < enough else 0
    chance = lead_time_demand.enough(position)
    return StockAdvice(
        model,
        enough,
        upper,
        position,
        order_now,
        chance,
        _sentence(
            model,
            lead_time_demand,
            lead_time_days,
            service_level,
            enough,
            position,
            order_now,
            chance,
        ),
    )


def _sentence(
    model: str,
    demand: Demand,
    days: int,
    level: float,
    enough: int,
    position: int,
    order_now: int,
    chance: float,
) -> str:
    held = (
        f"{model}: about {format_number(demand.mean, 1)} will be needed in the "
        f"{days} days that an order takes ({demand.basis}); {enough} are enough with a "
        f"chance of {format_number(100 * demand.enough(enough), 0)} % (wanted "
        f"{format_number(100 * level, 0)} %)."
    )
    have = (
        f"There are {position} on hand and on order, enough with a chance of "
        f"{format_number(100 * chance, 0)} %."
    )
    if position < 0:
        have = f"{-position} more are promised than are on hand and on order."
    do = f"Order {order_now} now." if order_now else "No order is needed now."
    return f"{held} {have} {do}"


def _check_mean(mean: float) -> None:
    if not (math.isfinite(mean) and mean >= 0):
        raise DomainError(f"A mean demand must be zero or more, not {mean}.")
