"""Which technology for a new or renewed lane, from use, location, lives and costs.

The use of the data sets the class wanted; the survey says whether the location carries
it; each technology's cost per year and per lane-month of accepted data comes from lives
and costs, the agency's own first. Nothing is ranked by name: a published study found a
cheap technology more accurate than a dear one at one site, and the price gap not
matched by gain (a thesis of 2002; confirmed to exist).

A lane whose sensors are renewed together when the first of n alike fails has renewals
n ** (1 / shape) times as often as one sensor (the least of n Weibull lives is Weibull).
The cost per year is, by renewal reward, renewal / (mean life + time down) + equipment /
its life + upkeep.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gamma

from installs.calc.likelihood import Array
from installs.calc.types import Technology
from installs.calc.upkeep.futures import estimate
from installs.calc.upkeep.technology_types import (
    CLASS_WANTED,
    PUBLISHED_COSTS,
    PUBLISHED_GVW_PCT,
    PUBLISHED_GVW_SOURCE,
    ClassWanted,
    Money,
    TechnologyChoice,
    TechnologyCosts,
    TechnologyLine,
    TechnologyOption,
)
from installs.calc.upkeep.types import DataUse
from wimprog.lib.errors import DomainError
from wimprog.lib.units import format_number

MONTHS_PER_YEAR = 12.0
#: Accepted share taken where an agency has none; ours, and told with the number.
ASSUMED_ACCEPTED_SHARE = 0.8
UNSURVEYED = "The location has not been surveyed: whether it can, is not known."
_PARTS = ("renewal", "upkeep_per_year", "whole_per_year", "equipment")


@dataclass(frozen=True)
class PresentMoney:
    """The program's money today, and how published prices are carried to it.

    Attributes
    ----------
    currency
        Code, such as "USD". Amounts in another currency are not converted.
    year
        Of today's prices.
    growth_per_year
        By which older prices are raised, 0.03 for 3 %.
    sign
        For sentences.
    """

    currency: str
    year: int
    growth_per_year: float = 0.03
    sign: str = "$"

    def factor(self, money: Money) -> float | None:
        """What carries an amount to today; None from another currency."""
        if money.currency != self.currency:
            return None
        return float((1.0 + self.growth_per_year) ** (self.year - money.price_year))


@dataclass(frozen=True)
class _Costed:
    life: Array
    yearly: Array
    per_month: Array


def choose_technology(
    use: DataUse,
    options: Sequence[TechnologyOption],
    life_draws: Mapping[Technology, tuple[Array, Array]],
    money: PresentMoney,
    *,
    rng: np.random.Generator,
    location_carries: Collection[str] | None = None,
    location_unknown: str = UNSURVEYED,
    wanted: ClassWanted | None = None,
    level: float = 0.90,
) -> TechnologyChoice:
    """A table of technologies, the ranked first, with what each rests on.

    Parameters
    ----------
    use
        Of the data.
    options
        Technologies to compare, with the agency's own costs where it has them.
    life_draws
        Shapes and scales [years] by technology, each of shape (n_draws,), the same
        number for all, as from :func:`installs.calc.survival.parameter_draws`.
    money
        The program's money today.
    rng
        Seeded generator, for costs that are not exactly known. Costs from one source
        err together: they share their draw.
    location_carries
        Types of ASTM E1318 that the survey says the location can carry; None: no
        survey, or it cannot say.
    location_unknown
        Said when ``location_carries`` is None.
    wanted
        The agency's own class for the use, in place of :data:`CLASS_WANTED`.
    level
        Level of the intervals.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Without an option, or when draws differ in number.
    """
    if not options:
        raise DomainError("Give at least one technology to compare.")
    sizes = {len(one) for pair in life_draws.values() for one in pair}
    if len(sizes) != 1:
        raise DomainError("Each technology needs the same number of life draws.")
    aim = wanted or CLASS_WANTED[use]
    costing = _Costing(life_draws, money, sizes.pop(), rng)
    costed: dict[int, _Costed] = {}
    problems = {}
    for i, option in enumerate(options):
        result = costing.of(option)
        if isinstance(result, str):
            problems[i] = result
        else:
            costed[i] = result
    reach = [_reaches(option, aim) for option in options]
    ranked = sorted(
        (i for i in costed if reach[i]), key=lambda i: costed[i].per_month.mean()
    )
    shares = _cheapest_shares([costed[i].per_month for i in ranked])
    rest = sorted(
        (i for i in range(len(options)) if i not in ranked),
        key=lambda i: (
            costed[i].per_month.mean() if i in costed else math.inf,
            options[i].technology,
        ),
    )
    lines = []
    for place, i in enumerate([*ranked, *rest]):
        own = costed.get(i)
        is_ranked = place < len(ranked)
        lines.append(
            TechnologyLine(
                technology=options[i].technology,
                rank=place + 1 if is_ranked else None,
                reaches_class=reach[i],
                life_years=estimate(own.life, level) if own else None,
                cost_per_year=estimate(own.yearly, level) if own else None,
                cost_per_lane_month=estimate(own.per_month, level) if own else None,
                cheapest_share=shares[place] if is_ranked else None,
                origins=_origins(options[i]),
                sentence=_line_sentence(
                    options[i], aim, reach[i], own or problems[i], level, money.sign
                ),
            )
        )
    carries = None if location_carries is None else aim.e1318_type in location_carries
    return TechnologyChoice(
        use,
        aim,
        carries,
        tuple(lines),
        _sentence(use, aim, carries, lines, location_unknown),
    )


def _cheapest_shares(per_month: Sequence[Array]) -> list[float]:
    if not per_month:
        return []
    best = np.argmin(per_month, axis=0)
    counts = np.bincount(best, minlength=len(per_month))
    return [float(count) / best.size for count in counts]


def filled_costs(option: TechnologyOption) -> TechnologyCosts:
    """The agency's costs, gaps filled by published ones."""
    published = PUBLISHED_COSTS.get(option.technology, TechnologyCosts())
    costs = option.costs
    for name in _PARTS:
        if getattr(costs, name) is None:
            costs = replace(costs, **{name: getattr(published, name)})
    if costs.renewal and costs.upkeep_per_year:
        costs = replace(costs, whole_per_year=None)
    return costs


def _origins(option: TechnologyOption) -> tuple[str, ...]:
    costs = filled_costs(option)
    said = [
        f"{part.replace('_', ' ')}: {given.text}"
        for part in _PARTS
        if (given := getattr(costs, part)) is not None
    ]
    if option.life_basis:
        said.append(f"life: {option.life_basis}")
    if option.gvw_pct is not None:
        said.append(f"accuracy: agency's own, n = {option.gvw_n}")
    elif option.technology in PUBLISHED_GVW_PCT:
        said.append(f"accuracy: {PUBLISHED_GVW_SOURCE}")
    if option.accepted_share is None:
        said.append(
            f"accepted share: {100 * ASSUMED_ACCEPTED_SHARE:g} % assumed, no source"
        )
    else:
        said.append(f"accepted share: {100 * option.accepted_share:g} %, agency's own")
    said.append(f"down at each renewal: {option.months_down_per_renewal:g} months")
    return tuple(said)


class _OtherMoney(Exception):
    """A cost in a currency that is not the program's."""


class _Costing:
    """Lives and costs of technologies in the same draws."""

    def __init__(
        self,
        life_draws: Mapping[Technology, tuple[Array, Array]],
        money: PresentMoney,
        n_draws: int,
        rng: np.random.Generator,
    ) -> None:
        self._lives = life_draws
        self._money = money
        self._n_draws = n_draws
        self._rng = rng
        self._luck: dict[str, Array] = {}

    def of(self, option: TechnologyOption) -> _Costed | str:
        """Draws of a technology's costs, or why there are none."""
        if option.technology not in self._lives:
            return "it has no life curve"
        costs = filled_costs(option)
        shapes, scales = (np.asarray(one) for one in self._lives[option.technology])
        alike = option.sensors_per_lane ** (-1.0 / shapes)
        life = scales * alike * gamma(1.0 + 1.0 / shapes)
        cycle = life + option.months_down_per_renewal / MONTHS_PER_YEAR
        try:
            if costs.renewal and costs.upkeep_per_year:
                yearly = self._drawn(costs.renewal) / cycle
                yearly = yearly + self._drawn(costs.upkeep_per_year)
                if costs.equipment:
                    equipment = self._drawn(costs.equipment)
                    yearly = yearly + equipment / costs.equipment_life_years
            elif costs.whole_per_year:
                yearly = self._drawn(costs.whole_per_year)
            else:
                missing = "upkeep" if costs.renewal else "renewal"
                return f"its cost of {missing} is not known"
        except _OtherMoney as other:
            return (
                f"a cost is known only in other money ({other}); give it in "
                f"{self._money.currency}"
            )
        share = option.accepted_share or ASSUMED_ACCEPTED_SHARE
        return _Costed(life, yearly, yearly / (MONTHS_PER_YEAR * share * life / cycle))

    def _drawn(self, given: Money) -> Array:
        # One source, one error: otherwise two figures of one table would be told
        # apart by noise that both share.
        source = given.source.split(",")[0]
        if source not in self._luck:
            self._luck[source] = self._rng.standard_normal(self._n_draws)
        factor = self._money.factor(given)
        if factor is None:
            raise _OtherMoney(given.text)
        error = math.log(given.spread_factor) * self._luck[source]
        return np.asarray(given.amount * factor * np.exp(error))


def _reaches(option: TechnologyOption, aim: ClassWanted) -> bool | None:
    reached = option.gvw_pct
    if reached is None:
        reached = PUBLISHED_GVW_PCT.get(option.technology)
    return None if reached is None else reached <= aim.gvw_pct


def _line_sentence(
    option: TechnologyOption,
    aim: ClassWanted,
    reaches: bool | None,
    costed: _Costed | str,
    level: float,
    sign: str,
) -> str:
    name = str(option.technology).capitalize()
    if reaches is None:
        verdict = f"whether it reaches {aim.e1318_type} is not known"
    elif reaches:
        verdict = f"reaches {aim.e1318_type} (±{aim.gvw_pct:g} % of gross weight)"
    else:
        verdict = f"does not reach {aim.e1318_type} (±{aim.gvw_pct:g} %)"
    if isinstance(costed, str):
        return f"{name}: {verdict}; it cannot be costed, as {costed}."
    spans = []
    for drawn in (costed.yearly, costed.per_month):
        one = estimate(drawn, level)
        low, high = one.interval.low, one.interval.high
        spans.append(
            f"{sign}{format_number(one.mean, 0)} "
            f"({format_number(low, 0)} to {format_number(high, 0)})"
        )
    return (
        f"{name}: {verdict}; {spans[0]} a year and {spans[1]} for a lane-month of "
        f"accepted data ({format_number(100 * level, 0)} % intervals)."
    )


def _sentence(
    use: DataUse,
    aim: ClassWanted,
    carries: bool | None,
    lines: Sequence[TechnologyLine],
    unknown: str,
) -> str:
    said = [
        f"For {use}, {aim.e1318_type} (±{aim.gvw_pct:g} % of gross weight) is wanted "
        f"({aim.source}; {aim.standing})."
    ]
    if carries is None:
        said.append(unknown)
    elif not carries:
        said.append(
            "The survey says that the location cannot carry it: no technology mends "
            "that; look for another location or mend the pavement first."
        )
    ranked = [line for line in lines if line.rank]
    if not ranked:
        said.append("No technology that reaches it can be costed.")
    elif len(ranked) == 1:
        said.append(f"Only {ranked[0].technology} reaches it and can be costed.")
    else:
        share = ranked[0].cheapest_share or 0.0
        doubt = (
            f", so {ranked[1].technology} cannot be ruled out" if share < 0.9 else ""
        )
        said.append(
            f"On average {ranked[0].technology} costs least for a lane-month of "
            f"accepted data; it does so in {format_number(100 * share, 0)} % of the "
            f"likely lives and costs{doubt}."
        )
    return " ".join(said)
