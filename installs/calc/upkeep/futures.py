"""Futures of a fleet, played through under a policy with the same luck for each.

Every position of every simulated fleet has a row of sensors to come. The k-th of them
has a hazard budget of its own (a standard exponential number): it fails when its
cumulative hazard has used it up. The budgets do not depend on the policy, so that two
policies differ by what they do and not by chance (common random numbers).

The life of a sensor with hazard multiplier m is Weibull with cumulative hazard
m (age / scale) ** shape; each simulated fleet has parameters of its own.

References
----------
Law and Kelton, Simulation Modeling and Analysis, McGraw-Hill, chapter 11 (common random
numbers; from memory).
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import years_between
from installs.calc.upkeep.fleet import Policy, Position, Times
from installs.calc.upkeep.types import Estimate, PolicyKind
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

#: Simulated positions held in memory at one time.
_CHUNK = 400_000
#: Never two replacements of a position within this time [years]; ends any loop.
_LEAST_SERVICE_YEARS = 1.0 / 52.0
Ints = np.ndarray


class Replaced(IntEnum):
    """What a replacement is paid as."""

    FAILED = 0
    PLANNED = 1
    WITH_WORKS = 2


@dataclass(frozen=True)
class Events:
    """Ends of sensors in simulated futures, one entry each.

    Attributes
    ----------
    draw, position
        Which future, which position (index into the fleet's).
    failed
        Whether it failed; otherwise it was taken out working.
    why
        What the replacement is paid as, values of :class:`Replaced`: a failed sensor
        that waits for works is renewed with them.
    end_years
        When the old sensor stopped working, from now, within the horizon.
    renewed_years
        When the new one begins to work; may lie beyond the horizon.
    """

    draw: Ints
    position: Ints
    failed: Ints
    why: Ints
    end_years: Array
    renewed_years: Array


class Futures:
    """Simulated futures of one fleet, the same for every policy.

    Parameters
    ----------
    positions
        The fleet.
    life_draws
        Shapes and scales [years] by life group, each array of shape (n_draws,), as from
        :func:`installs.calc.survival.parameter_draws`.
    horizon_years
        How far to play.
    rng
        Seeded generator, drawn from once.
    works_years
        Pavement works by site or by lane, years from now. They end every sensor there,
        whatever the policy.
    new_log_multiplier_sd
        Spread of the log hazard multiplier of sensors to come (0: all typical).
    times
        How long things take.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a group has no draws, draws differ in number, or the horizon cannot be.
    """

    def __init__(
        self,
        positions: Sequence[Position],
        life_draws: Mapping[str, tuple[Array, Array]],
        *,
        horizon_years: float,
        rng: np.random.Generator,
        works_years: Mapping[str, Sequence[float]] | None = None,
        new_log_multiplier_sd: float = 0.0,
        times: Times | None = None,
    ) -> None:
        if not positions:
            raise DomainError("There are no sensors in service to look ahead for.")
        if not (math.isfinite(horizon_years) and horizon_years > 0):
            raise DomainError("The horizon must be a number of years above zero.")
        missing = sorted({p.group for p in positions} - set(life_draws))
        if missing:
            raise DomainError(f"There is no life curve for {', '.join(missing)}.")
        sizes = {len(one) for pair in life_draws.values() for one in pair}
        if len(sizes) != 1:
            raise DomainError("Each life group needs the same number of draws.")
        self.positions = tuple(positions)
        self.n_draws = sizes.pop()
        self.horizon_years = horizon_years
        self.times = times or Times()
        self._seed = int(rng.integers(2**63))
        self._spread = new_log_multiplier_sd
        groups = sorted({p.group for p in positions})
        self._group = np.array([groups.index(p.group) for p in positions])
        self._shapes = np.array([life_draws[g][0] for g in groups], dtype=float)
        self._scales = np.array([life_draws[g][1] for g in groups], dtype=float)
        self._ages = np.array([p.age_years for p in positions])
        self._first = np.array([p.hazard_multiplier for p in positions])
        self._works = _works_table(positions, works_years or {})

    def play(self, policy: Policy) -> Events:
        """What ends when, and is renewed when, under a policy."""
        at_once = max(1, _CHUNK // len(self.positions))
        parts = [
            part
            for begin in range(0, self.n_draws, at_once)
            for part in self._block(policy, begin, min(begin + at_once, self.n_draws))
        ]
        joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
        # Parts come in the order of time, so a stable sort by place keeps it.
        place = joined[0].astype(np.int64) * len(self.positions) + joined[1]
        order = np.argsort(place, kind="stable")
        return Events(*(column[order] for column in joined))

    def _block(
        self, policy: Policy, begin: int, end: int
    ) -> list[tuple[np.ndarray, ...]]:
        n = len(self.positions)
        size = n * (end - begin)
        draws = np.repeat(np.arange(begin, end), n)
        places = np.tile(np.arange(n), end - begin)
        slot = np.arange(size)
        started = -self._ages[places]
        found = []
        for k in itertools.count():
            luck = np.random.default_rng([self._seed, begin, k])
            budget = luck.standard_exponential(size)[slot]
            draw, place = draws[slot], places[slot]
            shape = self._shapes[self._group[place], draw]
            scale = self._scales[self._group[place], draw]
            multiplier = self._first[place]
            if k and self._spread:
                multiplier = np.exp(self._spread * luck.standard_normal(size)[slot])
            elif k:
                multiplier = np.ones(slot.size)
            used = multiplier * (np.maximum(-started, 0.0) / scale) ** shape
            fails = started + scale * ((used + budget) / multiplier) ** (1.0 / shape)
            planned = self._planned(policy, started, multiplier, shape, scale)
            works = self._next_works(place, np.maximum(started, 0.0))
            failed, why, ends, renewed = self._end(policy, fails, planned, works)
            seen = ends < self.horizon_years
            columns = (draw, place, failed, why, ends, renewed)
            found.append(tuple(column[seen] for column in columns))
            goes_on = renewed < self.horizon_years
            slot, started = slot[goes_on], renewed[goes_on]
            if not slot.size:
                break
        return found

    def _planned(
        self,
        policy: Policy,
        started: Array,
        multiplier: Array,
        shape: Array,
        scale: Array,
    ) -> Array:
        """When each sensor would be replaced while it works; infinite for never."""
        if policy.kind is PolicyKind.AT_AGE:
            least = max(policy.age_years, _LEAST_SERVICE_YEARS)
            return np.maximum(started + least, 0.0)
        if policy.kind is PolicyKind.AT_CONDITION:
            age = age_of_chance(policy.chance_within_year, multiplier, shape, scale)
            due = np.maximum(started + np.maximum(age, _LEAST_SERVICE_YEARS), 0.0)
            every = self.times.inspection_years
            return np.asarray(np.ceil(due / every - 1e-9) * every)
        return np.full(started.shape, math.inf)

    def _next_works(self, place: Ints, after: Array) -> Array:
        table = self._works[place]
        later = np.where(table > after[:, None], table, math.inf)
        return np.asarray(later.min(axis=1, initial=math.inf))

    def _end(
        self, policy: Policy, fails: Array, planned: Array, works: Array
    ) -> tuple[Ints, Ints, Array, Array]:
        """Whether it failed, as what its replacement is paid, its end, the renewal."""
        wait, times = policy.wait_for_works_years, self.times
        planned = np.where(planned >= works - wait, math.inf, planned)
        ends = np.minimum(np.minimum(fails, planned), works)
        failed = fails <= np.minimum(planned, works)
        # A failure waits for the works, or they come before the repair would.
        held = failed & (fails >= works - max(wait, times.repair_years))
        with_works = held | (~failed & (works <= planned))
        why = np.where(
            with_works,
            Replaced.WITH_WORKS,
            np.where(failed, Replaced.FAILED, Replaced.PLANNED),
        )
        down = np.where(failed, times.repair_years, times.planned_down_years)
        renewed = np.where(with_works, works + times.works_down_years, ends + down)
        return failed, why, ends, renewed


def age_of_chance(
    chance_within_year: float, multiplier: Array, shape: Array, scale_years: Array
) -> Array:
    """Age from which the chance of failing within a year is at least this.

    Solves multiplier ((a + 1) ** shape - a ** shape) / scale ** shape = -ln(1 - chance)
    by Newton's method. 0 where a new sensor has that chance already; infinite where the
    shape is 1 or less, as the chance then does not rise with age.
    """
    target = -math.log1p(-chance_within_year) * scale_years**shape / multiplier
    rising = shape > 1.0
    power = np.where(rising, shape, 2.0)
    with np.errstate(over="ignore"):
        age = (target / power) ** (1.0 / (power - 1.0)) - 0.5
    reached = age < 1e4
    age = np.where(reached, np.maximum(age, 0.0), 0.0)
    # Where there is no such age, an equation that is safe to solve stands in.
    power = np.where(reached, power, 2.0)
    target = np.where(reached, target, 1.0)
    for _ in range(12):
        gap = (age + 1.0) ** power - age**power - target
        slope = power * ((age + 1.0) ** (power - 1.0) - age ** (power - 1.0))
        age = np.maximum(age - gap / slope, 0.0)
    return np.where(rising & reached, age, math.inf)


def _works_table(
    positions: Sequence[Position], works_years: Mapping[str, Sequence[float]]
) -> Array:
    """Works to come at each position's site or lane, padded with infinity."""
    ahead = [
        sorted(
            year
            for year in (*works_years.get(p.site, ()), *works_years.get(p.lane, ()))
            if year > 0
        )
        for p in positions
    ]
    widest = max((len(years) for years in ahead), default=0)
    table = np.full((len(positions), widest), math.inf)
    for row, years in enumerate(ahead):
        table[row, : len(years)] = years
    return table


def works_in_years(
    days_by_site: Mapping[str, Sequence[dt.date]], today: dt.date
) -> dict[str, tuple[float, ...]]:
    """Dates of pavement works as years from today; days gone by are left out."""
    return {
        site: tuple(years_between(today, day) for day in sorted(days) if day > today)
        for site, days in days_by_site.items()
    }


def estimate(drawn: Array, level: float = 0.90) -> Estimate:
    """Mean of draws and the interval that holds the middle ``level`` of them."""
    tails = [(1.0 - level) / 2.0, (1.0 + level) / 2.0]
    low, high = np.quantile(drawn, tails)
    return Estimate(
        float(np.mean(drawn)), Interval(float(low), float(high), level), len(drawn)
    )
