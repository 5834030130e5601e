"""Charts of the records' side, from plain values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.units import Kind, Unit, UnitSystem, shown_unit

if TYPE_CHECKING:
    from quality.calc.drift_episode import DriftEpisode

Z_95 = 1.96
"""Two-sided 95 % point of the normal distribution."""


def steering_chart(
    weeks: Iterable[tuple[dt.date, int, float, float | None]],
    *,
    title: str,
    system: UnitSystem | str,
) -> Chart | None:
    """Weekly mean of the class 9 steering axle; None when there is no week.

    Parameters
    ----------
    weeks
        (Monday, number of vehicles, mean [kg], spread between vehicles [kg] or None),
        in order of time.
    """
    unit = shown_unit(Kind.MASS, UnitSystem(system))
    points = []
    n_in_all = 0
    for week_on, n, mean_kg, sd_kg in weeks:
        mean = unit.from_si(mean_kg)
        half = Z_95 * unit.from_si(sd_kg) / n**0.5 if sd_kg is not None else None
        points.append(_week_point(week_on, n, mean, half, unit))
        n_in_all += n
    if not points:
        return None
    weeks_word = "week" if len(points) == 1 else "weeks"
    return Chart(
        title=title,
        x_label="Week",
        y_label=f"Mean steering axle, {unit.symbol}",
        series=(Series("weekly mean", tuple(points), kind="points"),),
        caption=f"{len(points):,} {weeks_word}, {n_in_all:,} class 9 vehicles; "
        "whiskers are 95 % intervals of each week's mean from its own spread.",
    )


def _week_point(
    week_on: dt.date, n: int, mean: float, half: float | None, unit: Unit
) -> Point:
    """A week's mean in the shown unit, with the half width of its whisker if any."""
    return Point(
        week_on,
        mean,
        None if half is None else mean - half,
        None if half is None else mean + half,
        title=f"week of {week_on}: {mean:,.0f} {unit.symbol}, n {n:,}",
    )


def drift_chart(
    weeks: Sequence[tuple[dt.date, int, float, float | None]],
    found: DriftEpisode | None,
    *,
    onset: tuple[dt.date, dt.date, dt.date],
    limit_pct: float,
    events: Iterable[tuple[dt.date, str]],
    title: str,
    system: UnitSystem | str,
) -> Chart | None:
    """Weeks around a drift's onset, what is said of them, and what happened then.

    Parameters
    ----------
    weeks
        (Monday, vehicles, mean [kg], spread between vehicles), in order of time.
    found
        The finding; without it only the weeks are drawn.
    onset
        First day, the interval's ends.
    limit_pct
        Change that is acceptable [%], drawn about the level before.
    events
        Calibrations and visits.

    Notes
    -----
    Whiskers are from the spread of weeks about each other, not from the trucks of one
    week: those intervals are far too narrow.
    """
    if not weeks:
        return None
    unit = shown_unit(Kind.MASS, UnitSystem(system))
    sd_pct = found.week_sd_pct if found is not None else None
    points = []
    for week_on, n, mean_kg, _ in weeks:
        mean = unit.from_si(mean_kg)
        half = None if sd_pct is None else Z_95 * sd_pct / 100 * mean
        points.append(_week_point(week_on, n, mean, half, unit))
    series = [Series("weeks", tuple(points), kind="points")]
    limits: tuple[Limit, ...] = ()
    start, low_on, high_on = onset
    before = [row for row in weeks if row[0] < start]
    if found is not None:
        before = before[-found.n_weeks_before :] if found.n_weeks_before else []
    if before:
        n_all = sum(row[1] for row in before)
        level = unit.from_si(sum(row[2] * row[1] for row in before) / n_all)
        limits = (
            Limit(level * (1 + limit_pct / 100), f"+{limit_pct:g} %"),
            Limit(level * (1 - limit_pct / 100), f"−{limit_pct:g} %"),
        )
        flat = (Point(before[0][0], level), Point(before[-1][0], level))
        series.append(Series("before", flat))
        if found is not None:
            series.append(_since(found, level, weeks[-1][0]))
    marks = [(low_on, "onset from"), (high_on, "to"), *events]
    return Chart(
        title=title,
        x_label="Week",
        y_label=f"Mean steering axle, {unit.symbol}",
        series=tuple(series),
        limits=limits,
        marks=tuple(marks),
        caption=f"{len(points):,} weeks, {sum(row[1] for row in weeks):,} class 9 "
        "vehicles. Whiskers: two-sided 95 % from the spread of weeks about each other. "
        "Dashed: the acceptable change about the level before the onset. Dotted: the "
        "interval of the onset, and calibrations.",
        width=680,
        height=320,
    )


def _since(found: DriftEpisode, level: float, last_on: dt.date) -> Series:
    """The level since the onset with its interval; a ramp starts where it was."""
    end = min(found.until_on, last_on) if found.until_on else last_on
    ends = (found.size_pct, found.interval.low, found.interval.high)
    after, low, high = (level * (1 + pct / 100) for pct in ends)
    last = Point(end, after, low, high)
    is_ramp = found.slope_pct_per_week is not None
    first = Point(found.onset_on, level, level, level) if is_ramp else None
    return Series("since", (first or Point(found.onset_on, after, low, high), last))
