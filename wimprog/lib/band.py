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
from collections.abc import Iterable

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
)
from wimprog.lib.band_past import (
    KEEP,
    PRINT_WIDTH,
    TINT_WORDS,
    TINTS,
    UNITS_WIDE,
    Layout,
    Scale,
    Size,
    defs_body,
    draw_bars,
    draw_calibrations,
    draw_drift,
    draw_months,
    draw_ticks,
    layout,
    pattern_id,
    stroke_path,
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


def band_defs_svg() -> str:
    """Patterns and shapes that every band on a page refers to; print it once."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="0" height="0" '
        f'aria-hidden="true" class="band-defs"><defs>{defs_body()}</defs></svg>'
    )


# --- the future -------------------------------------------------------------------
def _survival(band: Band, scale: Scale, lay: Layout, size: Size) -> str:
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
    top = lay.bars_y + (12 if size == "row" else 16)  # flags have the room above
    tall = lay.months_y + lay.months_h - top
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
    label = ""
    if size != "row":
        last = points[-1]
        words = f"{format_number(100 * last.probability, 0)} % by {last.day:%b %Y}"
        y = xy[-1][1] + 16
        if y < tall - 20:
            words = f'<tspan class="band-long">{words}</tspan>'
            label = _halo(
                scale.pct(last.day), top + y, words, ' text-anchor="end" dx="-3"'
            )
    area = f"{line}L{short(xy[-1][0])} {tall}L{short(xy[0][0])} {tall}z"
    return (
        f'<svg x="{short(100 * begin)}%" y="{top}" width="{short(100 * rest)}%" '
        f'height="{tall}" viewBox="0 0 100 {tall}" preserveAspectRatio="none">'
        f'<path d="{area}" fill="url(#wim-fade)"/>'
        f'<path d="{line}" fill="none" stroke="url(#wim-fade-line)" stroke-width="2" '
        f"{KEEP}/></svg>{label}"
    )


def _halo(x: str, y: float, body: str, attributes: str = "") -> str:
    """Lettering that stays readable over lines."""
    return (
        f'<text x="{x}" y="{short(y)}" stroke="#fff" stroke-width="3" '
        f'stroke-opacity=".75" paint-order="stroke" stroke-linejoin="round"'
        f"{attributes}>{body}</text>"
    )


def _ahead(band: Band, scale: Scale, lay: Layout, size: Size) -> str:
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
            f' fail\u00a0<tspan class="band-long">{years}</tspan>'
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


def _captions(band: Band, scale: Scale, lay: Layout) -> str:
    tolerance = format_number(band.tolerance_pct, 1).removesuffix(".0")
    line = f'<tspan class="band-long">; line: {text_of(band.drift_label)}</tspan>'
    lines = (
        (lay.bars_y, "Sensors"),
        (lay.ticks_y, "Electrical tests"),
        (lay.drift_y, f"◇ gross weight bias at calibration{line}"),
        (lay.months_y, "Accepted share of each month"),
    )
    drawn = "".join(
        f'<text x="0" y="{y - 5}" fill-opacity=".8">{body}</text>' for y, body in lines
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
            'fill-opacity=".8"><tspan class="band-long">Chance of </tspan>still '
            "working</text>"
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
    lay = layout(size, len(present))
    wide = PRINT_WIDTH if size == "print" else UNITS_WIDE
    scale = Scale(band, lay, wide, 0 if size == "row" else 1)
    whiskers, diamonds = draw_calibrations(band, scale)
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
    fixed = (
        f' viewBox="0 0 {PRINT_WIDTH} {lay.height}" '
        'font-family="DejaVu Sans, sans-serif"'
    )
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="band band-{size}" {width} '
            f'height="{lay.height}"{fixed if size == "print" else ""} font-size="11" '
            f'fill="currentColor" role="img" aria-labelledby="{key}-t {key}-d">'
            f'<title id="{key}-t">{text_of(title)}</title>'
            f'<desc id="{key}-d">{text_of(band_summary(band))}</desc>',
            f"<defs>{defs_body()}</defs>" if size == "print" else "",
            _survival(band, scale, lay, size),
            f'<svg width="100%" height="{lay.height}" viewBox="0 0 {wide} {lay.height}"'
            ' preserveAspectRatio="none">',
            stroke_path(years, 'stroke="currentColor" stroke-opacity=".13"'),
            draw_months(band, scale, lay),
            draw_ticks(band, scale, lay),
            "" if band.is_empty else draw_drift(band, scale, size),
            whiskers,
            "</svg>",
            draw_bars(band, scale, lay, rows),
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
        (small(box.format(f"url(#{pattern_id(t)})", "")), t)
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
    tints = [f'" fill-opacity="{tint}' for _, tint in TINTS]
    for tint, words in zip(tints, TINT_WORDS, strict=False):
        key.append((small(box.format(BLUE + tint, "")), f"accepted {words}"))
    key.append((small(box.format("#fff", "")), "month without data"))
    key.append((small('<use href="#wim-flag" x="2" y="2"/>', 14), "due"))
    return key
