"""Charts of a lane's calibrations through the years, from plain values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from calibration.selectors.years import LaneYears, StageFound, YearRow
from wimprog.lib.chart import Chart, Limit, Point, Series, X
from wimprog.lib.units import format_number


def _points(rows: tuple[YearRow, ...], stage: str) -> tuple[Point, ...]:
    found = []
    for row in rows:
        one: StageFound | None = getattr(row, stage)
        if one is None or one.mean_pct is None:
            continue
        told = f"{row.session.held_on}: {format_number(one.mean_pct, 2)} %, n {one.n}"
        found.append(
            Point(
                row.session.held_on, one.mean_pct, one.low_pct, one.high_pct, title=told
            )
        )
    return tuple(found)


APART = 0.12
"""Marks nearer than this share of the years drawn would write over each other."""


def _due_mark(
    page: LaneYears, today: dt.date, days: Sequence[X]
) -> tuple[tuple[dt.date, str], ...]:
    """The due day, unless it would stand in the word “today”."""
    if page.due is None or not days:
        return ()
    on = page.due.due_on
    drawn = [day for day in (*days, today, on) if isinstance(day, dt.date)]
    span = (max(drawn) - min(drawn)).days
    return ((on, "due"),) if abs((on - today).days) > APART * span else ()


def bias_chart(page: LaneYears, today: dt.date) -> Chart | None:
    """Bias found and left at each session, and what is believed since the last one."""
    series = [
        Series("found", _points(page.rows, "found"), "points"),
        Series("left", _points(page.rows, "left"), "points"),
    ]
    level = ""
    if page.path:
        level = f"{page.path[0].interval.level * 100:g} %"
        series.append(
            Series(
                "believed",
                tuple(
                    Point(one.day, one.mean_pct, one.interval.low, one.interval.high)
                    for one in page.path
                ),
            )
        )
    if not any(one.points for one in series):
        return None
    limit = page.settings.bias_tolerance_pct
    due = _due_mark(page, today, [p.x for one in series for p in one.points])
    n = sum(len(one.points) for one in series[:2])
    believed = (
        f" Line and band: bias believed since the last session, {level} interval, at "
        "the reference pavement temperature."
        if page.path
        else ""
    )
    return Chart(
        title="Gross weight bias by session, and as believed since the last one",
        x_label="Day",
        y_label="Gross weight bias, %",
        series=tuple(series),
        limits=(
            Limit(limit, f"tolerance +{limit:g} %"),
            Limit(-limit, f"tolerance −{limit:g} %"),
        ),
        marks=((today, "today"), *due),
        caption=f"n {n} means of truck runs with their 95 % t intervals, for the "
        f"trucks that were driven.{believed}",
    )


def spread_chart(page: LaneYears) -> Chart | None:
    """Spread of single errors at each session, with its chi-square interval."""
    series = []
    for label, stage in (("found", "found"), ("left", "left")):
        points = tuple(
            Point(
                row.session.held_on,
                one.sd_pct,
                one.sd_interval.low if one.sd_interval else None,
                one.sd_interval.high if one.sd_interval else None,
                title=f"{row.session.held_on}: {format_number(one.sd_pct, 2)} %, "
                f"n {one.n}",
            )
            for row in page.rows
            for one in (getattr(row, stage),)
            if one is not None and one.sd_pct is not None
        )
        series.append(Series(label, points, "points"))
    if not any(one.points for one in series):
        return None
    return Chart(
        title="Spread of gross weight errors by session",
        x_label="Day",
        y_label="Standard deviation, %",
        series=tuple(series),
        caption="Standard deviation of single errors of gross weight with its 95 % "
        "chi-square interval.",
    )


def factor_chart(page: LaneYears) -> Chart | None:
    """The factor that the lane worked by, from session to session."""
    points: list[Point] = []
    for row in page.rows:
        if row.factor_before is not None and not points:
            points.append(Point(row.session.held_on, row.factor_before))
        if row.factor_after is not None:
            points.append(Point(row.session.held_on, row.factor_after))
    if len(points) < 2:
        return None
    return Chart(
        title="Calibration factor by session",
        x_label="Day",
        y_label="Factor",
        series=(Series("factor", tuple(points), "steps"),),
        caption=f"n {len(points)} factors; level until the next session changed it.",
    )
