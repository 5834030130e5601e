"""What a budget should replace first, and what just misses the line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from installs.calc.types import SensorForecast, Technology
from installs.selectors.policies import Spot, lane_shares
from wimprog.lib.units import format_number

if TYPE_CHECKING:
    from installs.calc.upkeep.order_types import BudgetOrder, Candidate, OrderLine
    from installs.selectors.renewal import Renewal

_MONTHS_PER_YEAR = 12.0
#: More candidates than this are cut to those most likely to fail.
MOST_CANDIDATES = 400
#: Steps that a page begins with.
FIRST_SHOWN = 8


@dataclass(frozen=True)
class Step:
    """One line of the order with the sensors it replaces."""

    line: OrderLine
    spots: tuple[Spot, ...]
    is_funded: bool


@dataclass(frozen=True)
class Order:
    """The order under a budget, with what it was asked of.

    ``budget_is`` says whose budget it is; ``best_share`` is what the order saves
    against the best possible choice, None where that was too large to search.
    """

    budget: float
    budget_is: str
    most: float
    found: BudgetOrder
    steps: tuple[Step, ...]
    n_candidates: int
    n_left_out: int

    @property
    def funded(self) -> tuple[Step, ...]:
        """What the budget buys, in order."""
        return tuple(step for step in self.steps if step.is_funded)

    @property
    def first(self) -> tuple[Step, ...]:
        """The steps that a page begins with."""
        return self.funded[:FIRST_SHOWN]

    @property
    def rest(self) -> tuple[Step, ...]:
        """The steps within the budget after those."""
        return self.funded[FIRST_SHOWN:]

    @property
    def missed(self) -> tuple[Step, ...]:
        """What just misses the line."""
        return tuple(step for step in self.steps if not step.is_funded)

    @property
    def n_replaced(self) -> int:
        """Sensors that the budget replaces."""
        return sum(len(step.spots) for step in self.funded)

    @property
    def best_share(self) -> float | None:
        """What the order saves of the best possible."""
        best = self.found.best_possible
        if best is None or best <= 0:
            return None
        return min(self.found.lane_months_saved / best, 1.0)


def order_of(found: Renewal, budget: float | None, *, currency: str) -> Order | None:
    """The order under a budget, else under the settings' budget, else the expected.

    None when nothing is in the road, or no technology in it has a price.
    """
    from installs.calc.upkeep.ordering import budget_curve, replacement_order

    spots, left_out = _candidates(found)
    if not spots or found.programme is None:
        return None
    money = found.money
    candidates = [_candidate(found, spot) for spot in spots]
    shares = lane_shares(spots, money)
    trips = {
        spot.installation.lane.wim_site.code: float(money.settings.mobilisation)
        for spot in spots
    }
    setups = dict.fromkeys(shares, money.closure_setup)
    amount, whose = _budget(found, budget)
    order = replacement_order(
        candidates, shares, trips, amount, lane_setup=setups, currency=currency
    )
    whole = budget_curve(
        candidates, shares, trips, lane_setup=setups, currency=currency
    )
    by_key = {spot.key: spot for spot in spots}

    def step(line: OrderLine, *, is_funded: bool) -> Step:
        return Step(line, tuple(by_key[key] for key in line.keys), is_funded)

    return Order(
        budget=amount,
        budget_is=whose,
        most=_round_up(max(whole[-1].cumulative_cost if whole else 0.0, amount, 1.0)),
        found=order,
        steps=(
            *(step(line, is_funded=True) for line in order.funded),
            *(step(line, is_funded=False) for line in order.near_misses),
        ),
        n_candidates=len(spots),
        n_left_out=left_out,
    )


def _budget(found: Renewal, asked: float | None) -> tuple[float, str]:
    if asked is not None:
        return asked, "as asked here"
    kept = found.money.settings.yearly_budget
    if kept is not None:
        return float(kept), "the agency’s budget in the renewal settings"
    year = found.next_year
    expected = year.cost.expected if year is not None and year.cost is not None else 0.0
    return (
        round(expected, -2),
        "no budget is entered: next year’s expected cost stands in",
    )


def _round_up(amount: float) -> float:
    """To a step of the slider."""
    step = 1_000.0
    return step * -(-amount // step)


def _candidates(found: Renewal) -> tuple[list[Spot], int]:
    """Priced positions that cost a lane its data, the likeliest to fail first."""
    able = [
        spot
        for spot in found.spots
        if found.money.prices[Technology(spot.row.technology)].amount is not None
        and _cost(found, spot) > 0
        and spot.row.technology != Technology.TEMPERATURE_PROBE
    ]
    able.sort(key=lambda spot: (-_chance(found, spot), spot.key))
    return able[:MOST_CANDIDATES], len(able[MOST_CANDIDATES:])


def _chance(found: Renewal, spot: Spot) -> float:
    if spot.is_down:
        return 1.0
    forecast = found.forecasts.get(spot.row.pk)
    return 0.0 if forecast is None else forecast.within(1).probability


def _cost(found: Renewal, spot: Spot) -> float:
    amount = found.money.prices[Technology(spot.row.technology)].amount or 0.0
    return amount + found.money.closure_each


def _candidate(found: Renewal, spot: Spot) -> Candidate:
    from installs.calc.survival import failure_probability
    from installs.calc.upkeep.order_types import Candidate

    settings = found.money.settings
    down = min(settings.months_to_replace / _MONTHS_PER_YEAR, 1.0)
    chance = _chance(found, spot)
    new = float(failure_probability(found.fits[spot.row.technology], 0.0, 1.0))
    planned = min(settings.months_planned / _MONTHS_PER_YEAR, 1.0)
    return Candidate(
        key=spot.key,
        site=spot.installation.lane.wim_site.code,
        lane=str(spot.installation.lane),
        chance_within_year=chance,
        down_share_left=1.0 if spot.is_down else chance * down,
        down_share_new=min(planned + new * down, 1.0),
        cost=_cost(found, spot),
        why="" if spot.is_down else reasons(found.forecasts[spot.row.pk]),
    )


def reasons(forecast: SensorForecast) -> str:
    """Why a sensor stands where it does: its age, then what is known of it."""
    said = [f"{format_number(forecast.age_years, 1)} years old"]
    said += [
        f"{driver.name} (hazard × {driver.ratio:.2g})"
        for driver in forecast.condition.drivers
    ]
    return ", ".join(said)


def spot_words(spots: Sequence[Spot]) -> str:
    """The positions of a step, for a sheet."""
    return "; ".join(
        f"{spot.installation.position} in {spot.installation.lane}" for spot in spots
    )
