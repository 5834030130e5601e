"""Charts for pages, drawn by the server as SVG from plain values.

Pure: no Django. One house style: direct labels, units on the axes, n in the caption,
intervals drawn, tolerance limits as labelled lines, one axis each way.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from wimprog.lib.svg import (
    BLUE,
    GREEN,
    ORANGE,
    PURPLE,
    VERMILLION,
    nice_ticks,
    short,
    text_of,
    tick_text,
)

X = float | dt.date
_COLOURS = (BLUE, VERMILLION, GREEN, PURPLE, ORANGE)
_DASHES = ("", "6 3", "2 2.5", "8 3 2 3", "1 3")


@dataclass(frozen=True)
class Point:
    """One value with its interval; ``y`` None is no data and breaks a line."""

    x: X
    y: float | None
    low: float | None = None
    high: float | None = None
    title: str = ""


@dataclass(frozen=True)
class Series:
    """Points drawn alike.

    ``kind``: ``line`` (with its interval as a shaded ribbon), ``points`` (with
    whiskers), ``steps`` (a survival curve: level until the next point) or ``bars``
    (from zero, with whiskers; ``x`` is then the place 0, 1, 2 … of ``Chart.names``).
    """

    label: str
    points: tuple[Point, ...]
    kind: Literal["line", "points", "steps", "bars"] = "line"


@dataclass(frozen=True)
class Limit:
    """A labelled line across: a tolerance or another limit, in the unit of y."""

    y: float
    label: str


@dataclass(frozen=True)
class Chart:
    """One chart.

    Attributes
    ----------
    title
        What it finds or shows; also its accessible name.
    x_label, y_label
        With their units, in the trade's words ("Gross weight error, %").
    caption
        n, the method and the interval; printed below the drawing.
    names
        The categories along x, for bars.
    at_risk
        Numbers at risk as (x, n), printed under a survival curve.
    y_range
        Held range of y; else from the data, limits and zero line included.
    """

    title: str
    x_label: str
    y_label: str
    series: tuple[Series, ...]
    caption: str = ""
    limits: tuple[Limit, ...] = ()
    names: tuple[str, ...] = ()
    at_risk: tuple[tuple[X, int], ...] = ()
    y_range: tuple[float, float] | None = None
    width: int = 520
    height: int = 290
    marks: tuple[tuple[X, str], ...] = field(default=())


def _number(x: X) -> float:
    return float(x.toordinal()) if isinstance(x, dt.date) else float(x)


def _finite(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def date_ticks(first: dt.date, last: dt.date, count: int = 6) -> list[dt.date]:
    """First days of months or years, about ``count`` of them, within the range."""
    months = (last.year - first.year) * 12 + last.month - first.month + 1
    steps = (1, 2, 3, 6, 12, 24, 60, 120)
    step = next((s for s in steps if months / s <= count + 1), 240)
    found: list[dt.date] = []
    index = first.year * 12 + first.month - 1
    index = -(-index // step) * step
    while True:
        day = dt.date(index // 12, index % 12 + 1, 1)
        if day > last:
            return found
        if day >= first:
            found.append(day)
        index += step


class _Frame:
    """The chart's inner box and its scales."""

    def __init__(self, chart: Chart, labels_wide: float) -> None:
        points = [p for s in chart.series for p in s.points]
        self.dates = any(isinstance(p.x, dt.date) for p in points)
        self.left, self.top = 58.0, 14.0
        self.right = chart.width - labels_wide - 12.0
        below = 46.0 + (30.0 if chart.at_risk else 0.0)
        self.bottom = chart.height - below
        xs = [_number(p.x) for p in points] + [_number(x) for x, _ in chart.marks]
        if chart.names:
            self.x0, self.x1 = -0.5, len(chart.names) - 0.5
        else:
            self.x0, self.x1 = min(xs), max(xs)
        if self.x1 <= self.x0:
            self.x0, self.x1 = self.x0 - 1, self.x1 + 1
        self.y0, self.y1 = self._y_range(chart, points)
        ticks = nice_ticks(self.y0, self.y1, 5)
        widest = max((len(tick_text(t, ticks)) for t in ticks), default=0)
        self.left = max(self.left, 30.0 + 7.5 * widest)  # room for the y label

    @staticmethod
    def _y_range(chart: Chart, points: Sequence[Point]) -> tuple[float, float]:
        if chart.y_range is not None:
            return chart.y_range
        ys = [
            float(v)
            for p in points
            for v in (p.y, p.low, p.high)
            if v is not None and math.isfinite(v)
        ]
        ys += [limit.y for limit in chart.limits]
        if any(s.kind == "bars" for s in chart.series):
            ys.append(0.0)
        if not ys:
            return 0.0, 1.0
        low, high = min(ys), max(ys)
        room = (high - low) * 0.06 or max(abs(high) * 0.1, 1.0)
        bars = any(s.kind == "bars" for s in chart.series)
        return (
            low if bars and low == 0 else low - room,
            high if bars and high == 0 else high + room,
        )

    def x(self, value: X) -> float:
        share = (_number(value) - self.x0) / (self.x1 - self.x0)
        return self.left + share * (self.right - self.left)

    def y(self, value: float) -> float:
        share = (value - self.y0) / (self.y1 - self.y0)
        held = min(1.0, max(0.0, share))
        return self.bottom - held * (self.bottom - self.top)


def _stretches(points: Sequence[Point]) -> list[list[Point]]:
    """Points between the places without data."""
    runs: list[list[Point]] = [[]]
    for p in points:
        if _finite(p.y):
            runs[-1].append(p)
        else:
            runs.append([])
    return [run for run in runs if run]


def _at(frame: _Frame, x: X, y: float) -> str:
    return f"{short(frame.x(x))} {short(frame.y(y))}"


def _ribbon(run: Sequence[Point], frame: _Frame, colour: str) -> str:
    have = [p for p in run if _finite(p.low) and _finite(p.high)]
    if len(have) < 2:
        return ""
    upper = "L".join(_at(frame, p.x, p.high) for p in have if p.high is not None)
    lower = "L".join(_at(frame, p.x, p.low) for p in have[::-1] if p.low is not None)
    return f'<path d="M{upper}L{lower}z" fill="{colour}" fill-opacity=".16"/>'


def _step_path(run: Sequence[Point], frame: _Frame, which: str) -> str:
    d, before = "", ""
    for p in run:
        value = getattr(p, which)
        if value is None or not math.isfinite(value):
            continue
        x, y = short(frame.x(p.x)), short(frame.y(value))
        d += f"H{x}V{y}" if before else f"M{x} {y}"
        before = y
    return d


def _whiskers(points: Sequence[Point], frame: _Frame, colour: str, dx: float) -> str:
    d = ""
    for p in points:
        if p.low is not None and p.high is not None and _finite(p.low + p.high):
            x = frame.x(p.x) + dx
            top, low = short(frame.y(p.high)), short(frame.y(p.low))
            d += (
                f"M{short(x)} {top}V{low}M{short(x - 3)} {top}h6M{short(x - 3)} {low}h6"
            )
    return (
        f'<path d="{d}" fill="none" stroke="{colour}" stroke-width="1.2"/>' if d else ""
    )


def _spot(place: int, x: float, y: float, colour: str, title: str) -> str:
    """A point's mark; each series has a shape of its own."""
    shapes = (
        '<circle r="3.6"/>',
        '<path d="M-3.6-3.6h7.2v7.2h-7.2z"/>',
        '<path d="M0-4.6L4.4 3.4H-4.4z"/>',
        '<path d="M0-4.8L4.8 0L0 4.8L-4.8 0z"/>',
    )
    told = f"<title>{text_of(title)}</title>" if title else ""
    return (
        f'<g transform="translate({short(x)} {short(y)})" fill="#fff" '
        f'stroke="{colour}" stroke-width="1.6">{told}{shapes[place % len(shapes)]}</g>'
    )


def _series(chart: Chart, frame: _Frame, place: int) -> str:
    series = chart.series[place]
    colour = _COLOURS[place % len(_COLOURS)]
    dash = _DASHES[place % len(_DASHES)]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    line = f'fill="none" stroke="{colour}" stroke-width="2" stroke-linejoin="round"'
    drawn = ""
    if series.kind == "bars":
        return _bar_group(chart, frame, place, colour)
    if series.kind == "points":
        known = [p for p in series.points if _finite(p.y)]
        drawn += _whiskers(known, frame, colour, 0.0)
        return drawn + "".join(
            _spot(place, frame.x(p.x), frame.y(p.y), colour, p.title)
            for p in known
            if p.y is not None
        )
    for run in _stretches(series.points):
        if series.kind == "steps":
            for which in ("low", "high"):
                d = _step_path(run, frame, which)
                if d:
                    drawn += (
                        f'<path d="{d}" fill="none" stroke="{colour}" '
                        'stroke-opacity=".55" stroke-dasharray="2 2"/>'
                    )
            drawn += f'<path d="{_step_path(run, frame, "y")}" {line}{dashed}/>'
            continue
        drawn += _ribbon(run, frame, colour)
        d = "M" + "L".join(_at(frame, p.x, p.y) for p in run if p.y is not None)
        drawn += f'<path d="{d}{"h.1" if len(run) == 1 else ""}" {line}{dashed} '
        drawn += 'stroke-linecap="round"/>'
    return drawn


def _bar_group(chart: Chart, frame: _Frame, place: int, colour: str) -> str:
    groups = [i for i, s in enumerate(chart.series) if s.kind == "bars"]
    slot = (frame.right - frame.left) / max(len(chart.names), 1)
    wide = min(46.0, slot * 0.72 / len(groups))
    dx = (groups.index(place) - (len(groups) - 1) / 2) * wide
    zero = frame.y(max(frame.y0, min(frame.y1, 0.0)))
    drawn = ""
    for p in chart.series[place].points:
        if p.y is None or not math.isfinite(p.y):
            x = short(frame.x(p.x) + dx)
            drawn += (
                f'<text x="{x}" y="{short(zero - 5)}" text-anchor="middle" '
                'fill-opacity=".8">no data</text>'
            )
            continue
        y = frame.y(p.y)
        told = f"<title>{text_of(p.title)}</title>" if p.title else ""
        drawn += (
            f'<rect x="{short(frame.x(p.x) + dx - wide / 2 + 1)}" '
            f'y="{short(min(y, zero))}" width="{short(wide - 2)}" '
            f'height="{short(abs(zero - y))}" fill="{colour}" '
            f'fill-opacity="{".75" if place == 0 else ".45"}">{told}</rect>'
        )
    return drawn + _whiskers(chart.series[place].points, frame, "currentColor", dx)


def _axes(chart: Chart, frame: _Frame) -> str:
    left, right, bottom = short(frame.left), short(frame.right), short(frame.bottom)
    drawn = ""
    ticks = nice_ticks(frame.y0, frame.y1, 5)
    for t in ticks:
        y = short(frame.y(t))
        drawn += (
            f'<path d="M{left} {y}H{right}" stroke="currentColor" '
            f'stroke-opacity="{".5" if t == 0 else ".12"}"/>'
            f'<text x="{short(frame.left - 7)}" y="{short(frame.y(t) + 4)}" '
            f'text-anchor="end">{tick_text(t, ticks)}</text>'
        )
    drawn += f'<path d="M{left} {bottom}H{right}" stroke="currentColor"/>'
    for x, words in _x_ticks(chart, frame):
        drawn += (
            f'<path d="M{short(x)} {bottom}v4" stroke="currentColor"/>'
            f'<text x="{short(x)}" y="{short(frame.bottom + 17)}" '
            f'text-anchor="middle">{text_of(words)}</text>'
        )
    middle = short((frame.left + frame.right) / 2)
    across = short((frame.top + frame.bottom) / 2)
    drawn += (
        f'<text x="{middle}" y="{short(frame.bottom + 36)}" text-anchor="middle" '
        f'fill-opacity=".85">{text_of(chart.x_label)}</text>'
        f'<text transform="translate(13 {across}) rotate(-90)" text-anchor="middle" '
        f'fill-opacity=".85">{text_of(chart.y_label)}</text>'
    )
    return drawn


def _x_ticks(chart: Chart, frame: _Frame) -> list[tuple[float, str]]:
    if chart.names:
        return [(frame.x(float(i)), name) for i, name in enumerate(chart.names)]
    if frame.dates:
        first = dt.date.fromordinal(math.ceil(frame.x0))
        last = dt.date.fromordinal(math.floor(frame.x1))
        days = date_ticks(first, last)
        yearly = all(day.month == 1 for day in days) and len(days) > 1
        return [(frame.x(d), f"{d:%Y}" if yearly else f"{d:%b %Y}") for d in days]
    ticks = nice_ticks(frame.x0, frame.x1, 6)
    return [(frame.x(t), tick_text(t, ticks)) for t in ticks]


def _limits(chart: Chart, frame: _Frame) -> str:
    drawn = ""
    for limit in chart.limits:
        if not frame.y0 <= limit.y <= frame.y1:
            continue
        y = frame.y(limit.y)
        drawn += (
            f'<path d="M{short(frame.left)} {short(y)}H{short(frame.right)}" '
            'stroke="currentColor" stroke-dasharray="5 4" stroke-width="1.2"/>'
            f'<text x="{short(frame.left + 6)}" y="{short(y - 4)}"'
            ' stroke="#fff" stroke-width="3" paint-order="stroke">'
            f"{text_of(limit.label)}</text>"
        )
    for x, words in chart.marks:
        at = frame.x(x)
        drawn += (
            f'<path d="M{short(at)} {short(frame.top)}V{short(frame.bottom)}" '
            'stroke="currentColor" stroke-opacity=".5" stroke-dasharray="1 3"/>'
            f'<text x="{short(at + 4)}" y="{short(frame.top + 9)}" stroke="#fff" '
            f'stroke-width="3" paint-order="stroke">{text_of(words)}</text>'
        )
    return drawn


def _labels(chart: Chart, frame: _Frame) -> str:
    """Each series' name at its last value, moved apart where two would meet."""
    named = []
    for i, s in enumerate(chart.series):
        known = [p for p in s.points if _finite(p.y)]
        if s.label and known and known[-1].y is not None:
            named.append((frame.y(known[-1].y), i, s.label))
    drawn, last = "", -99.0
    for y, i, label in sorted(named):
        spot = max(y + 4, last + 14)
        last = spot
        drawn += (
            f'<text x="{short(frame.right + 8)}" y="{short(spot)}" '
            f'fill="{_COLOURS[i % len(_COLOURS)]}" font-weight="bold">'
            f"{text_of(label)}</text>"
        )
    return drawn


def _at_risk(chart: Chart, frame: _Frame) -> str:
    if not chart.at_risk:
        return ""
    y = short(frame.bottom + 60)
    drawn = f'<text x="2" y="{y}" fill-opacity=".85">at risk</text>'
    for x, n in chart.at_risk:
        drawn += (
            f'<text x="{short(frame.x(x))}" y="{y}" text-anchor="middle">{n:,}</text>'
        )
    return drawn


def chart_summary(chart: Chart) -> str:
    """The chart in a sentence: its text alternative."""
    parts = []
    for s in chart.series:
        known = [p for p in s.points if _finite(p.y)]
        if not known:
            parts.append(f"{s.label}: no data")
            continue
        ys = [p.y for p in known if p.y is not None]
        ticks = nice_ticks(min(ys), max(ys), 20)
        low, high = (tick_text(v, ticks) for v in (min(ys), max(ys)))
        count = f"{len(known)} value" + ("" if len(known) == 1 else "s")
        name = f"{s.label}: " if s.label else ""
        parts.append(f"{name}{count}, {low} to {high}")
    limits = ", ".join(limit.label for limit in chart.limits)
    text = f"{chart.y_label} by {chart.x_label}. " + "; ".join(parts)
    return text + (f"; limits {limits}." if limits else ".")


def chart_svg(chart: Chart, *, chart_id: str) -> str:
    """The chart as a ``figure`` with its drawing and caption.

    Without a single value it says "no data" in place of axes.
    """
    key = text_of(chart_id)
    caption = (
        f"<figcaption>{text_of(chart.caption)}</figcaption>" if chart.caption else ""
    )
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" width="100%" '
        f'viewBox="0 0 {chart.width} {chart.height}" font-size="12.5" '
        f'fill="currentColor" role="img" aria-labelledby="{key}-t {key}-d">'
        f'<title id="{key}-t">{text_of(chart.title)}</title>'
        f'<desc id="{key}-d">{text_of(chart_summary(chart))}</desc>'
    )
    if not any(_finite(p.y) for s in chart.series for p in s.points):
        body = (
            f'<text x="{chart.width // 2}" y="{chart.height // 2}" '
            'text-anchor="middle" font-size="14">no data</text>'
        )
        return f'<figure class="chart-figure">{head}{body}</svg>{caption}</figure>'
    direct = [s.label for s in chart.series if s.label]
    labels_wide = max((7.2 * len(label) for label in direct), default=0.0)
    frame = _Frame(chart, min(labels_wide + 8, chart.width * 0.3) if direct else 4.0)
    body = _axes(chart, frame) + _limits(chart, frame)
    body += "".join(_series(chart, frame, i) for i in range(len(chart.series)))
    body += _labels(chart, frame) + _at_risk(chart, frame)
    return f'<figure class="chart-figure">{head}{body}</svg>{caption}</figure>'
