"""Charts of reliability: survival and failures per lane by group, ends by mode."""

from __future__ import annotations

from collections.abc import Sequence

from installs.calc.group_figures import GroupFigures
from wimprog.lib.chart import Chart, Point, Series
from wimprog.lib.units import format_number

#: More curves than this cannot be told apart in one drawing.
MOST_CURVES = 5


def _drawn(groups: Sequence[GroupFigures]) -> tuple[list[GroupFigures], str]:
    kept = sorted(groups, key=lambda one: -one.n_lives)[:MOST_CURVES]
    left = len(groups) - len(kept)
    note = f" The {left} smaller groups are in the table only." if left else ""
    return kept, note


def groups_survival_chart(groups: Sequence[GroupFigures]) -> Chart:
    """The share still working by age, one stepped curve a group."""
    kept, note = _drawn(groups)
    series = []
    for one in kept:
        curve = one.curve
        steps = [Point(0.0, 1.0, 1.0, 1.0)]
        steps += [
            Point(age, share, low, high)
            for age, share, low, high in zip(
                curve.age_years, curve.survival, curve.low, curve.high, strict=True
            )
        ]
        end = steps[-1]
        steps.append(Point(max(curve.last_age_years, end.x), end.y, end.low, end.high))
        series.append(Series(one.name, tuple(steps), kind="steps"))
    level = format_number(100 * kept[0].curve.level, 0)
    n = sum(one.n_lives for one in kept)
    failed = sum(one.n_failures for one in kept)
    return Chart(
        title="Share of sensors still working, by age",
        x_label="Age, years",
        y_label="Share working",
        series=tuple(series),
        caption=f"Kaplan–Meier, {failed} failures in {n} lives; dotted: {level} % "
        f"interval, age by age. Numbers at risk stand in the table.{note}",
        y_range=(0.0, 1.0),
    )


def groups_count_chart(groups: Sequence[GroupFigures]) -> Chart | None:
    """Mean failures a lane has had by an age; None where nothing failed."""
    kept, note = _drawn([one for one in groups if one.counts is not None])
    series = []
    for one in kept:
        counts = one.counts
        if counts is None:
            continue
        steps = [Point(0.0, 0.0, 0.0, 0.0)]
        steps += [
            Point(age, mean, low, high)
            for age, mean, low, high in zip(
                counts.age_years, counts.mean, counts.low, counts.high, strict=True
            )
        ]
        series.append(Series(one.name, tuple(steps), kind="steps"))
    if not series:
        return None
    lanes = sum(one.n_lanes for one in kept)
    failed = sum(one.n_failures for one in kept)
    return Chart(
        title="Mean number of failures a lane has had, by age",
        x_label="Years since the lane’s first such sensor",
        y_label="Failures per lane",
        series=tuple(series),
        caption=f"{failed} failures in {lanes} lanes (a lane counts once in each of "
        f"its groups); dotted: 95 % interval that allows for unlike lanes.{note}",
    )
