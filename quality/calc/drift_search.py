"""Every shift of a lane in its history, one after the other.

Within each calibration period the change-point chart is read week by week; when it
signals, the shift is dated with the weeks that follow, and the chart starts again from
there. Neighbouring shifts the same way that one slow ramp explains better become that
ramp. A calibration starts everything anew: what was before it is no baseline for what
comes after.

Values are 100·ln of the weekly means, so that a size is the same seen from either side;
sizes are given as true percentages.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from quality.calc.change_point import (
    fit_change,
    ramp_against_steps,
)
from quality.calc.days import as_day
from quality.calc.drift import DRIFT_LIMIT_PCT
from quality.calc.drift_chart import LEAST_AFTER, LEAST_BEFORE, LIMIT, drift_chart
from quality.calc.drift_episode import DriftEpisode
from quality.calc.drift_words import episode_of, too_short
from quality.calc.temperature_effect import Adjustment, take_out_temperature
from quality.calc.week_series import WeekSeries, in_week_of, wild_weeks
from quality.calc.week_spread import Spread, SpreadPrior, Spreads, spreads_so_far

LEAST_PCT = 0.5
"""Shifts smaller than this are not told (own choice: of no use for a calibration)."""
SETTLE_WEEKS = 8
"""Weeks after a signal that date it before the chart starts again."""
LEAST_TO_DATE = 4


@dataclass(frozen=True)
class DriftSearch:
    """What a search found, and what it could not say.

    Attributes
    ----------
    episodes
        In order of onset.
    refusals
        One sentence for each stretch that was too short, and for the whole when no week
        could be used.
    adjustment
        What was done about temperature and season; None without weeks.
    left_out
        Mondays of single wild weeks that were left out.
    n_withdrawn
        Signals that the weeks since then do not bear out.
    n_small
        Shifts smaller than the least size, not told.
    n_weeks
        Weeks used.
    """

    episodes: tuple[DriftEpisode, ...]
    refusals: tuple[str, ...]
    adjustment: Adjustment | None
    left_out: tuple[dt.date, ...] = ()
    n_withdrawn: int = 0
    n_small: int = 0
    n_weeks: int = 0


@dataclass
class _Stretch:
    """One calibration period being searched; places count within it."""

    week_on: np.ndarray
    values: np.ndarray
    trucks: np.ndarray
    flat: np.ndarray
    spreads: Spreads
    ends_on: dt.date | None
    cuts: list[int] = field(default_factory=list)
    found: list[int] = field(default_factory=list)


def find_episodes(
    series: WeekSeries,
    *,
    calibrated_on: Sequence[dt.date] = (),
    limit_pct: float = DRIFT_LIMIT_PCT,
    least_pct: float = LEAST_PCT,
    least_trucks: int = 0,
    prior: SpreadPrior | None = None,
    adjust: bool = True,
    chart_limit: float = LIMIT,
    level: float = 0.95,
    measure: str = "steering axle of class 9",
) -> list[DriftEpisode]:
    """Every shift of a lane, in order; see :func:`search_drift` for what is refused.

    Parameters are those of :func:`search_drift`.
    """
    return list(
        search_drift(
            series,
            calibrated_on=calibrated_on,
            limit_pct=limit_pct,
            least_pct=least_pct,
            least_trucks=least_trucks,
            prior=prior,
            adjust=adjust,
            chart_limit=chart_limit,
            level=level,
            measure=measure,
        ).episodes
    )


def search_drift(
    series: WeekSeries,
    *,
    calibrated_on: Sequence[dt.date] = (),
    limit_pct: float = DRIFT_LIMIT_PCT,
    least_pct: float = LEAST_PCT,
    least_trucks: int = 0,
    prior: SpreadPrior | None = None,
    adjust: bool = True,
    chart_limit: float = LIMIT,
    level: float = 0.95,
    measure: str = "steering axle of class 9",
) -> DriftSearch:
    """Find every shift of a lane and say what could not be searched.

    Parameters
    ----------
    series
        Weekly figures.
    calibrated_on
        Days of calibration, in any order. The week of a calibration belongs to neither
        side and is left out, unless the day is its Monday.
    limit_pct
        Change that is acceptable [%], inclusive.
    least_pct
        Smaller shifts are counted, not told [%].
    least_trucks
        Weeks with fewer are left out.
    prior
        What the program's lanes show of spread and correlation, values in per cent
        (:func:`quality.calc.week_spread.pool_spreads`); our own choice when None.
    adjust
        Take temperature or season out first, where it can be told.
    chart_limit
        Limit of the chart; the stated rate of false alarms holds for the default.
    level
        Level of the intervals.
    measure
        What the figures are, for the sentences.

    Notes
    -----
    The effect of temperature or season is fitted once on the whole record; otherwise
    an episode is found with what was known in its week, so a later look does not
    change when it was found, only its date and size. Eight weeks after a signal it is
    asked again with all the weeks since, and withdrawn when they do not show it.
    """
    used = series.usable(least_trucks)
    days = np.array(sorted({as_day(day) for day in calibrated_on}), "datetime64[D]")
    used = used.without(in_week_of(used.week_on, days))
    if len(used.week_on) == 0:
        why = "No drift can be searched: no week with data and enough trucks."
        return DriftSearch((), (why,), None)
    period = np.searchsorted(days, used.week_on, side="right")
    values = 100.0 * np.log(used.mean_kg)
    wild = wild_weeks(values, period)
    left_out = tuple(day.astype(dt.date) for day in used.week_on[wild])
    used, values, period = used.without(wild), values[~wild], period[~wild]
    values = values - _period_medians(values, period)
    adjustment = None
    if adjust:
        adjustment = take_out_temperature(
            used.week_on,
            values,
            temperature_c=used.temperature_c,
            period=period,
            prior=prior,
            level=level,
        )
        values = adjustment.values
    flat = values - _period_medians(values, period)
    words = (
        "Not adjusted for temperature or season, as asked."
        if adjustment is None
        else adjustment.sentence
    )
    episodes: list[DriftEpisode] = []
    refusals: list[str] = []
    n_small = n_withdrawn = 0
    for number in np.unique(period):
        rows = np.flatnonzero(period == number)
        first, last = int(rows[0]), int(rows[-1]) + 1
        ends_on = days[number].astype(dt.date) if number < len(days) else None
        stretch = _Stretch(
            used.week_on[first:last],
            values[first:last],
            used.n_trucks[first:last],
            flat[first:last],
            _slice(spreads_so_far(flat[:last], prior), first, last),
            ends_on,
        )
        if last - first < LEAST_BEFORE + LEAST_AFTER:
            refusals.append(too_short(stretch.week_on))
            continue
        _walk(stretch, flat[:first], prior, chart_limit)
        n_withdrawn += _withdraw(stretch, chart_limit)
        for group in _groups(stretch):
            episode = _tell(
                stretch, group, limit_pct, level, measure, words, chart_limit
            )
            if abs(episode.size_pct) < least_pct:
                n_small += 1
            else:
                episodes.append(episode)
    return DriftSearch(
        tuple(episodes),
        tuple(refusals),
        adjustment,
        left_out,
        n_withdrawn,
        n_small,
        len(values),
    )


def _walk(
    stretch: _Stretch, before: np.ndarray, prior: SpreadPrior | None, limit: float
) -> None:
    """Read the chart to its signal, date that, begin again; fills cuts and found."""
    n, start = len(stretch.values), 0
    spreads = stretch.spreads
    while n - start >= LEAST_BEFORE + LEAST_AFTER:
        chart = drift_chart(
            stretch.values[start:], limit=limit, spreads=_slice(spreads, start, n)
        )
        if chart.signal is None:
            return
        found = start + chart.signal
        seen = min(found + 1 + SETTLE_WEEKS, n)
        fit = fit_change(
            stretch.values[start:seen],
            spread=_spread_at(spreads, found),
            least_before=LEAST_TO_DATE,
        )
        cut = start + min(fit.onset, chart.signal)
        stretch.cuts.append(cut)
        stretch.found.append(found)
        # the spread of what follows must not hold the step just found
        left = stretch.flat[max(start, cut - SETTLE_WEEKS) : cut]
        right = stretch.flat[cut : min(cut + SETTLE_WEEKS, n)]
        stretch.flat[cut:] -= float(right.mean() - left.mean())
        whole = spreads_so_far(np.concatenate([before, stretch.flat]), prior)
        spreads = _slice(whole, len(before), len(before) + n)
        start = cut
    stretch.spreads = spreads


def _withdraw(stretch: _Stretch, limit: float) -> int:
    """Drop the cuts that all the weeks known now no longer show; how many.

    The weakest first, since its weeks then count for its neighbours. A signal of the
    last weeks stands until there are weeks to judge it by.
    """
    cuts, found, n = stretch.cuts, stretch.found, len(stretch.values)
    dropped = 0
    while cuts:
        edges = [0, *cuts, n]
        gains = []
        for place in range(len(cuts)):
            begin, end = edges[place], edges[place + 2]
            fit = fit_change(
                stretch.values[begin:end],
                spread=_spread_at(stretch.spreads, end - 1),
                least_before=LEAST_TO_DATE,
            )
            settled = n - 1 - found[place] >= SETTLE_WEEKS
            gains.append(max(fit.gain_step, fit.gain_ramp) if settled else np.inf)
        weakest = int(np.argmin(gains))
        if gains[weakest] >= limit**2:
            break
        del cuts[weakest], found[weakest]
        dropped += 1
    return dropped


def _groups(stretch: _Stretch) -> list[list[int]]:
    """Places in ``cuts`` that belong to one episode, in order.

    The longest run of cuts the same way that one ramp explains better than its steps
    is one episode; a cut of no such run is an episode of its own.
    """
    n_cuts = len(stretch.cuts)
    groups: list[list[int]] = []
    place = 0
    while place < n_cuts:
        last = next(
            (last for last in range(n_cuts - 1, place, -1)
             if _is_one_ramp(stretch, place, last)),
            place,
        )  # fmt: skip
        groups.append(list(range(place, last + 1)))
        place = last + 1
    return groups


def _is_one_ramp(stretch: _Stretch, first: int, last: int) -> bool:
    cuts, values = stretch.cuts, stretch.values
    begin = cuts[first - 1] if first > 0 else 0
    end = cuts[last + 1] if last + 1 < len(cuts) else len(values)
    steps = cuts[first : last + 1]
    if not _same_way(values, [begin, *steps, end]):
        return False
    spread = _spread_at(stretch.spreads, end - 1)
    joined = [cut - begin for cut in steps]
    return ramp_against_steps(values[begin:end], joined, spread) > 0


def _tell(
    stretch: _Stretch,
    group: list[int],
    limit_pct: float,
    level: float,
    measure: str,
    adjusted: str,
    chart_limit: float,
) -> DriftEpisode:
    """The episode of one group of cuts, dated with all its weeks."""
    cuts, n = stretch.cuts, len(stretch.values)
    begin = cuts[group[0] - 1] if group[0] > 0 else 0
    follows = group[-1] + 1 < len(cuts)
    end = cuts[group[-1] + 1] if follows else n
    spread = _spread_at(stretch.spreads, end - 1)
    fit = fit_change(
        stretch.values[begin:end],
        spread=spread,
        least_before=LEAST_TO_DATE,
        level=level,
    )
    return episode_of(
        fit,
        spread,
        week_on=stretch.week_on,
        n_trucks=int(stretch.trucks[begin:end].sum()),
        begin=begin,
        end=end,
        found=stretch.found[group[0]],
        ends_on=stretch.ends_on,
        limit_pct=limit_pct,
        measure=measure,
        adjusted=adjusted,
        chart_limit=chart_limit,
    )


def _period_medians(values: np.ndarray, period: np.ndarray) -> np.ndarray:
    out = np.empty(len(values))
    for number in np.unique(period):
        rows = period == number
        out[rows] = np.median(values[rows])
    return out


def _same_way(values: np.ndarray, edges: list[int]) -> bool:
    means = [values[a:b].mean() for a, b in pairwise(edges)]
    steps = np.diff(means)
    return bool((steps > 0).all() or (steps < 0).all())


def _slice(spreads: Spreads, first: int, last: int) -> Spreads:
    return Spreads(
        spreads.sd[first:last], spreads.phi[first:last], spreads.df[first:last]
    )


def _spread_at(spreads: Spreads, at: int) -> Spread:
    return Spread(float(spreads.sd[at]), float(spreads.phi[at]), float(spreads.df[at]))
