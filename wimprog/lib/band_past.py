"""Drawing of the history band, left of today; the whole is in :mod:`wimprog.lib.band`.

Pure: no Django. Here too: patterns and shapes, the layout and the scales.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from wimprog.lib.band_facts import Band, DriftPoint, day_text, next_month, signed
from wimprog.lib.svg import BLUE, VERMILLION, short, text_of

Size = Literal["row", "page", "print"]

UNITS_WIDE = 1000  # inner units across a fluid band
PRINT_WIDTH = 680  # points across a printed band
GAP_DAYS = 45  # longer without a drift point, the line is broken
REACH = 1.6  # the drift axis reaches this many tolerances
KEEP = 'vector-effect="non-scaling-stroke"'

_PATTERNS: dict[str, str] = {
    "polymer piezo": '<path d="M-1 1L1-1M-1 7L7-1M5 7L7 5"/>',
    "quartz piezo": '<path d="M1.5 .2v2.6M.2 1.5h2.6M4.5 3.2v2.6M3.2 4.5h2.6"/>',
    "ceramic piezo": '<path d="M-1 5L1 7M-1-1L7 7M5-1L7 1"/>',
    "bending plate": "",
    "load cell": '<path d="M-1-1L7 7M-1 7L7-1"/>',
    "strain gauge strip": '<path d="M1.5 0v6M4.5 0v6"/>',
    "inductive loop": '<path d="M0 1.5h6M0 4.5h6"/>',
    "temperature probe": '<path d="M0 3h3"/>',
    "other": '<path d="M0 3l3-3l3 3l-3 3z"/>',
}
TINTS = ((0.95, "1"), (0.8, ".66"), (0.5, ".4"), (0.0, ".18"))
TINT_WORDS = ("95 % or more", "80 to 95 %", "50 to 80 %", "under 50 %", "no data")


def pattern_id(technology: str) -> str:
    known = technology if technology in _PATTERNS else "other"
    return "wim-" + known.replace(" ", "-")


def defs_body() -> str:
    patterns = "".join(
        f'<pattern id="{pattern_id(name)}" width="6" height="6" '
        'patternUnits="userSpaceOnUse">'
        '<rect width="6" height="6" fill="#fff"/>'
        '<rect width="6" height="6" fill="currentColor" fill-opacity=".07"/>'
        f'<g fill="none" stroke="currentColor" stroke-width=".9">{lines}</g></pattern>'
        for name, lines in _PATTERNS.items()
    )
    return (
        f"{patterns}"
        '<linearGradient id="wim-fade" gradientUnits="userSpaceOnUse" x1="0" x2="100" '
        f'y1="0" y2="0"><stop stop-color="{BLUE}" stop-opacity=".3"/>'
        f'<stop offset="1" stop-color="{BLUE}" stop-opacity=".04"/></linearGradient>'
        '<linearGradient id="wim-fade-line" gradientUnits="userSpaceOnUse" x1="0" '
        f'x2="100" y1="0" y2="0"><stop stop-color="{BLUE}"/>'
        f'<stop offset="1" stop-color="{BLUE}" stop-opacity=".45"/></linearGradient>'
        f'<path id="wim-cal" d="M0-4.5L4.5 0L0 4.5L-4.5 0z" fill="#fff" '
        f'stroke="{BLUE}" stroke-width="1.6"/>'
        f'<path id="wim-cal-high" d="M-4.5 3L0-4L4.5 3z" fill="{VERMILLION}" '
        'stroke="#fff" stroke-width=".8"/>'
        f'<path id="wim-cal-low" d="M-4.5-3L0 4L4.5-3z" fill="{VERMILLION}" '
        'stroke="#fff" stroke-width=".8"/>'
        '<path id="wim-cal-unknown" d="M0-4L4 0L0 4L-4 0z" fill="#fff" '
        'stroke="currentColor" stroke-width="1" stroke-dasharray="1.5 1.5"/>'
        '<g id="wim-failed" fill="none"><path d="M-3.5-3.5L3.5 3.5M-3.5 3.5L3.5-3.5" '
        'stroke="#fff" stroke-width="4.5"/><path d="M-3.5-3.5L3.5 3.5M-3.5 3.5L3.5-3.5"'
        f' stroke="{VERMILLION}" stroke-width="2"/></g>'
        '<path id="wim-flag" d="M0 0v10M0 0h.5l8.5 3.5L.5 7H0z" fill="currentColor" '
        'stroke="currentColor"/>'
    )


@dataclass(frozen=True)
class Layout:
    """Where the strips lie, in pixels from the top."""

    bar: int
    bars_y: int
    ticks_y: int
    drift_y: int
    drift_h: int
    months_y: int
    months_h: int
    height: int
    bar_gap: int


def layout(size: Size, n_rows: int) -> Layout:
    roomy = size != "row"
    caption = 17 if roomy else 0
    bar = 13 if roomy else {1: 10, 2: 8}.get(n_rows, 6)
    gap = 3 if roomy else 2
    drift_h = 96 if roomy else 32
    months_h = 14 if roomy else 9
    space = 10 if roomy else 4
    bars_y = 4 + caption
    ticks_y = bars_y + n_rows * bar + (n_rows - 1) * gap + space + caption
    drift_y = ticks_y + 9 + space + caption
    months_y = drift_y + drift_h + space + caption
    height = months_y + months_h + (26 if roomy else 4)
    return Layout(bar, bars_y, ticks_y, drift_y, drift_h, months_y, months_h, height,
                   gap)  # fmt: skip


class Scale:
    """Days to the width, per cents of bias to the height."""

    def __init__(self, band: Band, lay: Layout, wide: int, digits: int) -> None:
        self.start = band.start
        self.days = (band.end - band.start).days
        self.wide = wide
        self.digits = digits
        self.top = lay.drift_y
        self.h = lay.drift_h
        self.reach = REACH * band.tolerance_pct

    def share(self, day: dt.date) -> float:
        """Place of a day along the axis, 0 to 1, held inside it."""
        return min(1.0, max(0.0, (day - self.start).days / self.days))

    def pct(self, day: dt.date) -> str:
        return short(100 * self.share(day)) + "%"

    def unit(self, day: dt.date) -> float:
        return round(self.wide * self.share(day), self.digits)

    def y(self, value_pct: float) -> float:
        held = min(self.reach, max(-self.reach, value_pct))
        return round(self.top + self.h / 2 * (1 - held / self.reach), 1)


def stroke_path(d: str, attributes: str) -> str:
    return f'<path d="{d}" {attributes} {KEEP}/>' if d else ""


def draw_bars(band: Band, scale: Scale, lay: Layout, rows: dict[int, int]) -> str:
    """Bars with their hatch, and the marks of how they ended."""
    bars, ends = [], []
    for s in band.sensors:
        last = s.end or band.today
        if last < band.start or s.start > band.today:
            continue
        left, right = scale.share(s.start), scale.share(min(last, band.today))
        y = lay.bars_y + rows[s.row] * (lay.bar + lay.bar_gap)
        until = f"{s.end_kind} {day_text(s.end)}" if s.end else "in service"
        told = f"{s.technology} {s.label}, {day_text(s.start)}, {until}"
        bars.append(
            f'<rect x="{short(100 * left)}%" y="{y}" '
            f'width="{short(max(100 * (right - left), 0.1))}%" height="{lay.bar}" '
            f'fill="url(#{pattern_id(s.technology)})"><title>{text_of(told)}</title>'
            "</rect>"
        )
        if s.end is None:
            continue
        middle = short(y + lay.bar / 2)
        if s.end_kind == "failed":
            ends.append(f'<use href="#wim-failed" x="{short(100 * right)}%" '
                        f'y="{middle}"/>')  # fmt: skip
        else:
            ends.append(
                f'<line x1="{short(100 * right)}%" x2="{short(100 * right)}%" '
                f'y1="{y - 1}" y2="{y + lay.bar + 1}" stroke="currentColor" '
                'stroke-width="2.5"/>'
            )
    if not bars:
        return ""
    return f'<g stroke="currentColor" stroke-width=".8">{"".join(bars)}</g>' + "".join(
        ends
    )


def draw_ticks(band: Band, scale: Scale, lay: Layout) -> str:
    """Electrical tests: short and thin when good, tall and heavy when not."""
    drawn = ""
    looks: tuple[tuple[bool | None, int, str], ...] = (
        (True, 6, f'stroke="{BLUE}" stroke-width="1.3"'),
        (None, 3, 'stroke="currentColor" stroke-width="1.3" stroke-opacity=".6"'),
        (False, 9, f'stroke="{VERMILLION}" stroke-width="3"'),
    )
    for ok, tall, look in looks:
        days = [t.day for t in band.tests if t.ok is ok and band.start <= t.day]
        d = "".join(f"M{short(scale.unit(day))} {lay.ticks_y}v{tall}" for day in days)
        drawn += stroke_path(d, f'fill="none" {look}')
    return drawn


def _thinned(
    points: Sequence[tuple[float, float | None, dt.date]],
) -> list[tuple[float, float | None, dt.date]]:
    """At most one point to a column, the one furthest from zero, so that no excursion
    is hidden; a gap survives when its column holds nothing else.
    """
    kept: list[tuple[float, float | None, dt.date]] = []
    for point in points:
        if kept and kept[-1][0] == point[0]:
            old = kept[-1][1]
            if point[1] is not None and (old is None or abs(point[1]) > abs(old)):
                kept[-1] = point
        else:
            kept.append(point)
    return kept


def _runs(
    points: Iterable[DriftPoint], scale: Scale, column: float
) -> list[list[tuple[float, float]]]:
    """Unbroken stretches of the drift line as (x, value) pairs."""
    placed = [
        (round(scale.unit(p.day) / column) * column, p.change_pct, p.day)
        for p in sorted(points, key=lambda p: p.day)
    ]
    runs: list[list[tuple[float, float]]] = [[]]
    before: dt.date | None = None
    for x, value, day in _thinned(placed):
        if value is None or (before and (day - before).days > GAP_DAYS):
            runs.append([])
        if value is not None:
            runs[-1].append((x, value))
            before = day
    return [run for run in runs if run]


def _polyline(points: Sequence[tuple[float, float]]) -> str:
    """A relative path, short to write."""
    x0, y0 = points[0]
    d = f"M{short(x0)} {short(y0)}"
    steps = []
    for (xa, ya), (xb, yb) in pairwise(points):
        dx, dy = short(xb - xa), short(yb - ya)
        steps.append(dx + (dy if dy.startswith("-") else f" {dy}"))
    if not steps:
        return d + "h.5"
    return d + "l" + " ".join(steps)


def draw_drift(band: Band, scale: Scale, size: Size) -> str:
    """The axis with its dashed limits, and the line, heavier where it is outside."""
    right = short(scale.unit(band.today))
    top, zero, low = (scale.y(v) for v in (band.tolerance_pct, 0, -band.tolerance_pct))
    drawn = stroke_path(
        f"M0 {short(top)}H{right}M0 {short(low)}H{right}",
        'fill="none" stroke="currentColor" stroke-opacity=".55" stroke-width=".8" '
        'stroke-dasharray="3 3"',
    )
    drawn += stroke_path(
        f"M0 {short(zero)}H{right}",
        'fill="none" stroke="currentColor" stroke-opacity=".35" stroke-width=".8"',
    )
    column = 4.0 if size == "row" else 1.0
    inside, outside = "", ""
    points = [p for p in band.drift if band.start <= p.day <= band.today]
    for run in _runs(points, scale, column):
        drawn_run = [(x, scale.y(v)) for x, v in run]
        inside += _polyline(drawn_run)
        beyond: list[tuple[float, float]] = []
        for (x, y), (_, value) in zip(drawn_run, run, strict=True):
            if abs(value) > band.tolerance_pct:
                beyond.append((x, y))
            elif beyond:
                outside += _polyline(beyond)
                beyond = []
        if beyond:
            outside += _polyline(beyond)
    join = 'fill="none" stroke-linejoin="round" stroke-linecap="round"'
    drawn += stroke_path(inside, f'{join} stroke="currentColor" stroke-width="1.3"')
    drawn += stroke_path(outside, f'{join} stroke="{VERMILLION}" stroke-width="2.6"')
    return drawn


def draw_calibrations(band: Band, scale: Scale) -> tuple[str, str]:
    """Whiskers for the stretched drawing, diamonds for the unstretched one."""
    whiskers, marks = "", ""
    for c in sorted(band.calibrations, key=lambda c: c.day):
        if not band.start <= c.day <= band.today:
            continue
        x = scale.pct(c.day)
        if c.bias_pct is None:
            shape, y, told = "wim-cal-unknown", scale.y(0), "bias not known"
        else:
            beyond = abs(c.bias_pct) > scale.reach
            way = "-high" if c.bias_pct > 0 else "-low"
            shape = "wim-cal" + (way if beyond else "")
            y, told = scale.y(c.bias_pct), f"{signed(c.bias_pct)} %"
        if c.low_pct is not None and c.high_pct is not None:
            top, low = scale.y(c.high_pct), scale.y(c.low_pct)
            whiskers += f"M{short(scale.unit(c.day))} {short(top)}V{short(low)}"
            told += f" ({signed(c.low_pct)} to {signed(c.high_pct)} %)"
        marks += (
            f'<use href="#{shape}" x="{x}" y="{short(y)}"><title>'
            f"{text_of(f'calibration {day_text(c.day)}: {told}')}</title></use>"
        )
    look = f'fill="none" stroke="{BLUE}" stroke-width="1.6"'
    return stroke_path(whiskers, look), marks


def _tint(share: float) -> int:
    return next(i for i, (least, _) in enumerate(TINTS) if share >= least)


def draw_months(band: Band, scale: Scale, lay: Layout) -> str:
    """Months shaded by accepted share; neighbours of one shade are drawn as one."""
    cells: dict[int | None, list[tuple[float, float]]] = {}
    for m in sorted(band.months, key=lambda m: m.month_start):
        left = scale.unit(m.month_start)
        right = scale.unit(min(next_month(m.month_start), band.today))
        if right <= left:
            continue
        share = m.accepted_share
        group = cells.setdefault(
            None if share is None else _tint(min(1.0, max(0.0, share))), []
        )
        if group and abs(group[-1][1] - left) < 0.01 and share is not None:
            group[-1] = (group[-1][0], right)
        else:
            group.append((left, right))
    drawn = ""
    y, h = lay.months_y, lay.months_h
    for tint, spans in sorted(cells.items(), key=lambda item: (item[0] is None, item)):
        if tint is None:
            d = "".join(f"M{short(a)} {short(y + .5)}H{short(b)}v{h - 1}H{short(a)}z"
                        for a, b in spans)  # fmt: skip
            look = 'fill="#fff" stroke="currentColor" stroke-opacity=".5" '
            drawn += stroke_path(d, look + 'stroke-width=".7"')
        else:
            d = "".join(f"M{short(a)} {y}H{short(b)}v{h}H{short(a)}z" for a, b in spans)
            drawn += f'<path d="{d}" fill="{BLUE}" fill-opacity="{TINTS[tint][1]}"/>'
    if drawn:
        # thin white rules at the new years, to count by
        first, last = band.start.year + 1, band.today.year
        years = [dt.date(year, 1, 1) for year in range(first, last + 1)]
        d = "".join(f"M{short(scale.unit(day))} {y}v{h}" for day in years)
        drawn += stroke_path(d, 'stroke="#fff" stroke-width="1.2"')
    return drawn
