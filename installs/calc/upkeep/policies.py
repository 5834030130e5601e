"""Replacement policies compared on the same simulated futures.

Each policy is played through the futures of :class:`installs.calc.upkeep.futures`, with
the same luck, so that the difference between two policies is much better known than
either. A lane gives no accepted data while any of its sensors that carry data is down;
overlapping times count once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import Technology
from installs.calc.upkeep.costs import SensorPrice, SharedCosts, price_events
from installs.calc.upkeep.fleet import Policy
from installs.calc.upkeep.futures import Events, Futures, estimate
from installs.calc.upkeep.types import Estimate
from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number

MONTHS_PER_YEAR = 12.0


@dataclass(frozen=True)
class PolicyOutcome:
    """What a policy costs and brings, for the whole fleet.

    Attributes
    ----------
    policy
        The policy played.
    cost_per_year
        Of replacements, in today's money.
    failures_per_year, replacements_per_year
        Counts.
    lane_months_lost_per_year
        Months of accepted data that lanes do not give because sensors are down.
    cost_per_lane_month
        Cost over the lane-months of accepted data that are left.
    mean_age_at_end_years
        Of the sensors in service at the horizon: a policy that leaves old sensors has
        put cost off beyond it.
    difference
        Against the first policy, paired future by future; None for the first.
    """

    policy: Policy
    cost_per_year: Estimate
    failures_per_year: Estimate
    replacements_per_year: Estimate
    lane_months_lost_per_year: Estimate
    cost_per_lane_month: Estimate
    mean_age_at_end_years: float
    difference: PairedDifference | None = None


@dataclass(frozen=True)
class PairedDifference:
    """This policy less the first, in the same futures.

    Attributes
    ----------
    cost_per_year, lane_months_lost_per_year, cost_per_lane_month
        Means and intervals of the differences.
    cheaper_share
        Share of futures in which its lane-month costs less.
    standard_error
        Of the mean difference of the cost of a lane-month, from the number of futures.
    sentence
        For people.
    """

    cost_per_year: Estimate
    lane_months_lost_per_year: Estimate
    cost_per_lane_month: Estimate
    cheaper_share: float
    standard_error: float
    sentence: str


@dataclass(frozen=True)
class _Drawn:
    cost: Array
    failures: Array
    replacements: Array
    lost: Array
    per_month: Array
    end_age: float


def compare_policies(
    futures: Futures,
    policies: Sequence[Policy],
    prices: Mapping[Technology, SensorPrice],
    shared: SharedCosts,
    accepted_share: Mapping[str, float],
    *,
    level: float = 0.90,
    currency: str = "$",
) -> tuple[PolicyOutcome, ...]:
    """Play each policy through the same futures.

    Parameters
    ----------
    futures
        Of the fleet.
    policies
        The first is what the others are held against.
    prices, shared
        What replacements cost. Price growth is left out here: years far ahead would
        count for more.
    accepted_share
        For each lane, the share of its records that is accepted while it works, above
        0 and at most 1.
    level
        Level of the intervals.
    currency
        Its sign, for sentences.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Without a policy, or when a lane has no accepted share.
    """
    if not policies:
        raise DomainError("Give at least one policy to look at.")
    _check_shares(futures, accepted_share)
    level_prices = replace(shared, price_growth_per_year=0.0)
    drawn = [
        _play(futures, policy, prices, level_prices, accepted_share)
        for policy in policies
    ]
    outcomes = []
    for i, (policy, one) in enumerate(zip(policies, drawn, strict=True)):
        paired = (
            _paired(one, drawn[0], policy, policies[0], level, currency) if i else None
        )
        outcomes.append(
            PolicyOutcome(
                policy=policy,
                cost_per_year=estimate(one.cost, level),
                failures_per_year=estimate(one.failures, level),
                replacements_per_year=estimate(one.replacements, level),
                lane_months_lost_per_year=estimate(one.lost, level),
                cost_per_lane_month=estimate(one.per_month, level),
                mean_age_at_end_years=one.end_age,
                difference=paired,
            )
        )
    return tuple(outcomes)


def lane_downtime_years(events: Events, futures: Futures) -> Array:
    """Years without data by future and lane, overlaps counted once.

    Returns
    -------
    numpy.ndarray
        Shape (n_draws, n_lanes), lanes in the order of :func:`lanes_of`.
    """
    lanes = lanes_of(futures)
    place = {lane: i for i, lane in enumerate(lanes)}
    of_position = np.array([place[p.lane] for p in futures.positions])
    carries = np.array([p.carries_data for p in futures.positions])[events.position]
    group = (events.draw * len(lanes) + of_position[events.position])[carries]
    begin = events.end_years[carries]
    end = np.minimum(events.renewed_years[carries], futures.horizon_years)
    order = np.lexsort((begin, group))
    group, begin, end = group[order], begin[order], end[order]
    # Groups lie one behind the other on one axis, so one running maximum serves all.
    offset = group * (futures.horizon_years + 1.0)
    reach = np.maximum.accumulate(end + offset) if group.size else end
    before = np.concatenate([[0.0], reach[:-1]])[: group.size]
    fresh = np.maximum(reach - np.maximum(begin + offset, before), 0.0)
    down = np.bincount(group, fresh, minlength=futures.n_draws * len(lanes))
    return np.asarray(down.reshape(futures.n_draws, len(lanes)), dtype=float)


def lanes_of(futures: Futures) -> tuple[str, ...]:
    """The fleet's lanes, sorted."""
    return tuple(sorted({p.lane for p in futures.positions}))


def _play(
    futures: Futures,
    policy: Policy,
    prices: Mapping[Technology, SensorPrice],
    shared: SharedCosts,
    accepted_share: Mapping[str, float],
) -> _Drawn:
    events = futures.play(policy)
    years, n = futures.horizon_years, futures.n_draws
    priced = price_events(
        events, futures.positions, prices, shared, horizon_years=years
    )
    cost = np.bincount(priced.draw, priced.cost, minlength=n) / years
    down = lane_downtime_years(events, futures)
    share = np.array([accepted_share[lane] for lane in lanes_of(futures)])
    lost = MONTHS_PER_YEAR * (down @ share) / years
    possible = MONTHS_PER_YEAR * share.sum()
    return _Drawn(
        cost=cost,
        failures=np.bincount(events.draw, events.failed, minlength=n) / years,
        replacements=np.bincount(priced.draw, minlength=n) / years,
        lost=lost,
        per_month=cost / (possible - lost),
        end_age=_end_age(futures, events),
    )


def _end_age(futures: Futures, events: Events) -> float:
    """Mean age of the sensors that work at the horizon, over futures and positions."""
    size = (futures.n_draws, len(futures.positions))
    last = np.broadcast_to([-p.age_years for p in futures.positions], size).copy()
    np.maximum.at(last, (events.draw, events.position), events.renewed_years)
    ages = futures.horizon_years - last
    return float(ages[ages >= 0].mean()) if np.any(ages >= 0) else 0.0


def _paired(
    one: _Drawn, first: _Drawn, policy: Policy, base: Policy, level: float, sign: str
) -> PairedDifference:
    by_month = one.per_month - first.per_month
    error = float(by_month.std(ddof=1) / np.sqrt(by_month.size))
    months = estimate(by_month, level)
    cheaper = float(np.mean(by_month < 0))
    return PairedDifference(
        cost_per_year=estimate(one.cost - first.cost, level),
        lane_months_lost_per_year=estimate(one.lost - first.lost, level),
        cost_per_lane_month=months,
        cheaper_share=cheaper,
        standard_error=error,
        sentence=_difference_sentence(policy, base, months, error, cheaper, sign),
    )


def _difference_sentence(
    policy: Policy,
    base: Policy,
    months: Estimate,
    error: float,
    cheaper: float,
    sign: str,
) -> str:
    who = f"Replacing {policy.label} against replacing {base.label}"
    low, high = months.interval.low, months.interval.high
    span = (
        f"({format_number(100 * months.interval.level, 0)} % of futures: "
        f"{_money(low, sign)} to {_money(high, sign)})"
    )
    if abs(months.mean) <= 2.0 * error:
        return (
            f"{who}: no difference in the cost of a lane-month of accepted data can be "
            f"told from {months.n_draws:,} futures {span}."
        )
    word = "less" if months.mean < 0 else "more"
    return (
        f"{who}: a lane-month of accepted data costs "
        f"{_money(abs(months.mean), sign)} {word} on average {span}; it is cheaper in "
        f"{round(cheaper * months.n_draws):,} of {months.n_draws:,} simulated futures."
    )


def _money(value: float, sign: str) -> str:
    minus = "−" if round(value) < 0 else ""
    return f"{minus}{sign}{format_number(abs(value), 0)}"


def _check_shares(futures: Futures, accepted_share: Mapping[str, float]) -> None:
    for lane in lanes_of(futures):
        share = accepted_share.get(lane)
        if share is None:
            raise DomainError(
                f"Lane {lane} has no accepted share; give the share of its records "
                "that is accepted, or leave the lane out."
            )
        if not 0.0 < share <= 1.0:
            raise DomainError(
                f"Lane {lane}: an accepted share must lie above 0 and not above 1, "
                f"not {share}."
            )
