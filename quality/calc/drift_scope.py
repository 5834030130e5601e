"""What moved: one sensor, one lane, the whole site, or the whole region.

A shift seen in one lane is held against its neighbours at the same date. If other sites
of the region moved the same way, the traffic or the season changed and no site is at
fault; if all lanes of the site moved, what they share did; if the lane moved alone, its
own sensors are looked at. Lanes that are too uncertain to say either are named and
count for nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import stdtrit

from quality.calc.change_point import Shape
from quality.calc.condition import day_in_words
from quality.calc.days import as_day
from quality.calc.drift_episode import DriftEpisode, Scope, ScopeFinding
from quality.calc.drift_words import true_percent
from quality.calc.week_series import WeekSeries, in_week_of
from quality.calc.week_spread import SpreadPrior, week_spread
from quality.calc.whitening import Whitener
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

WINDOW_WEEKS = 26
"""Weeks on either side of the onset that neighbours are compared over."""
LEAST_BEFORE = 6
LEAST_AFTER = 2
MOVED_SHARE = 1 / 3
STILL_SHARE = 1 / 2
"""A neighbour moved when its change is the same way, at least a third of the lane's,
and surely not zero; it stood still when its change is surely below half of it."""
REGION_SHARE = 0.6
LEAST_SITES = 2
"""The region moved when at least 60 % of the other sites that can be told did, of two
or more (own choices, no source)."""

POINTS_TO = {
    Scope.SENSOR: "that sensor, its lead-in or its channel",
    Scope.LANE: "the sensors, lead-ins or pavement of this lane",
    Scope.LANES: "what those lanes share: a controller card, a cabinet, a lead-in duct",
    Scope.SITE: "what all lanes share: the controller, its power or its settings",
    Scope.REGION: "season, loads or traffic, not the site's equipment",
    Scope.UNKNOWN: "",
}


@dataclass(frozen=True)
class LaneSeries:
    """A lane to compare with: its names, weeks and days of calibration.

    ``sensors``: weekly figures of single sensors (left and right, leading and
    trailing), where the controller keeps them.
    """

    lane: str
    site: str
    region: str
    series: WeekSeries
    calibrated_on: tuple[dt.date, ...] = ()
    sensors: Mapping[str, WeekSeries] = field(default_factory=dict)


@dataclass(frozen=True)
class Change:
    """Change of a neighbour at a given date [%] with its interval."""

    pct: float
    interval: Interval


def change_at(
    series: WeekSeries,
    episode: DriftEpisode,
    *,
    calibrated_on: Sequence[dt.date] = (),
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> Change | None:
    """How far another series moved when the episode began.

    Parameters
    ----------
    series
        Weeks of the neighbour.
    episode
        Gives the date, the shape and the end.
    calibrated_on
        The neighbour's calibrations; only weeks of the one period that holds the onset
        are compared.
    prior, level
        As in :func:`quality.calc.drift_search.search_drift`.

    Returns
    -------
    Change or None
        None with fewer than 6 weeks before or 2 weeks since the onset.
    """
    used = series.usable()
    days = np.array(sorted({as_day(day) for day in calibrated_on}), "datetime64[D]")
    used = used.without(in_week_of(used.week_on, days))
    onset = as_day(episode.onset_on)
    week = used.week_on
    reach = np.timedelta64(7 * WINDOW_WEEKS, "D")
    period = np.searchsorted(days, week, side="right")
    keep = (period == np.searchsorted(days, onset, side="right")) & (
        week >= onset - reach
    )
    if episode.shape is not Shape.RAMP:
        keep &= week < onset + reach
    if episode.until_on is not None:
        keep &= week < as_day(episode.until_on)
    used = used.without(~keep)
    place = int(np.searchsorted(used.week_on, onset))
    n = len(used.week_on)
    if place < LEAST_BEFORE or n - place < LEAST_AFTER:
        return None
    values = 100.0 * np.log(used.mean_kg)
    spread = week_spread(values, prior)
    white = Whitener(n, spread.phi, spread.sd or 1e-9)
    is_ramp = episode.shape is Shape.RAMP
    at = np.array([place])
    column = white.clear(white.ramps(at) if is_ramp else white.steps(at))[:, 0]
    y = white.clear(white.of(values[:, None]))[:, 0]
    power = float(column @ column)
    weeks = float(n - place) if is_ramp else 1.0
    size = weeks * float(column @ y) / power
    half = weeks * float(stdtrit(spread.df, 0.5 + level / 2)) / float(np.sqrt(power))
    return Change(
        true_percent(size),
        Interval(true_percent(size - half), true_percent(size + half), level),
    )


def compare_scope(
    episode: DriftEpisode,
    lane: LaneSeries,
    others: Sequence[LaneSeries],
    *,
    prior: SpreadPrior | None = None,
) -> ScopeFinding:
    """Say what moved together with the lane.

    Parameters
    ----------
    episode
        The lane's shift.
    lane
        The lane itself, with its sensors where they are known.
    others
        Any lanes; those of the same site and of the same region are used.
    prior
        As in :func:`change_at`.
    """
    moved: list[LaneSeries] = []
    still: list[LaneSeries] = []
    untold: list[LaneSeries] = []
    for other in others:
        if other.lane == lane.lane or lane.region != other.region:
            continue
        change = change_at(
            other.series, episode, calibrated_on=other.calibrated_on, prior=prior
        )
        {True: moved, False: still, None: untold}[_moved(change, episode)].append(other)
    names = (
        tuple(one.lane for one in moved),
        tuple(one.lane for one in still),
        tuple(one.lane for one in untold),
    )
    here_moved = [one.lane for one in moved if one.site == lane.site]
    here_still = [one.lane for one in still if one.site == lane.site]
    here_untold = [one.lane for one in untold if one.site == lane.site]
    sites_moved, sites_told = _sites(moved, still, lane.site)
    when = f"since {day_in_words(episode.onset_on)}"
    region = (
        f"{len(sites_moved)} of {len(sites_told)} other sites of the region that can "
        "be told moved the same way"
    )
    if (
        len(sites_told) >= LEAST_SITES
        and len(sites_moved) >= REGION_SHARE * len(sites_told)
        and not (here_still and not here_moved)
    ):
        return _finding(Scope.REGION, f"{region} {when}.", names)
    if here_moved and not here_still:
        sure = (
            f"; {region}"
            if len(sites_told) >= LEAST_SITES
            else "; too few other sites can be told to say whether the region moved"
        )
        text = f"All lanes of the site that can be told moved the same way {when}{sure}"
        return _finding(Scope.SITE, f"{text} ({_listed(here_moved)}).", names)
    if here_moved:
        text = f"{_listed(here_moved)} moved the same way {when}, "
        return _finding(Scope.LANES, f"{text}{_listed(here_still)} did not.", names)
    if here_untold and not here_still:
        text = f"The other lanes of the site are too uncertain {when}"
        return _finding(Scope.UNKNOWN, f"{text} ({_listed(here_untold)}).", names)
    if not here_still and not sites_told:
        text = "No lane to compare with has enough weeks on both sides of the onset."
        return _finding(Scope.UNKNOWN, text, names)
    sensor = _one_sensor(episode, lane, prior)
    if sensor:
        text = f"Of the lane's sensors only {sensor} moved {when}"
    else:
        text = f"The lane moved alone {when}"
    beside = (
        f"{_listed(here_still)} at the same site did not"
        if here_still
        else f"the site has no other lane to compare; {region}"
    )
    scope = Scope.SENSOR if sensor else Scope.LANE
    return _finding(scope, f"{text}: {beside}.", names, sensor)


def _moved(change: Change | None, episode: DriftEpisode) -> bool | None:
    """True when it moved the same way, False when it stood still, None: not told."""
    if change is None:
        return None
    way = 1.0 if episode.size_pct > 0 else -1.0
    size = abs(episode.size_pct)
    near, far = sorted((way * change.interval.low, way * change.interval.high))
    if near > 0.0 and way * change.pct >= MOVED_SHARE * size:
        return True
    return False if far < STILL_SHARE * size else None


def _sites(
    moved: Sequence[LaneSeries], still: Sequence[LaneSeries], site: str
) -> tuple[set[str], set[str]]:
    """Other sites most of whose lanes moved, and all that can be told."""
    count: dict[str, int] = {}
    for lanes, step in ((moved, 1), (still, -1)):
        for one in lanes:
            if one.site != site:
                count[one.site] = count.get(one.site, 0) + step
    return {name for name, net in count.items() if net > 0}, set(count)


def _one_sensor(
    episode: DriftEpisode, lane: LaneSeries, prior: SpreadPrior | None
) -> str:
    """The only sensor that moved, when every other one stood still; else ""."""
    if len(lane.sensors) < 2:
        return ""
    answers = {
        name: _moved(
            change_at(series, episode, calibrated_on=lane.calibrated_on, prior=prior),
            episode,
        )
        for name, series in lane.sensors.items()
    }
    moved = [name for name, answer in answers.items() if answer]
    still = [name for name, answer in answers.items() if answer is False]
    return moved[0] if len(moved) == 1 and len(still) == len(answers) - 1 else ""


def _finding(
    scope: Scope,
    sentence: str,
    names: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]],
    sensor: str = "",
) -> ScopeFinding:
    moved, still, untold = names
    return ScopeFinding(scope, sentence, POINTS_TO[scope], moved, still, untold, sensor)


def _listed(names: Sequence[str]) -> str:
    if len(names) > 4:
        return f"{', '.join(names[:3])} and {format_number(len(names) - 3, 0)} more"
    return " and ".join(", ".join(names).rsplit(", ", 1))
