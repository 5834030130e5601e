"""Which replacements a budget should buy first, and what just misses the line.

A lane gives no accepted data while any of its sensors is down. With f the share of the
coming year for which a sensor is expected to be down (1 if it has failed already), and
sensors independent, a lane loses

    12 * accepted share * (1 - product of (1 - f))

lane-months of accepted data in the year. Replacing a sensor exchanges its f for that of
a new one, so that replacing one of two failed sensors in a lane saves nothing: sensors
are chosen in bundles. The first replacement at a site pays the mobilisation, the first
in a lane the setting up of its closure; the others share them.

The order is greedy: at each step the bundle that saves most for its money. How far that
is from the best there is, is told by an exact search where the case is small enough.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from installs.calc.likelihood import Array
from installs.calc.upkeep.order_types import BudgetOrder, Candidate, OrderLine
from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number

MONTHS_PER_YEAR = 12.0
#: Candidates of one lane tried in every combination; beyond it, worst first.
MOST_COMBINED = 8
#: Ways to spend kept by the exact search; beyond it, it gives up.
_MOST_WAYS = 20_000
#: Sums of ways that it holds at one time.
_MOST_SUMS = 4_000_000
#: Spend nothing, save nothing.
_NOTHING = np.zeros((1, 2))
_TINY = 1e-9
#: Lines beyond the budget that are told.
N_NEAR_MISSES = 5


@dataclass(frozen=True)
class _Move:
    site: str
    chosen: frozenset[int]
    saved: float
    cost: float
    mobilisation: float

    @property
    def worth(self) -> float:
        return self.saved / self.cost


class _Case:
    """The candidates, laid out by lane and site."""

    def __init__(
        self,
        candidates: Sequence[Candidate],
        accepted_share: Mapping[str, float],
        mobilisation: Mapping[str, float],
        lane_setup: Mapping[str, float] | None = None,
    ) -> None:
        _check(candidates, accepted_share, mobilisation)
        self.all = tuple(candidates)
        self.setup = lane_setup or {}
        self.share = accepted_share
        self.mobilisation = mobilisation
        self.lanes: dict[str, list[int]] = {}
        self.sites: dict[str, list[str]] = {}
        for i, one in enumerate(self.all):
            if one.lane not in self.lanes:
                self.sites.setdefault(one.site, []).append(one.lane)
            self.lanes.setdefault(one.lane, []).append(i)

    def lane_lost(self, lane: str, chosen: frozenset[int]) -> float:
        """Lane-months lost in the year with these sensors replaced."""
        works = 1.0
        for i in self.lanes[lane]:
            one = self.all[i]
            works *= 1.0 - (one.down_share_new if i in chosen else one.down_share_left)
        return MONTHS_PER_YEAR * self.share[lane] * (1.0 - works)

    def bundles(
        self, lane: str, chosen: frozenset[int]
    ) -> list[tuple[frozenset[int], float, float]]:
        """Bundles of sensors still to choose in a lane: which, saved, own cost."""
        left = [i for i in self.lanes[lane] if i not in chosen]
        left.sort(key=lambda i: -self.all[i].down_share_left)
        if len(left) <= MOST_COMBINED:
            sets = [
                frozenset(some)
                for size in range(1, len(left) + 1)
                for some in itertools.combinations(left, size)
            ]
        else:
            sets = [frozenset(left[: n + 1]) for n in range(len(left))]
        before = self.lane_lost(lane, chosen)
        is_closed = len(left) < len(self.lanes[lane])
        setup = 0.0 if is_closed else self.setup.get(lane, 0.0)
        return [
            (
                some,
                before - self.lane_lost(lane, chosen | some),
                sum((self.all[i].cost for i in some), start=setup),
            )
            for some in sets
        ]

    def moves(
        self, site: str, chosen: frozenset[int], site_is_open: bool
    ) -> list[_Move]:
        """Steps that a site offers: bundles of a lane, and best of several lanes."""
        mobilisation = 0.0 if site_is_open else self.mobilisation[site]
        best = []
        found = []
        for lane in self.sites[site]:
            of_lane = [one for one in self.bundles(lane, chosen) if one[1] > _TINY]
            for some, saved, own in of_lane:
                found.append(_Move(site, some, saved, own + mobilisation, mobilisation))
            if of_lane:
                best.append(max(of_lane, key=lambda one: one[1] / one[2]))
        best.sort(key=lambda one: -one[1] / one[2])
        for n in range(2, len(best) + 1):
            several = best[:n]
            found.append(
                _Move(
                    site,
                    frozenset().union(*(one[0] for one in several)),
                    sum(one[1] for one in several),
                    sum(one[2] for one in several) + mobilisation,
                    mobilisation,
                )
            )
        return found


def replacement_order(
    candidates: Sequence[Candidate],
    accepted_share: Mapping[str, float],
    mobilisation: Mapping[str, float],
    budget: float,
    *,
    lane_setup: Mapping[str, float] | None = None,
    currency: str = "$",
) -> BudgetOrder:
    """What a budget buys first, and what just misses the line.

    Parameters
    ----------
    candidates
        Sensors that could be replaced; all of a lane should be among them, as the
        others' failures cost the lane its data too.
    accepted_share
        For each lane, the share of its records that is accepted while it works.
    mobilisation
        For each site, the cost of one trip of a crew.
    budget
        Money for the year.
    lane_setup
        For each lane, what its first replacement pays for setting up a closure; none
        where left out.
    currency
        Its sign, for sentences.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the budget cannot be, two candidates have one key, or a lane or site has no
        share or mobilisation.
    """
    if not (math.isfinite(budget) and budget >= 0):
        raise DomainError(f"A budget must be zero or more, not {budget}.")
    case = _Case(candidates, accepted_share, mobilisation, lane_setup)
    lost = sum(case.lane_lost(lane, frozenset()) for lane in case.lanes)
    moves, chosen = _greedy(case, frozenset(), budget)
    lines = _lines(case, moves, currency)
    spent = lines[-1].cumulative_cost if lines else 0.0
    saved = lines[-1].cumulative_saved if lines else 0.0
    beyond, _ = _greedy(case, chosen, math.inf, most=N_NEAR_MISSES)
    missed = _lines(case, beyond, currency, after=(len(lines), spent, saved))
    best = _best_possible(case, budget)
    return BudgetOrder(
        budget=budget,
        spent=spent,
        lane_months_saved=saved,
        lane_months_lost_if_nothing=lost,
        funded=tuple(lines),
        near_misses=tuple(missed),
        best_possible=best,
        sentence=_summary(budget, spent, saved, lost, lines, missed, best, currency),
    )


def budget_curve(
    candidates: Sequence[Candidate],
    accepted_share: Mapping[str, float],
    mobilisation: Mapping[str, float],
    *,
    lane_setup: Mapping[str, float] | None = None,
    currency: str = "$",
) -> tuple[OrderLine, ...]:
    """The whole order without a budget: cost and lane-months saved step by step.

    For a slider: a budget buys every step whose ``cumulative_cost`` it holds; where
    money is left over, :func:`replacement_order` may fit a smaller step in.
    """
    case = _Case(candidates, accepted_share, mobilisation, lane_setup)
    moves, _ = _greedy(case, frozenset(), math.inf)
    return tuple(_lines(case, moves, currency))


def _greedy(
    case: _Case, chosen: frozenset[int], budget: float, *, most: int | None = None
) -> tuple[list[_Move], frozenset[int]]:
    taken: list[_Move] = []
    left = budget
    opened = {case.all[i].site for i in chosen}
    offers = {site: case.moves(site, chosen, site in opened) for site in case.sites}
    while most is None or len(taken) < most:
        within = [m for some in offers.values() for m in some if m.cost <= left + _TINY]
        if not within:
            break
        # At equal worth the cheaper step first, then by name, so that order is fixed.
        best = min(
            within,
            key=lambda m: (-round(m.worth, 12), m.cost, m.site, sorted(m.chosen)),
        )
        taken.append(best)
        chosen |= best.chosen
        left -= best.cost
        offers[best.site] = case.moves(best.site, chosen, True)
    return taken, chosen


def _lines(
    case: _Case,
    moves: Sequence[_Move],
    currency: str,
    *,
    after: tuple[int, float, float] = (0, 0.0, 0.0),
) -> list[OrderLine]:
    rank, cost, saved = after
    lines = []
    for move in moves:
        rank, cost, saved = rank + 1, cost + move.cost, saved + move.saved
        lines.append(
            OrderLine(
                rank=rank,
                keys=tuple(case.all[i].key for i in sorted(move.chosen)),
                site=move.site,
                cost=move.cost,
                mobilisation=move.mobilisation,
                lane_months_saved=move.saved,
                cumulative_cost=cost,
                cumulative_saved=saved,
                sentence=_why(case, move, currency),
            )
        )
    return lines


def _why(case: _Case, move: _Move, currency: str) -> str:
    some = [case.all[i] for i in sorted(move.chosen)]
    many = "s" if len(some) > 1 else ""
    names = ", ".join(one.key for one in some)
    drivers = "; ".join(
        f"{one.key} {format_number(100 * one.chance_within_year, 0)} % likely to fail "
        f"within the year{f' ({one.why})' if one.why else ''}"
        for one in some
        if one.chance_within_year < 1.0
    )
    failed = [one.key for one in some if one.chance_within_year >= 1.0]
    if failed:
        drivers = "; ".join(
            filter(None, [f"down already: {', '.join(failed)}", drivers])
        )
    trip = (
        f"with {currency}{format_number(move.mobilisation, 0)} for the trip"
        if move.mobilisation
        else "on a trip already paid for"
    )
    return (
        f"Sensor{many} {names} at {move.site}: saves "
        f"{format_number(move.saved, 1)} lane-months of accepted data for "
        f"{currency}{format_number(move.cost, 0)} {trip}, "
        f"{format_number(1000 * move.worth, 2)} for each {currency}1,000. "
        f"Why: {drivers}."
    )


def _summary(
    budget: float,
    spent: float,
    saved: float,
    lost: float,
    lines: Sequence[OrderLine],
    missed: Sequence[OrderLine],
    best: float | None,
    currency: str,
) -> str:
    n = sum(len(line.keys) for line in lines)
    parts = [
        f"{currency}{format_number(spent, 0)} of {currency}{format_number(budget, 0)} "
        f"replaces {n} sensor{'' if n == 1 else 's'} and saves "
        f"{format_number(saved, 1)} of the {format_number(lost, 1)} lane-months of "
        "accepted data that the coming year would lose."
    ]
    if missed:
        short = missed[0].cost - (budget - spent)
        parts.append(
            f"{', '.join(missed[0].keys)} at {missed[0].site} just misses: "
            f"{currency}{format_number(short, 0)} more would save another "
            f"{format_number(missed[0].lane_months_saved, 1)}."
        )
    if best is not None and best - saved > max(0.05, 0.005 * best):
        parts.append(
            f"Another choice of sensors within the budget would save "
            f"{format_number(best, 1)}; the order by worth leaves that on the table."
        )
    return " ".join(parts)


def best_possible(
    candidates: Sequence[Candidate],
    accepted_share: Mapping[str, float],
    mobilisation: Mapping[str, float],
    budget: float,
    *,
    lane_setup: Mapping[str, float] | None = None,
) -> float | None:
    """Most lane-months that any choice within the budget saves; None if too large.

    Exact: ways to spend are joined site by site, and a way that costs no less and saves
    no more than another is dropped (dynamic programming over the Pareto front).
    """
    case = _Case(candidates, accepted_share, mobilisation, lane_setup)
    return _best_possible(case, budget)


def _best_possible(case: _Case, budget: float) -> float | None:
    ways = _NOTHING
    for site, lanes in case.sites.items():
        inside = _NOTHING
        for lane in lanes:
            if len(case.lanes[lane]) > MOST_COMBINED:
                return None
            options = [(own, s) for _, s, own in case.bundles(lane, frozenset())]
            inside = _front(_sums(inside, [(0.0, 0.0), *options]), budget)
            if len(inside) > _MOST_WAYS // 50:
                return None
        gains = inside[inside[:, 1] > 0] + (case.mobilisation[site], 0.0)
        if len(ways) * (len(gains) + 1) > _MOST_SUMS:
            return None
        ways = _front(_sums(ways, np.concatenate([_NOTHING, gains])), budget)
        if len(ways) > _MOST_WAYS:
            return None
    return float(ways[:, 1].max())


def _sums(first: Array, second: ArrayLike) -> Array:
    """Every way of the first with every one of the second: (cost, saved), shape (n, 2).

    Costs and savings add up, as lanes and sites do not touch each other.
    """
    other = np.asarray(second, dtype=float)
    return np.asarray((first[:, None, :] + other[None, :, :]).reshape(-1, 2))


def _front(ways: Array, budget: float) -> Array:
    """Ways within the budget that save more than all that cost no more."""
    able = ways[ways[:, 0] <= budget + _TINY]
    able = able[np.lexsort((-able[:, 1], able[:, 0]))]
    most = np.maximum.accumulate(able[:, 1])
    before = np.concatenate([[-math.inf], most[:-1]])
    return np.asarray(able[able[:, 1] > before + _TINY])


def _check(
    candidates: Sequence[Candidate],
    accepted_share: Mapping[str, float],
    mobilisation: Mapping[str, float],
) -> None:
    seen: set[str] = set()
    sites: dict[str, str] = {}
    for one in candidates:
        if one.key in seen:
            raise DomainError(f"Sensor {one.key} stands in the list twice.")
        seen.add(one.key)
        if sites.setdefault(one.lane, one.site) != one.site:
            raise DomainError(f"Lane {one.lane} stands under two sites.")
        if not 0.0 < accepted_share.get(one.lane, math.nan) <= 1.0:
            raise DomainError(
                f"Lane {one.lane} has no accepted share above 0 and not above 1."
            )
        if not 0.0 <= mobilisation.get(one.site, math.nan) < math.inf:
            raise DomainError(f"Site {one.site} has no cost of a trip of zero or more.")
