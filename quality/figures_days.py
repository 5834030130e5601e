"""Charts that days are decided by: gross weights beside a reference, and hours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING

from wimprog.lib.chart import Chart, Point, Series
from wimprog.lib.svg import BLUE, VERMILLION, short, text_of
from wimprog.lib.units import Kind, Unit, UnitSystem, shown_unit

if TYPE_CHECKING:
    import numpy as np

STEPS_A_POINT = 8
"""Steps of 0.25 kip, so a point every 2 kip."""
CELL_W, CELL_H, LEFT, TOP = 22.0, 13.0, 84.0, 22.0


def gross_chart(
    counts: np.ndarray | None,
    reference: np.ndarray | None,
    *,
    title: str,
    since: dt.date | None,
    system: UnitSystem | str,
) -> Chart | None:
    """Class 9 trucks by gross weight, as shares, beside the reference's."""
    if counts is None:
        return None
    unit = shown_unit(Kind.MASS, UnitSystem(system))
    series = [Series("these weeks", _shares(counts, unit))]
    told = f"n {int(counts.sum()):,} class 9 trucks in the weeks of the period"
    if reference is not None:
        series.append(Series("reference", _shares(reference, unit)))
        told += (
            f"; reference: n {int(reference.sum()):,} in the first weeks after the "
            f"calibration of {since}"
        )
    else:
        told += "; there is no reference: no weeks after a calibration"
    return Chart(
        title=title,
        x_label=f"Gross weight, {unit.symbol}",
        y_label="Share of trucks, %",
        series=tuple(series),
        caption=told + ". The mix of loads moves this too; it never decides alone.",
    )


def _shares(counts: np.ndarray, unit: Unit) -> tuple[Point, ...]:
    from quality.calc.mixture_fit import N_STEPS, STEP_KG

    total = counts.sum()
    whole = N_STEPS - N_STEPS % STEPS_A_POINT
    sums = counts[:whole].reshape(-1, STEPS_A_POINT).sum(axis=1)
    return tuple(
        Point(
            unit.from_si((place + 0.5) * STEPS_A_POINT * STEP_KG),
            100.0 * float(n) / float(total),
        )
        for place, n in enumerate(sums)
    )


def hour_map(days: Sequence[tuple[dt.date, Sequence[int], bool]], *, title: str) -> str:
    """Vehicles of each hour of each day: the darker, the more; a cross for none.

    Parameters
    ----------
    days
        (Day, its 24 counts or nothing, whether it is to be decided), in order.
    title
        What it shows; its accessible name. The same numbers stand in a table.
    """
    most = max((max(hours) for _, hours, _ in days if hours), default=0)
    width = LEFT + 24 * CELL_W + 8
    height = TOP + len(days) * CELL_H + 6
    drawn = [
        f'<svg viewBox="0 0 {short(width)} {short(height)}" role="img" '
        f'class="chart" font-size="10" fill="currentColor">'
        f"<title>{text_of(title)}</title>"
    ]
    for hour in range(0, 24, 3):
        x = short(LEFT + hour * CELL_W)
        drawn.append(f'<text x="{x}" y="14">{hour:02d}:00</text>')
    for place, (date, hours, is_asked) in enumerate(days):
        y = TOP + place * CELL_H
        weight = ' font-weight="bold"' if is_asked else ' fill-opacity=".7"'
        mark = "› " if is_asked else ""
        drawn.append(
            f'<text x="{short(LEFT - 6)}" y="{short(y + 10)}" text-anchor="end"'
            f"{weight}>{mark}{date:%a %d %b}</text>"
        )
        if not hours:
            x = short(LEFT + 4)
            drawn.append(f'<text x="{x}" y="{short(y + 10)}">no hours kept</text>')
        for hour, n in enumerate(hours):
            drawn.append(_cell(LEFT + hour * CELL_W, y, n, most, f"{date} {hour:02d}"))
    return "".join(drawn) + "</svg>"


def _cell(x: float, y: float, n: int, most: int, when: str) -> str:
    told = f"<title>{when}:00, {n:,} vehicles</title>"
    box = (
        f'x="{short(x)}" y="{short(y)}" width="{short(CELL_W - 1)}" '
        f'height="{short(CELL_H - 1)}"'
    )
    if n == 0:
        cross = f"M{short(x + 7)} {short(y + 2.5)}l7 7m0-7l-7 7"
        return (
            f'<g>{told}<rect {box} fill="none" stroke="{VERMILLION}" '
            f'stroke-width=".7"/><path d="{cross}" stroke="{VERMILLION}" '
            'stroke-width="1.1"/></g>'
        )
    shade = 0.12 + 0.88 * n / most
    return f'<rect {box} fill="{BLUE}" fill-opacity="{short(shade, 2)}">{told}</rect>'
