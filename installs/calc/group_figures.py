"""Reliability of one group of sensors: survival, failures per lane, times, shares.

Puts the figures of :mod:`installs.calc.survival` and :mod:`installs.calc.reliability`
side by side for a group, each with its interval and what it rests on; what the data
cannot say is None, never zero.

References
----------
Interval of the median from the pointwise interval of the curve: Brookmeyer & Crowley,
Biometrics 38 (1982) 29-41 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from installs.calc.reliability import (
    availability,
    mean_cumulative,
    mean_time_between_failures,
    mean_time_to_repair,
)
from installs.calc.survival import kaplan_meier
from installs.calc.types import (
    ONE_DAY_YEARS,
    Estimate,
    IncidenceCurve,
    LaneHistory,
    Life,
    MeanCumulative,
    SurvivalCurve,
)
from wimprog.lib.errors import DomainError

#: Ages [years] at which tables tell survival and failures per lane.
AGES_YEARS = (1.0, 2.0, 5.0, 10.0)
CURVE_LEVEL = 0.95
FIGURE_LEVEL = 0.90


@dataclass(frozen=True)
class AtAge:
    """A figure at an age; ``value`` is None beyond what was watched.

    ``low`` and ``high`` are None where no interval exists (nothing has failed yet, or
    everything has).
    """

    age_years: float
    value: float | None
    low: float | None
    high: float | None
    at_risk: int


@dataclass(frozen=True)
class Median:
    """Age by which half have failed; None where the curve does not fall so far."""

    years: float | None
    low_years: float | None
    high_years: float | None


@dataclass(frozen=True)
class GroupFigures:
    """What is known of one group.

    Attributes
    ----------
    survival
        At :data:`AGES_YEARS`; the interval is at :data:`CURVE_LEVEL`.
    per_lane
        Mean number of failures a lane has had by those ages, at the same level.
    counts
        The whole curve of ``per_lane``; None when nothing failed.
    between, repair, works
        Mean time between failures [years in service], mean time to repair [days] and
        share of the time that the lanes worked, at :data:`FIGURE_LEVEL`; None without
        data.
    service_years
        Sum of the times in service.
    """

    name: str
    n_lives: int
    n_failures: int
    n_bracketed: int
    n_lanes: int
    service_years: float
    curve: SurvivalCurve
    survival: tuple[AtAge, ...]
    median: Median
    counts: MeanCumulative | None
    per_lane: tuple[AtAge, ...]
    between: Estimate | None
    repair: Estimate | None
    n_unrepaired: int
    works: Estimate | None


def group_figures(
    name: str,
    lives: Sequence[Life],
    lanes: Sequence[LaneHistory],
    *,
    repair_days: Sequence[float] = (),
    n_unrepaired: int = 0,
    up_years: Sequence[float] = (),
    in_service_years: Sequence[float] = (),
) -> GroupFigures:
    """Figures of one group.

    Parameters
    ----------
    lives
        At least one; bracketed failures are placed midway.
    lanes
        Failures of the group's sensors by lane.
    repair_days
        Days from each failure until its place was filled.
    n_unrepaired
        Failures whose place is still empty.
    up_years, in_service_years
        By lane of which something is known: time working, and time in service.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no lives.
    """
    curve = kaplan_meier(lives, level=CURVE_LEVEL)
    years = sum(life.point_age_years - life.entry_age_years for life in lives)
    counts = mean_cumulative(lanes, level=CURVE_LEVEL) if curve.n_failures else None
    return GroupFigures(
        name=name,
        n_lives=len(lives),
        n_failures=curve.n_failures,
        n_bracketed=sum(life.is_bracketed for life in lives),
        n_lanes=len(lanes),
        service_years=years,
        curve=curve,
        survival=tuple(survival_at(curve, lives, age) for age in AGES_YEARS),
        median=median_of(curve),
        counts=counts,
        per_lane=tuple(failures_by(counts, lanes, age) for age in AGES_YEARS),
        between=mean_time_between_failures(years, curve.n_failures, level=FIGURE_LEVEL)
        if years > 0
        else None,
        repair=mean_time_to_repair(repair_days, level=FIGURE_LEVEL, n_open=n_unrepaired)
        if repair_days
        else None,
        n_unrepaired=n_unrepaired,
        works=_works(up_years, in_service_years),
    )


def _works(up: Sequence[float], whole: Sequence[float]) -> Estimate | None:
    try:
        return availability(up, whole, level=FIGURE_LEVEL)
    except DomainError:
        return None


def survival_at(curve: SurvivalCurve, lives: Sequence[Life], age_years: float) -> AtAge:
    """Share still working at an age, with the number at risk just before it."""
    at_risk = sum(
        life.entry_age_years < age_years <= life.point_age_years for life in lives
    )
    known = curve.last_age_years >= age_years
    before = [i for i, age in enumerate(curve.age_years) if age <= age_years]
    if not before:
        return AtAge(age_years, 1.0 if known else None, None, None, at_risk)
    last = before[-1]
    if not known and curve.survival[last] > 0:
        return AtAge(age_years, None, None, None, at_risk)
    return AtAge(
        age_years,
        curve.survival[last],
        _finite(curve.low[last]),
        _finite(curve.high[last]),
        at_risk,
    )


def median_of(curve: SurvivalCurve) -> Median:
    """Age by which half have failed, with the ages at which its interval does so."""

    def first(shares: Sequence[float]) -> float | None:
        for age, share in zip(curve.age_years, shares, strict=True):
            if share <= 0.5 + 1e-12:
                return age
        return None

    # Where the curve is at zero its interval does not exist: both ends are there.
    low = [0.0 if math.isnan(share) else share for share in curve.low]
    high = [math.inf if math.isnan(share) else share for share in curve.high]
    return Median(curve.median_years, first(low), first(high))


def failures_by(
    counts: MeanCumulative | None, lanes: Sequence[LaneHistory], age_years: float
) -> AtAge:
    """Mean failures a lane has had by an age, with the lanes watched just before it."""
    watched = sum(lane.from_years < age_years <= lane.to_years for lane in lanes)
    if not watched:
        return AtAge(age_years, None, None, None, 0)
    if counts is not None:
        before = [i for i, age in enumerate(counts.age_years) if age <= age_years]
        if before:
            last = before[-1]
            return AtAge(
                age_years,
                counts.mean[last],
                _finite(counts.low[last]),
                _finite(counts.high[last]),
                watched,
            )
    return AtAge(age_years, 0.0, None, None, watched)


def watched_at(lives: Sequence[Life]) -> tuple[int, ...]:
    """Lives at risk at each of :data:`AGES_YEARS`."""
    return tuple(
        sum(one.entry_age_years < age <= one.point_age_years for one in lives)
        for age in AGES_YEARS
    )


def ended_by(curve: IncidenceCurve, at_risk: Sequence[int]) -> tuple[AtAge, ...]:
    """Share ended by a cause by each of :data:`AGES_YEARS`; None where none is watched.

    ``at_risk`` are the lives at risk at those ages, of all causes.
    """
    found = []
    for age, watched in zip(AGES_YEARS, at_risk, strict=True):
        before = [i for i, at in enumerate(curve.age_years) if at <= age]
        if not watched:
            found.append(AtAge(age, None, None, None, 0))
        elif not before:
            found.append(AtAge(age, 0.0, None, None, watched))
        else:
            i = before[-1]
            low, high = _finite(curve.low[i]), _finite(curve.high[i])
            found.append(AtAge(age, curve.share[i], low, high, watched))
    return tuple(found)


def lane_history(
    key: str, spans: Sequence[tuple[float, float]], failures_years: Sequence[float]
) -> LaneHistory:
    """One lane's failures, watched from its first sensor until its last one left.

    Parameters
    ----------
    spans
        Begin and end of each sensor's time, in years on any common clock.
    failures_years
        Failures on that clock; one on the first day counts as after a day of service.
    """
    begin = min(first for first, _ in spans)
    ages = [max(at - begin, ONE_DAY_YEARS) for at in failures_years]
    to_years = max([ONE_DAY_YEARS, *ages, *(last - begin for _, last in spans)])
    return LaneHistory(key, tuple(sorted(ages)), to_years)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
