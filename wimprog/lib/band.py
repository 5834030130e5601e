"""The history band: a lane's past and its forecast in one strip, as SVG.

Left of today: bars for each sensor's life (hatched by technology, × failed, | removed),
ticks for electrical tests, diamonds with whiskers for calibrations and the drift line
between the dashed limits of the tolerance, a row of months shaded by accepted share.
Right of today: the chance of still working, fading out, and flags where things are due.

Pure: no Django. Time runs in per cent of the width and heights are in pixels, so a band
fills whatever width it is given and its lettering stays the same size on a telephone
and on a wide screen. Shapes that must not be stretched are placed by ``use``; lines are
drawn in a stretched inner drawing with strokes that keep their width.

A page prints :func:`band_defs_svg` once, then as many bands as it likes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from wimprog.lib.band_facts import (
    Band,
    CalibrationMark,
    DriftPoint,
    DueFlag,
    EndKind,
    MonthShare,
    SensorBar,
    SurvivalPoint,
    TestTick,
    band_rows,
    band_summary,
    day_text,
    next_month,
    signed,
)
from wimprog.lib.svg import BLUE, VERMILLION, short, text_of
from wimprog.lib.units import format_number

__all__ = [
    "Band",
    "CalibrationMark",
    "DriftPoint",
    "DueFlag",
    "EndKind",
    "MonthShare",
    "SensorBar",
    "SurvivalPoint",
    "TestTick",
    "band_axis_svg",
    "band_defs_svg",
    "band_key",
    "band_rows",
    "band_summary",
    "band_svg",
]

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
_TINTS = ((0.95, "1"), (0.8, ".66"), (0.5, ".4"), (0.0, ".18"))
TINT_WORDS = ("95 % or more", "80 to 95 %", "50 to 80 %", "under 50 %", "no data")


def _pattern_id(technology: str) -> str:
    known = technology if technology in _PATTERNS else "other"
    return "wim-" + known.replace(" ", "-")


def _defs_body() -> str:
    patterns = "".join(
        f'<pattern id="{_pattern_id(name)}" width="6" height="6" '
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


def band_defs_svg() -> str:
    """Patterns and shapes that every band on a page refers to; print it once."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="0" height="0" '
        f'aria-hidden="true" class="band-defs"><defs>{_defs_body()}</defs></svg>'
    )


@dataclass(frozen=True)
class _Layout:
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


def _layout(size: Size, n_rows: int) -> _Layout:
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
    return _Layout(bar, bars_y, ticks_y, drift_y, drift_h, months_y, months_h, height,
                   gap)  # fmt: skip


class _Scale:
    """Days to the width, per cents of bias to the height."""

    def __init__(self, band: Band, lay: _Layout, wide: int, digits: int) -> None:
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


def _path(d: str, attributes: str) -> str:
    return f'<path d="{d}" {attributes} {KEEP}/>' if d else ""


# --- the past ---------------------------------------------------------------------
def _bars(band: Band, scale: _Scale, lay: _Layout, rows: dict[int, int]) -> str:
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
            f'fill="url(#{_pattern_id(s.technology)})"><title>{text_of(told)}</title>'
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


def _ticks(band: Band, scale: _Scale, lay: _Layout) -> str:
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
        drawn += _path(d, f'fill="none" {look}')
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
    points: Iterable[DriftPoint], scale: _Scale, column: float
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


def _drift(band: Band, scale: _Scale, size: Size) -> str:
    """The axis with its dashed limits, and the line, heavier where it is outside."""
    right = short(scale.unit(band.today))
    top, zero, low = (scale.y(v) for v in (band.tolerance_pct, 0, -band.tolerance_pct))
    drawn = _path(
        f"M0 {short(top)}H{right}M0 {short(low)}H{right}",
        'fill="none" stroke="currentColor" stroke-opacity=".55" stroke-width=".8" '
        'stroke-dasharray="3 3"',
    )
    drawn += _path(
        f"M0 {short(zero)}H{right}",
        'fill="none" stroke="currentColor" stroke-opacity=".35" stroke-width=".8"',
    )
    digits = 0 if size == "row" else 1
    column = 3.0 if size == "row" else 1.0
    inside, outside = "", ""
    points = [p for p in band.drift if band.start <= p.day <= band.today]
    for run in _runs(points, scale, column):
        drawn_run = [(x, round(scale.y(v), digits)) for x, v in run]
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
    drawn += _path(inside, f'{join} stroke="currentColor" stroke-width="1.3"')
    drawn += _path(outside, f'{join} stroke="{VERMILLION}" stroke-width="2.6"')
    return drawn


def _calibrations(band: Band, scale: _Scale) -> tuple[str, str]:
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
    return _path(whiskers, look), marks


def _tint(share: float) -> int:
    return next(i for i, (least, _) in enumerate(_TINTS) if share >= least)


def _months(band: Band, scale: _Scale, lay: _Layout) -> str:
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
            drawn += _path(d, look + 'stroke-width=".7"')
        else:
            d = "".join(f"M{short(a)} {y}H{short(b)}v{h}H{short(a)}z" for a, b in spans)
            drawn += f'<path d="{d}" fill="{BLUE}" fill-opacity="{_TINTS[tint][1]}"/>'
    if drawn and scale.wide:
        # thin white rules at the new years, to count by
        first, last = band.start.year + 1, band.today.year
        years = [dt.date(year, 1, 1) for year in range(first, last + 1)]
        d = "".join(f"M{short(scale.unit(day))} {y}v{h}" for day in years)
        drawn += _path(d, 'stroke="#fff" stroke-width="1.2"')
    return drawn


# --- the future -------------------------------------------------------------------
def _survival(band: Band, scale: _Scale, lay: _Layout) -> str:
    """The chance of still working, from 1 at the top to 0 at the bottom, fading."""
    points = sorted(
        (p for p in band.survival if band.today <= p.day <= band.end),
        key=lambda p: p.day,
    )
    if not points:
        return ""
    begin = scale.share(band.today)
    rest = 1.0 - begin
    if rest <= 0:
        return ""
    top, bottom = lay.bars_y, lay.months_y + lay.months_h
    tall = bottom - top
    xy = [
        (
            100 * (scale.share(p.day) - begin) / rest,
            tall * (1 - min(1.0, max(0.0, p.probability))),
        )
        for p in points
    ]
    line = f"M{short(xy[0][0])} {short(xy[0][1])}" + "".join(
        f"L{short(x)} {short(y)}" for x, y in xy[1:]
    )
    area = f"{line}L{short(xy[-1][0])} {tall}L{short(xy[0][0])} {tall}z"
    return (
        f'<svg x="{short(100 * begin)}%" y="{top}" width="{short(100 * rest)}%" '
        f'height="{tall}" viewBox="0 0 100 {tall}" preserveAspectRatio="none">'
        f'<path d="{area}" fill="url(#wim-fade)"/>'
        f'<path d="{line}" fill="none" stroke="url(#wim-fade-line)" stroke-width="2" '
        f"{KEEP}/></svg>"
    )


def _halo(x: str, y: float, body: str, attributes: str = "") -> str:
    """Lettering that stays readable over lines."""
    return (
        f'<text x="{x}" y="{short(y)}" stroke="#fff" stroke-width="3" '
        f'paint-order="stroke" stroke-linejoin="round"{attributes}>{body}</text>'
    )


def _ahead(band: Band, scale: _Scale, lay: _Layout, size: Size) -> str:
    """Flags where things are due, and the chance of failure in words."""
    drawn = ""
    bottom = lay.months_y + lay.months_h
    for flag in sorted(band.due, key=lambda f: f.day):
        day = max(flag.day, band.today)
        if day > band.end:
            continue
        x = scale.pct(day)
        foot = bottom - (14 if band.chance_pct is not None else 0)
        late = flag.day < band.today
        words = f"{flag.label} {'was due' if late else 'due'} {day_text(flag.day)}"
        drawn += (
            f'<line x1="{x}" x2="{x}" y1="{lay.bars_y}" y2="{foot}" '
            'stroke="currentColor" stroke-opacity=".6"/>'
            f'<use href="#wim-flag" x="{x}" y="{lay.bars_y}">'
            f"<title>{text_of(words)}</title></use>"
        )
        near_end = scale.share(day) > 0.9
        side = ' text-anchor="end" dx="-4"' if near_end else ' dx="12"'
        label = "overdue" if late else f"{day:%b %Y}"
        if size != "row":
            label = f"{flag.label} {label}"
        body = f'<tspan class="band-long">{text_of(label)}</tspan>'
        drawn += _halo(x, lay.bars_y + 8, body, side)
    if band.chance_pct is not None:
        years = f"within {band.chance_years} y"
        body = (
            f'<tspan font-weight="bold">{format_number(band.chance_pct, 0)} %</tspan>'
            f' fail<tspan class="band-long"> {years}</tspan>'
        )
        drawn += _halo(scale.pct(band.today), bottom - 3, body, ' dx="6"')
    return drawn


# --- axis, captions, the whole ----------------------------------------------------
def _year_marks(start: dt.date, today: dt.date, end: dt.date) -> list[tuple[int, bool]]:
    """Years to letter and whether each survives on a narrow screen."""
    span = (end - start).days / 365.25
    step = 1 if span <= 7 else 2 if span <= 18 else 5
    years = [
        year
        for year in range(start.year, end.year + 1)
        if year % step == 0 and start <= dt.date(year, 1, 1) <= end
    ]
    far = [
        year
        for year in years
        if abs((dt.date(year, 1, 1) - today).days) > 0.045 * (end - start).days
    ]
    return [(year, (year // step) % 3 == 0) for year in far]


def _axis(start: dt.date, today: dt.date, end: dt.date, y: float) -> str:
    days = (end - start).days
    drawn = ""
    for year, always in _year_marks(start, today, end):
        share = (dt.date(year, 1, 1) - start).days / days
        hide = "" if always else ' class="band-long"'
        anchor = "start" if share < 0.03 else "end" if share > 0.97 else "middle"
        drawn += (
            f'<text{hide} x="{short(100 * share)}%" y="{short(y)}" '
            f'text-anchor="{anchor}" fill-opacity=".75">{year}</text>'
        )
    share = (today - start).days / days
    anchor = "start" if share < 0.04 else "end" if share > 0.96 else "middle"
    drawn += (
        f'<text x="{short(100 * share)}%" y="{short(y)}" text-anchor="{anchor}" '
        'font-weight="bold">today</text>'
    )
    return drawn


def band_axis_svg(start: dt.date, today: dt.date, end: dt.date) -> str:
    """The years above a column of row-size bands."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="band-axis" width="100%" '
        'height="18" font-size="11" fill="currentColor" role="img" '
        f'aria-label="Years {start.year} to {end.year}">'
        f"{_axis(start, today, end, 13)}</svg>"
    )


def _captions(band: Band, scale: _Scale, lay: _Layout) -> str:
    tolerance = format_number(band.tolerance_pct, 1).removesuffix(".0")
    lines = (
        (lay.bars_y, "Sensors"),
        (lay.ticks_y, "Electrical tests"),
        (lay.drift_y, f"◇ gross weight bias at calibration; line: {band.drift_label}"),
        (lay.months_y, "Accepted share of each month"),
    )
    drawn = "".join(
        f'<text x="0" y="{y - 5}" fill-opacity=".8">{text_of(words)}</text>'
        for y, words in lines
    )
    for value, words in (
        (band.tolerance_pct, f"+{tolerance} %"),
        (0.0, "0"),
        (-band.tolerance_pct, f"−{tolerance} %"),
    ):
        drawn += _halo("0", scale.y(value) + 4, words, ' dx="2"')
    if band.survival:
        drawn += (
            f'<text x="{scale.pct(band.today)}" y="{lay.bars_y - 5}" dx="6" '
            'fill-opacity=".8">Chance of still working</text>'
        )
    return drawn


def band_svg(band: Band, *, size: Size = "row", band_id: str, title: str) -> str:
    """The band as one SVG element.

    Parameters
    ----------
    band
        What to show.
    size
        ``row`` for tables (about 70 px tall), ``page`` with captions and a year axis,
        ``print`` the same at a fixed width and with its patterns inside.
    band_id
        Unique on the page; the ids of title and description are made from it.
    title
        The lane's name.
    """
    present = sorted({s.row for s in band.sensors}) or [0]
    rows = {row: place for place, row in enumerate(present)}
    lay = _layout(size, len(present))
    wide = PRINT_WIDTH if size == "print" else UNITS_WIDE
    scale = _Scale(band, lay, wide, 0 if size == "row" else 1)
    whiskers, diamonds = _calibrations(band, scale)
    foot = lay.months_y + lay.months_h
    years = "".join(
        f"M{short(scale.unit(dt.date(year, 1, 1)))} {lay.bars_y - 2}V{foot}"
        for year, _ in _year_marks(band.start, band.today, band.end)
    )
    today_x = scale.pct(band.today)
    key = text_of(band_id)
    empty = (
        _halo("50%", lay.height / 2 + 4, "no data yet", ' text-anchor="middle"')
        if band.is_empty
        else ""
    )
    width = f'width="{PRINT_WIDTH}"' if size == "print" else 'width="100%"'
    fixed = f' viewBox="0 0 {PRINT_WIDTH} {lay.height}" font-family="sans-serif"'
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="band band-{size}" {width} '
            f'height="{lay.height}"{fixed if size == "print" else ""} font-size="11" '
            f'fill="currentColor" role="img" aria-labelledby="{key}-t {key}-d">'
            f'<title id="{key}-t">{text_of(title)}</title>'
            f'<desc id="{key}-d">{text_of(band_summary(band))}</desc>',
            f"<defs>{_defs_body()}</defs>" if size == "print" else "",
            _survival(band, scale, lay),
            f'<svg width="100%" height="{lay.height}" viewBox="0 0 {wide} {lay.height}"'
            ' preserveAspectRatio="none">',
            _path(years, 'stroke="currentColor" stroke-opacity=".13"'),
            _months(band, scale, lay),
            _ticks(band, scale, lay),
            _drift(band, scale, size),
            whiskers,
            "</svg>",
            _bars(band, scale, lay, rows),
            diamonds,
            f'<line x1="{today_x}" x2="{today_x}" '
            f'y1="{0 if size == "row" else lay.bars_y - 4}" '
            f'y2="{lay.height if size == "row" else foot + 4}" '
            'stroke="currentColor" stroke-width="1.5"/>',
            _ahead(band, scale, lay, size),
            empty,
            "" if size == "row" else _captions(band, scale, lay),
            ""
            if size == "row"
            else _axis(band.start, band.today, band.end, lay.height - 8),
            "</svg>",
        )
    )


def band_key(technologies: Iterable[str]) -> list[tuple[str, str]]:
    """The key to the band: pairs of a small drawing and its word."""

    def small(body: str, width: int = 26) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="14" '
            f'aria-hidden="true" class="key">{body}</svg>'
        )

    box = (
        '<rect x=".5" y="2" width="25" height="10" stroke="currentColor" '
        'stroke-width=".8" fill="{}"{}/>'
    )
    key = [
        (small(box.format(f"url(#{_pattern_id(t)})", "")), t)
        for t in dict.fromkeys(technologies)
    ]
    key += [
        (small('<use href="#wim-failed" x="7" y="7"/>', 14), "failed"),
        (small('<path d="M7 1v12" stroke="currentColor" stroke-width="2.5"/>', 14),
         "removed"),
        (small(f'<path d="M7 4v6" stroke="{BLUE}" stroke-width="1.3"/>', 14),
         "test within limits"),
        (small(f'<path d="M7 2v9" stroke="{VERMILLION}" stroke-width="3"/>', 14),
         "test outside limits"),
        (small(f'<path d="M7 0v14" stroke="{BLUE}" stroke-width="1.6"/>'
               '<use href="#wim-cal" x="7" y="7"/>', 14),
         "calibration with its interval"),
        (small('<path d="M0 9l6-2l6 3l6-4l8 1" fill="none" stroke="currentColor"/>'),
         "drift seen in traffic"),
        (small('<path d="M0 7h26" stroke="currentColor" stroke-dasharray="3 3"/>'),
         "tolerance"),
    ]  # fmt: skip
    tints = [f'" fill-opacity="{tint}' for _, tint in _TINTS]
    for tint, words in zip(tints, TINT_WORDS, strict=False):
        key.append((small(box.format(BLUE + tint, "")), f"accepted {words}"))
    key.append((small(box.format("#fff", "")), "month without data"))
    key.append((small('<use href="#wim-flag" x="2" y="2"/>', 14), "due"))
    return key
