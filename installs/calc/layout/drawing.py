"""The outline of an array as an SVG drawing, to scale.

The same drawing serves the screen, the field sheet and the as-built PDF: it is drawn
with presentation attributes only, without classes, style attributes or scripts. Travel
runs from left to right, the lane's right edge below its left edge.
"""

from __future__ import annotations

import math
import re

from installs.calc.layout.types import (
    Box,
    Disc,
    Ink,
    Measure,
    Outline,
    Stroke,
    Words,
)
from installs.calc.types import Technology
from wimprog.lib.svg import nice_ticks, short, text_of
from wimprog.lib.units import M_PER_FT, UnitSystem

INK = "#1a1a1a"
RULE = "#6b6b6b"
ROAD = "#f4f4f1"
PAPER = "#ffffff"
FONT = "DejaVu Sans, Arial, sans-serif"

#: Hatches by technology, as in the history band, on a tile of 6 × 6.
_HATCHES: dict[Technology, str] = {
    Technology.POLYMER_PIEZO: "M-1 1L1-1M-1 7L7-1M5 7L7 5",
    Technology.QUARTZ_PIEZO: "M1.5 .2v2.6M.2 1.5h2.6M4.5 3.2v2.6M3.2 4.5h2.6",
    Technology.CERAMIC_PIEZO: "M-1 5L1 7M-1-1L7 7M5-1L7 1",
    Technology.BENDING_PLATE: "M0 0",
    Technology.LOAD_CELL: "M-1-1L7 7M-1 7L7-1",
    Technology.STRAIN_GAUGE_STRIP: "M1.5 0v6M4.5 0v6",
    Technology.INDUCTIVE_LOOP: "M0 1.5h6M0 4.5h6",
    Technology.TEMPERATURE_PROBE: "M0 3h3",
}
_STROKES: dict[Ink, str] = {
    Ink.LANE_LINE: f'stroke="{INK}" stroke-width="2.5" stroke-dasharray="14 10"',
    Ink.EDGE_LINE: f'stroke="{INK}" stroke-width="2.5"',
    Ink.PAVEMENT_EDGE: f'stroke="{RULE}" stroke-width="1" stroke-dasharray="3 3"',
    Ink.CONDUIT: f'stroke="{INK}" stroke-width="1" stroke-dasharray="2 2"',
    Ink.REFERENCE: f'stroke="{INK}" stroke-width="1.6" stroke-dasharray="12 3 2 3"',
}
_LEFT, _FOOT, _LEVEL = 16.0, 46.0, 20.0
_ACROSS_LEVEL = 26.0


def drawing_svg(
    outline: Outline,
    *,
    drawing_id: str,
    width: int = 960,
    font_size: int = 13,
    system: UnitSystem = UnitSystem.SI,
) -> str:
    """An outline as one SVG element.

    Parameters
    ----------
    outline
        From :func:`installs.calc.layout.outline.outline`.
    drawing_id
        Begins the ids inside; give each drawing of a page its own (letters, digits
        and hyphens).
    width
        Width of the view box; lettering is ``font_size`` in the same units. 960 with 13
        suits a page, 520 with 17 a telephone.
    system
        Units of the scale bar.

    Raises
    ------
    ValueError
        When ``drawing_id`` could not be an id, or the width leaves no room.
    """
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", drawing_id):
        raise ValueError("a drawing's id is a letter, then letters, digits, hyphens")
    sheet = _Sheet(outline, drawing_id, width, font_size)
    body = "".join(sheet.draw(part) for part in outline.parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="100%" '
        f'viewBox="0 0 {width} {sheet.height}" font-family="{FONT}" '
        f'font-size="{font_size}" fill="{INK}" role="img" '
        f'aria-labelledby="{drawing_id}-title {drawing_id}-desc">'
        f'<title id="{drawing_id}-title">{text_of(outline.title)}</title>'
        f'<desc id="{drawing_id}-desc">{text_of(outline.description)}</desc>'
        f"{sheet.defs()}"
        f'<rect width="{width}" height="{sheet.height}" fill="{PAPER}"/>'
        f"{body}{sheet.scale_bar(system)}</svg>"
    )


class _Sheet:
    """Metres to the drawing's units, and each kind of part as SVG."""

    def __init__(
        self, outline: Outline, drawing_id: str, width: int, font_size: int
    ) -> None:
        measures = [part for part in outline.parts if isinstance(part, Measure)]
        above = 1 + max([m.level for m in measures if m.is_along], default=-1)
        beside = 1 + max([m.level for m in measures if not m.is_along], default=-1)
        self._outline = outline
        self._id = drawing_id
        self._width = width
        self._font = font_size
        self._top = 12.0 + above * (_LEVEL + font_size - 13)
        right = 10.0 + beside * (_ACROSS_LEVEL + font_size - 13)
        long = outline.along_m[1] - outline.along_m[0]
        tall = outline.across_m[1] - outline.across_m[0]
        self._scale = (width - _LEFT - right) / long
        if self._scale <= 0:
            raise ValueError("the drawing is too narrow for its dimensions")
        self._bottom = self._top + tall * self._scale
        self._right = width - right
        self.height = math.ceil(self._bottom + _FOOT)

    def _x(self, along_m: float) -> float:
        return _LEFT + (along_m - self._outline.along_m[0]) * self._scale

    def _y(self, across_m: float) -> float:
        return self._top + (self._outline.across_m[1] - across_m) * self._scale

    def defs(self) -> str:
        """The hatch of the technology."""
        hatch = _HATCHES.get(self._outline.technology, "M0 3l3-3l3 3l-3 3z")
        return (
            f'<defs><pattern id="{self._id}-hatch" width="6" height="6" '
            f'patternUnits="userSpaceOnUse"><rect width="6" height="6" '
            f'fill="#e2e2de"/><path d="{hatch}" fill="none" stroke="{INK}" '
            f'stroke-width="1"/></pattern></defs>'
        )

    def draw(self, part: Box | Stroke | Disc | Words | Measure) -> str:
        """One part."""
        if isinstance(part, Box):
            return self._box(part)
        if isinstance(part, Stroke):
            return self._stroke(part)
        if isinstance(part, Disc):
            return self._disc(part)
        if isinstance(part, Words):
            x = self._x(part.along_m) + part.nudge_em * self._font
            y = self._y(part.across_m)
            text = self._fitting(part.text, part.short_text, part.room_m)
            turned = part.turned and text == part.text
            gap = self._gap(x, y, text, turned=turned) if part.on_hatch else ""
            return gap + self._words(x, y, text, turned=turned)
        return self._along(part) if part.is_along else self._across(part)

    def _rect(self, box: Box, least: float, look: str) -> str:
        """A rectangle that stays visible however thin it is, about its own middle."""
        wide = max(box.length_m * self._scale, least)
        tall = max(box.width_m * self._scale, least)
        x = self._x(box.along_m + box.length_m / 2.0) - wide / 2.0
        y = self._y(box.across_m + box.width_m / 2.0) - tall / 2.0
        title = f"<title>{text_of(box.title)}</title>" if box.title else ""
        return (
            f'<rect x="{short(x)}" y="{short(y)}" width="{short(wide)}" '
            f'height="{short(tall)}" {look}>{title}</rect>'
        )

    def _box(self, box: Box) -> str:
        if box.ink in (Ink.LANE, Ink.SHOULDER):
            fill = ROAD if box.ink is Ink.LANE else PAPER
            return self._rect(box, 0.0, f'fill="{fill}"')
        if box.ink is Ink.LOOP:
            line = f'fill="none" stroke="{INK}"'
            return self._rect(box, 4.0, f'{line} stroke-width="3.6"') + self._rect(
                box, 4.0, f'fill="none" stroke="{PAPER}" stroke-width="1.2"'
            )
        if box.ink is Ink.SENSOR:
            look = f'fill="url(#{self._id}-hatch)" stroke="{INK}" stroke-width="1.2"'
            return self._rect(box, 5.0, look)
        if box.ink is Ink.LEAD_IN:
            return self._rect(box, 1.4, f'fill="{INK}"')
        if box.ink is Ink.TRENCH:
            look = f'fill="none" stroke="{RULE}" stroke-dasharray="6 3"'
            return self._rect(box, 3.0, look)
        return self._rect(box, 8.0, f'fill="{PAPER}" stroke="{INK}" stroke-width="2"')

    def _stroke(self, line: Stroke) -> str:
        x1, y1 = self._x(line.begin[0]), self._y(line.begin[1])
        x2, y2 = self._x(line.end[0]), self._y(line.end[1])
        if line.ink is Ink.TRAFFIC:
            return (
                f'<path d="M{short(x1)} {short(y1 - 4)}H{short(x2 - 16)}v-8'
                f"L{short(x2)} {short(y2)}L{short(x2 - 16)} {short(y2 + 12)}v-8"
                f'H{short(x1)}z" fill="{PAPER}" stroke="{INK}" stroke-width="1.2">'
                f"<title>{text_of(line.title)}</title></path>"
            )
        return (
            f'<line x1="{short(x1)}" y1="{short(y1)}" x2="{short(x2)}" '
            f'y2="{short(y2)}" {_STROKES[line.ink]}><title>{text_of(line.title)}'
            "</title></line>"
        )

    def _disc(self, disc: Disc) -> str:
        x, y = self._x(disc.along_m), self._y(disc.across_m)
        r = max(disc.diameter_m / 2.0 * self._scale, 5.0)
        return (
            f'<circle cx="{short(x)}" cy="{short(y)}" r="{short(r)}" fill="{PAPER}" '
            f'stroke="{INK}" stroke-width="1.6"><title>{text_of(disc.title)}</title>'
            f'</circle><path d="M{short(x - r)} {short(y)}h{short(2 * r)}'
            f'M{short(x)} {short(y - r)}v{short(2 * r)}" fill="none" stroke="{INK}"/>'
        )

    def _wide(self, text: str) -> float:
        """About how long lettering is, in the drawing's units."""
        return 0.62 * self._font * len(text)

    def _fitting(self, text: str, short_text: str, room_m: float) -> str:
        """The text, or its short stand-in where there is no room for it."""
        is_long = self._wide(text) > room_m * self._scale
        return short_text if short_text and is_long else text

    def _gap(self, x: float, y: float, text: str, *, turned: bool = False) -> str:
        """Paper under lettering that breaks a dimension line."""
        long, tall = self._wide(text) + 4.0, float(self._font)
        wide, high = (tall, long) if turned else (long, tall)
        return (
            f'<rect x="{short(x - wide / 2.0)}" y="{short(y - high / 2.0)}" '
            f'width="{short(wide)}" height="{short(high)}" fill="{PAPER}"/>'
        )

    def _words(self, x: float, y: float, text: str, *, turned: bool = False) -> str:
        """Lettering centred at a point, with a halo so that lines do not cross it."""
        middle = y + 0.35 * self._font
        turn = f' transform="rotate(-90 {short(x)} {short(y)})"' if turned else ""
        place = f'x="{short(x)}" y="{short(middle)}" text-anchor="middle"{turn}'
        told = text_of(text)
        return (
            f'<text {place} fill="none" stroke="{PAPER}" stroke-width="3.5" '
            f'stroke-linejoin="round" aria-hidden="true">{told}</text>'
            f"<text {place}>{told}</text>"
        )

    def _along(self, measure: Measure) -> str:
        """A dimension above the lane, from the reference line to a place."""
        level = _LEVEL + self._font - 13
        y = self._top - 6.0 - level * measure.level
        x1, x2 = self._x(measure.from_m), self._x(measure.to_m)
        foot = self._y(measure.reach_m)
        head = 5.0 if x2 > x1 else -5.0
        lines = (
            f"M{short(x2)} {short(foot)}V{short(y - 4)}"
            f"M{short(x1)} {short(self._y(self._outline.across_m[1]))}V{short(y - 4)}"
            f"M{short(x1)} {short(y)}H{short(x2)}"
        )
        arrow = f"M{short(x2)} {short(y)}l{short(-head)} -3v6z"
        return (
            f'<path d="{lines}" fill="none" stroke="{RULE}" stroke-width=".8"/>'
            f'<path d="{arrow}" fill="{RULE}"/>'
            + self._gap((x1 + x2) / 2.0, y, measure.text)
            + self._words((x1 + x2) / 2.0, y, measure.text)
        )

    def _across(self, measure: Measure) -> str:
        """A dimension across the road, beside it."""
        level = _ACROSS_LEVEL + self._font - 13
        x = self._right + 14.0 + level * measure.level
        y1, y2 = self._y(measure.from_m), self._y(measure.to_m)
        room_m = measure.to_m - measure.from_m
        text = self._fitting(measure.text, measure.short_text, room_m)
        lines = (
            f"M{short(x)} {short(y1)}V{short(y2)}"
            f"M{short(self._right)} {short(y1)}H{short(x + 4)}"
            f"M{short(self._right)} {short(y2)}H{short(x + 4)}"
        )
        arrows = f"M{short(x)} {short(y1)}l-3 -5h6zM{short(x)} {short(y2)}l-3 5h6z"
        return (
            f'<path d="{lines}" fill="none" stroke="{RULE}" stroke-width=".8"/>'
            f'<path d="{arrows}" fill="{RULE}"/>'
            + self._gap(x, (y1 + y2) / 2.0, text, turned=True)
            + self._words(x, (y1 + y2) / 2.0, text, turned=True)
        )

    def scale_bar(self, system: UnitSystem) -> str:
        """A bar of a round length, in whole feet or metres."""
        unit_m, symbol = (M_PER_FT, "ft") if system is UnitSystem.US else (1.0, "m")
        room = (self._right - _LEFT) / 4.0 / self._scale / unit_m
        length = max([t for t in nice_ticks(0.0, room, 2) if t > 0], default=1.0)
        x, y = _LEFT + 4.0, self._bottom + 16.0
        wide = length * unit_m * self._scale
        told = f"{length:g} {symbol}"
        note = f"{told}, to scale; dimensions are from the reference line"
        if x + wide + 8.0 + self._wide(note) > self._width:
            note = f"{told}, to scale"
        return (
            f'<path d="M{short(x)} {short(y - 5)}v10M{short(x)} {short(y)}'
            f'h{short(wide)}m0 -5v10M{short(x + wide / 2)} {short(y - 3)}v6" '
            f'fill="none" stroke="{INK}" stroke-width="1.4"/>'
            f'<text x="{short(x + wide + 8)}" y="{short(y + 0.35 * self._font)}">'
            f"{note}</text>"
        )
