"""Policies of replacement: the one in force, what-if, and all compared."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from installs.calc.types import Technology, WeibullFit, years_between
from installs.calc.upkeep.fleet import Policy, Position
from installs.calc.upkeep.types import PolicyKind
from installs.models import Installation, PavementWork, RenewalSettings

if TYPE_CHECKING:
    from installs.calc.upkeep.futures import Futures
    from installs.calc.upkeep.policies import PolicyOutcome
    from installs.calc.upkeep.replacement_age import ReplacementAge
    from installs.selectors.lives import LifeRow
    from installs.selectors.renewal import Renewal
    from installs.selectors.renewal_money import Money

#: Simulated positions that a page plays through, over all futures.
MOST_PLAYED = 400_000
FEWEST_DRAWS, MOST_DRAWS = 200, 1000
SEED = 20_114
#: A hazard so high that a sensor which is down already fails at once when played.
DOWN_ALREADY = 1e12
#: Life curves drawn for the best age.
_AGE_DRAWS = 400
_AGE_POINTS = 60
DEFAULT_AGE_YEARS = 6.0
#: A best age that saves a smaller share of the cost is no reason to act; ours.
LEAST_SAVING = 0.01


@dataclass(frozen=True)
class WhatIf:
    """What is asked of the forecast; None leaves the settings' own."""

    years: int = 5
    growth_pct: float | None = None
    policy: PolicyKind | None = None
    age_years: float | None = None
    chance: float | None = None
    wait_years: float | None = None
    budget: float | None = None
    lane_month_worth: float = 0.0

    @property
    def key(self) -> str:
        """The same question, the same key."""
        return repr(self)


@dataclass(frozen=True)
class Spot:
    """A position with its sensor, or with one that failed and was not replaced."""

    row: LifeRow
    installation: Installation
    is_down: bool = False

    @property
    def key(self) -> str:
        """What people call it."""
        return f"{self.installation.lane} {self.installation.position}"


@dataclass(frozen=True)
class BestAge:
    """The age at which replacing a working sensor of a technology costs least."""

    technology: str
    failure_cost: float
    planned_cost: float
    best: ReplacementAge
    ages_years: tuple[float, ...]
    cost_per_year: tuple[float, ...]
    median_years: float

    @property
    def is_worth_it(self) -> bool:
        """Whether the age saves enough to act on."""
        return not self.best.never and self.best.saving_frac >= LEAST_SAVING


@dataclass(frozen=True)
class PolicyPage:
    """Policies on the same futures, and the best ages."""

    outcomes: tuple[PolicyOutcome, ...]
    ages: tuple[BestAge, ...]
    n_draws: int
    years: int
    unpriced: tuple[Technology, ...]
    n_works: int
    assumed: tuple[str, ...] = field(default=())


def policy_of(
    settings: RenewalSettings, asked: WhatIf, *, kind: PolicyKind | None = None
) -> Policy:
    """The policy that is asked for, with the settings filling what is not."""
    kind = kind or asked.policy or PolicyKind(settings.policy)
    wait = settings.wait_for_works_years
    if asked.wait_years is not None:
        wait = asked.wait_years
    if kind is PolicyKind.AT_AGE:
        age = asked.age_years or settings.policy_age_years or DEFAULT_AGE_YEARS
        return Policy(kind, age_years=age)
    if kind is PolicyKind.AT_CONDITION:
        chance = asked.chance or settings.policy_chance
        return Policy(kind, chance_within_year=min(max(chance, 0.01), 0.99))
    if kind is PolicyKind.WITH_PAVEMENT:
        return Policy(kind, wait_for_works_years=wait or 1.0)
    return Policy(kind)


def spots_of(
    rows: Sequence[LifeRow], installations: Mapping[int, Installation]
) -> list[Spot]:
    """Sensors in the road, and positions whose last sensor failed and left a gap."""
    last: dict[tuple[int, str], LifeRow] = {}
    for row in rows:
        place = (row.lane_id, row.position)
        before = last.get(place)
        if before is None or before.ended_on is not None:
            last[place] = row
    live = {row.pk for row in rows if row.ended_on is None}
    return [
        Spot(row, installations[row.pk], is_down=row.pk not in live)
        for row in rows
        if row.pk in live
        or (row.failed and last[row.lane_id, row.position].pk == row.pk)
        if row.pk in installations
    ]


def works_ahead(today: dt.date) -> dict[str, tuple[float, ...]]:
    """Pavement works to come, in years from today, by site or by lane; one query."""
    found: dict[str, list[float]] = defaultdict(list)
    for work in PavementWork.objects.filter(planned_on__gt=today).select_related(
        "wim_site", "lane__wim_site"
    ):
        place = work.wim_site.code if work.lane is None else str(work.lane)
        found[place].append(years_between(today, work.planned_on))
    return {place: tuple(sorted(years)) for place, years in found.items()}


def futures_of(
    spots: Sequence[Spot],
    fits: Mapping[str, WeibullFit],
    ratios: Mapping[int, float],
    money: Money,
    *,
    today: dt.date,
    horizon_years: float,
) -> Futures:
    """The fleet's futures: the same for every policy, and for every reading."""
    import numpy as np

    from installs.calc.survival import parameter_draws
    from installs.calc.upkeep.futures import Futures

    n_draws = min(max(MOST_PLAYED // max(len(spots), 1), FEWEST_DRAWS), MOST_DRAWS)
    rng = np.random.default_rng(SEED)
    draws = {
        word: parameter_draws(fits[word], n_draws, rng)
        for word in sorted({spot.row.technology for spot in spots})
    }
    return Futures(
        [
            Position(
                key=spot.key,
                site=spot.installation.lane.wim_site.code,
                lane=str(spot.installation.lane),
                technology=Technology(spot.row.technology),
                age_years=0.0 if spot.is_down else spot.row.age_years,
                hazard_multiplier=DOWN_ALREADY
                if spot.is_down
                else ratios.get(spot.row.pk, 1.0),
                carries_data=spot.row.technology != Technology.TEMPERATURE_PROBE,
            )
            for spot in spots
        ],
        draws,
        horizon_years=horizon_years,
        rng=rng,
        works_years=works_ahead(today),
        times=money.times,
    )


def lane_shares(spots: Sequence[Spot], money: Money) -> dict[str, float]:
    """Accepted share of each lane, by the technology that weighs there."""
    words: dict[str, list[Technology]] = defaultdict(list)
    for spot in spots:
        words[str(spot.installation.lane)].append(Technology(spot.row.technology))
    return {
        lane: min(
            [money.shares[one].value for one in found if one.weighs]
            or [money.shares[one].value for one in found]
        )
        for lane, found in words.items()
    }


def assumed_words(spots: Sequence[Spot], money: Money) -> tuple[str, ...]:
    """What the money rests on that the agency has not entered, in sentences."""
    from installs.selectors.renewal_money import ASSUMED

    said = []
    if money.settings_source == ASSUMED:
        said.append(
            "The trip, the closed lane, the months down and the policy are assumed "
            "until the agency enters its own."
        )
    used = sorted({Technology(spot.row.technology) for spot in spots})
    if any(money.shares[one].source == ASSUMED for one in used if one.weighs):
        share = next(iter(money.shares.values()))
        assumed = [one for one in used if money.shares[one].source == ASSUMED]
        share = money.shares[assumed[0]]
        said.append(
            f"{100 * share.value:g} % of a working lane’s records are taken as "
            "accepted, no source, where the agency has entered no share of its own."
        )
    unpriced = money.unpriced(used)
    if unpriced:
        said.append(
            "The cost is too low: no replacement cost is entered for "
            f"{', '.join(unpriced)}."
        )
    return tuple(said)


def policies_compared(
    found: Renewal, asked: WhatIf, *, currency: str
) -> PolicyPage | None:
    """Four policies through the same futures; None when nothing is in the road."""
    from installs.calc.upkeep.policies import compare_policies

    if not found.spots:
        return None
    money = found.money
    futures = futures_of(
        found.spots,
        found.fits,
        found.ratios,
        money,
        today=found.as_of,
        horizon_years=float(max(asked.years, 2)),
    )
    used = sorted({Technology(spot.row.technology) for spot in found.spots})
    ages = best_ages(found, asked, currency=currency)
    policies = [
        policy_of(money.settings, _with_best_age(asked, money, ages, found), kind=kind)
        for kind in PolicyKind
    ]
    return PolicyPage(
        outcomes=compare_policies(
            futures,
            policies,
            money.sensor_prices(used),
            money.shared,
            lane_shares(found.spots, money),
            currency=currency,
        ),
        ages=ages,
        n_draws=futures.n_draws,
        years=max(asked.years, 2),
        unpriced=money.unpriced(used),
        n_works=sum(len(years) for years in works_ahead(found.as_of).values()),
        assumed=assumed_words(found.spots, money),
    )


def _with_best_age(
    asked: WhatIf, money: Money, ages: Sequence[BestAge], found: Renewal
) -> WhatIf:
    """The age asked for, the settings', or the best of the most common technology."""
    if asked.age_years or money.settings.policy_age_years:
        return asked
    counts = Counter(spot.row.technology for spot in found.spots)
    by_word = {one.technology: one for one in ages}
    for word, _ in counts.most_common():
        one = by_word.get(word)
        if one is not None and one.is_worth_it:
            return _replaced(asked, age_years=round(one.best.age_years, 1))
    word = counts.most_common(1)[0][0]
    median = found.fits[word].median_years
    return _replaced(asked, age_years=round(max(median, 1.0), 1))


def _replaced(asked: WhatIf, **changes: Any) -> WhatIf:
    from dataclasses import replace

    return replace(asked, **changes)


def best_ages(found: Renewal, asked: WhatIf, *, currency: str) -> tuple[BestAge, ...]:
    """By age-replacement theory, for each technology in the road that has a price.

    A failure pays a trip and a closure of its own; planned work shares both among the
    sensors of its technology in the lane.
    """
    import numpy as np

    from installs.calc.survival import parameter_draws
    from installs.calc.upkeep.replacement_age import (
        ReplacementCosts,
        best_age_of_draws,
        cost_rate,
    )

    money, shared = found.money, found.money.settings
    ages = []
    for word in sorted({spot.row.technology for spot in found.spots}):
        amount = money.prices[Technology(word)].amount
        own = [spot for spot in found.spots if spot.row.technology == word]
        if amount is None:
            continue
        in_lane = len(own) / len({spot.row.lane_id for spot in own})
        trip = float(shared.mobilisation) + money.closure_setup
        each = amount + money.closure_each
        worth = asked.lane_month_worth
        failure = (
            each + trip + float(shared.urgent_extra) + worth * shared.months_to_replace
        )
        planned = each + trip / in_lane + worth * shared.months_planned
        if planned <= 0 or failure <= 0:
            continue
        costs = ReplacementCosts(failure=failure, planned=planned)
        fit = found.fits[word]
        rng = np.random.default_rng(SEED)
        shapes, scales = parameter_draws(fit, _AGE_DRAWS, rng)
        best = best_age_of_draws(shapes, scales, costs, currency=currency)
        last = fit.scale_years * 2.0
        if math.isfinite(best.age_years):
            last = max(last, 1.3 * best.age_years)
        grid = np.linspace(last / _AGE_POINTS, last, _AGE_POINTS)
        rates = cost_rate(shapes[:, None], scales[:, None], grid, costs).mean(axis=0)
        ages.append(
            BestAge(
                technology=word,
                failure_cost=failure,
                planned_cost=planned,
                best=best,
                ages_years=tuple(float(age) for age in grid),
                cost_per_year=tuple(float(rate) for rate in rates),
                median_years=fit.median_years,
            )
        )
    return tuple(ages)
