"""How far a choice of technology can be trusted, and what would turn it.

Two technologies are told apart only where their intervals of cost do not meet. Each
input is then moved alone, the same draws kept, to see whether another comes first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from installs.calc.likelihood import Array
from installs.calc.types import Technology
from installs.calc.upkeep.technology_choice import ASSUMED_ACCEPTED_SHARE, filled_costs
from installs.calc.upkeep.technology_types import (
    Money,
    TechnologyChoice,
    TechnologyLine,
    TechnologyOption,
)

Draws = Mapping[Technology, tuple[Array, Array]]
Chooser = Callable[[Sequence[TechnologyOption], Draws], TechnologyChoice]
#: How far one input is moved either way; ours.
LIFE_STEP = PRICE_STEP = 0.25
SHARE_STEP = 0.10


@dataclass(frozen=True)
class Turn:
    """One input of one technology moved alone, and what then comes first.

    Attributes
    ----------
    technology
        Whose input is moved.
    what
        The move in words ("life 25 % shorter").
    first
        What costs least on average for a lane-month then; None when nothing ranks.
    is_turned
        Whether that is another than before.
    """

    technology: Technology
    what: str
    first: Technology | None
    is_turned: bool


def standing_of(
    line: TechnologyLine,
    first: TechnologyLine | None,
    tolerances_pct: Mapping[Technology, float],
) -> str:
    """Where a line stands against the cheapest that reaches the class, in a sentence.

    Intervals that do not meet tell two apart; intervals that meet do not. Dominated is
    what is dearer and weighs no better, by the tolerances of gross weight [%].
    """
    mine = line.cost_per_lane_month
    if first is None or first.cost_per_lane_month is None or mine is None:
        return "not compared"
    if line.technology == first.technology:
        return "lowest on average"
    best = first.cost_per_lane_month
    apart = mine.interval.low > best.interval.high
    if line.rank is None:
        known = line.reaches_class is not None
        return "not ranked: " + (
            "it does not reach the class"
            if known
            else "whether it reaches the class is not known"
        )
    finer = tolerances_pct.get(line.technology, 0.0) < tolerances_pct.get(
        first.technology, 0.0
    )
    if apart and finer:
        return f"dearer than {first.technology}, for a finer tolerance"
    if apart:
        return f"dominated: dearer than {first.technology}, the intervals do not meet"
    return f"cannot be told apart from {first.technology}: the intervals overlap"


def turns(
    options: Sequence[TechnologyOption], draws: Draws, choose: Chooser
) -> tuple[Turn, ...]:
    """Life, prices and accepted share of each ranked technology, moved one at a time.

    Parameters
    ----------
    options, draws
        As the choice was made from.
    choose
        Makes the choice again; must use the same luck each time.
    """
    before = choose(options, draws)
    first = _first(before)
    ranked = [line.technology for line in before.lines if line.rank]
    found = []
    for option in (one for one in options if one.technology in ranked):
        for what, moved, drawn in _moves(option, draws):
            changed = [
                moved if one.technology == option.technology else one for one in options
            ]
            now = _first(choose(changed, drawn))
            found.append(Turn(option.technology, what, now, now != first))
    return tuple(found)


def _first(choice: TechnologyChoice) -> Technology | None:
    return next((line.technology for line in choice.lines if line.rank == 1), None)


def _moves(
    option: TechnologyOption, draws: Draws
) -> list[tuple[str, TechnologyOption, Draws]]:
    shapes, scales = draws[option.technology]
    found: list[tuple[str, TechnologyOption, Draws]] = []
    for sign, life, price, share in (
        (-1, "shorter", "lower", "fewer"),
        (1, "longer", "higher", "more"),
    ):
        longer = {**draws, option.technology: (shapes, scales * (1 + sign * LIFE_STEP))}
        found.append((f"life {100 * LIFE_STEP:g} % {life}", option, longer))
        dearer = _priced(option, 1 + sign * PRICE_STEP)
        found.append((f"all its costs {100 * PRICE_STEP:g} % {price}", dearer, draws))
        held = option.accepted_share or ASSUMED_ACCEPTED_SHARE
        moved = min(max(held + sign * SHARE_STEP, 0.01), 1.0)
        found.append(
            (
                f"{share} accepted: {100 * moved:.0f} % in place of {100 * held:.0f} %",
                replace(option, accepted_share=moved),
                draws,
            )
        )
    return found


def _priced(option: TechnologyOption, factor: float) -> TechnologyOption:
    costs = filled_costs(option)

    def times(given: Money | None) -> Money | None:
        return replace(given, amount=given.amount * factor) if given else None

    return replace(
        option,
        costs=replace(
            costs,
            renewal=times(costs.renewal),
            upkeep_per_year=times(costs.upkeep_per_year),
            whole_per_year=times(costs.whole_per_year),
            equipment=times(costs.equipment),
        ),
    )
