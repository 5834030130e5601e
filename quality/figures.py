"""Charts of the records' side, from plain values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from wimprog.lib.chart import Chart, Point, Series
from wimprog.lib.units import Kind, UnitSystem, shown_unit

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
        points.append(
            Point(
                week_on,
                mean,
                None if half is None else mean - half,
                None if half is None else mean + half,
                title=f"week of {week_on}: {mean:,.0f} {unit.symbol}, n {n:,}",
            )
        )
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
