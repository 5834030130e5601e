"""Factors by speed, with the straight lines that a controller draws between them."""

from __future__ import annotations

from calibration.selectors.factors import FactorProposals, NewFactor
from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.units import Kind, UnitSystem, format_number, shown_unit


def factor_chart(
    proposals: FactorProposals | None, *, system: UnitSystem | str
) -> Chart | None:
    """New factors by speed point; None where there are none.

    Where no factor in use is known, the ratios stand for themselves.
    """
    if proposals is None or not proposals.by_speed:
        return None
    unit = shown_unit(Kind.SPEED, UnitSystem(system))
    is_known = all(one.new is not None for one in proposals.by_speed)
    points = tuple(
        _point(one, unit.from_si(one.speed_kmh or 0.0), is_known=is_known)
        for one in proposals.by_speed
    )
    line = tuple(Point(one.x, one.y) for one in points)
    one = proposals.overall
    level = one.new if is_known and one.new is not None else one.estimate.ratio
    word = "Factor" if is_known else "Ratio to multiply the factor by"
    return Chart(
        title=f"{word} by speed, from the runs {proposals.stage}",
        x_label=f"Speed, {unit.symbol}",
        y_label=word,
        series=(
            Series("between the points", line),
            Series("", points, kind="points"),
        ),
        limits=(Limit(level, f"one factor: {format_number(level, 4)}"),),
        caption=f"n {proposals.n} runs; 95 % intervals. Straight lines between the "
        "points and level beyond them (common practice, no source: look up how your "
        "controller does it).",
    )


def _point(one: NewFactor, x: float, *, is_known: bool) -> Point:
    estimate = one.estimate
    times = (one.old or 1.0) if is_known else 1.0
    span = estimate.interval
    return Point(
        x,
        times * estimate.ratio,
        times * span.low if span else None,
        times * span.high if span else None,
        title=f"{estimate.label}: {format_number(times * estimate.ratio, 4)}, "
        f"n {estimate.n}",
    )
