"""The drawing of an array in metres: what is drawn where, before any picture is made.

Pure geometry. Every along dimension is drawn from the one reference line, the shortest
nearest to the lane. :mod:`installs.calc.layout.drawing` makes a picture of it.
"""

from __future__ import annotations

from collections.abc import Iterator

from installs.calc.layout.array import positions_table
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    Box,
    Disc,
    ElementKind,
    Ink,
    Measure,
    Outline,
    Primitive,
    Stroke,
    Words,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.units import Kind, UnitSystem, format_si

_K = ElementKind
#: Road shown before the first and after the last part of the array.
_MARGIN_M = 1.5
_CABINET_M = 0.8
#: A sensor at least this long along the travel has room for its name inside.
_ROOM_M = 0.4


def outline(layout: ArrayLayout, *, system: UnitSystem = UnitSystem.SI) -> Outline:
    """Everything that the drawing of a layout shows, in metres.

    Parameters
    ----------
    layout
        The array; :func:`installs.calc.layout.array.check_layout` should find no fault.
    system
        Units of the dimensions.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When nothing lies in the lane.
    """
    if not layout.in_lane:
        raise DomainError(
            "There is nothing in the lane to draw; add the array's sensors first."
        )
    first = min([0.0] + [one.start_m for one in layout.elements])
    last = max(one.end_m for one in layout.elements)
    along = (
        min(first, layout.cabinet_along_m - _CABINET_M) - _MARGIN_M,
        max(last, layout.cabinet_along_m + _CABINET_M) + _MARGIN_M,
    )
    across = (
        -max(layout.cabinet_from_edge_m, layout.shoulder_width_m) - _CABINET_M - 0.4,
        layout.lane_width_m + 0.3,
    )
    parts = (
        *_road(layout, along),
        *_ways_out(layout),
        *_in_lane(layout),
        *_reference(layout),
        *_along_measures(layout, system),
        *_across_measures(layout, system),
    )
    return Outline(
        parts=parts,
        along_m=along,
        across_m=across,
        technology=layout.technology,
        title=f"{layout.technology} array, seen from above".capitalize(),
        description=_description(layout, system),
    )


def _told(value_m: float, system: UnitSystem) -> str:
    digits = 2 if system is UnitSystem.US else 3
    return format_si(value_m, Kind.LENGTH, system, digits=digits)


def _road(layout: ArrayLayout, along: tuple[float, float]) -> Iterator[Primitive]:
    begin, length = along[0], along[1] - along[0]
    lane, shoulder = layout.lane_width_m, layout.shoulder_width_m
    if shoulder > 0:
        yield Box(begin, -shoulder, length, shoulder, Ink.SHOULDER)
    yield Box(begin, 0.0, length, lane, Ink.LANE)
    yield Stroke((begin, lane), (along[1], lane), Ink.LANE_LINE, "lane line, left")
    yield Stroke((begin, 0.0), (along[1], 0.0), Ink.EDGE_LINE, "edge line, right")
    yield Stroke(
        (begin, -shoulder), (along[1], -shoulder), Ink.PAVEMENT_EDGE, "pavement edge"
    )
    yield Stroke(
        (begin + 0.2, lane / 2.0),
        (begin + 1.1, lane / 2.0),
        Ink.TRAFFIC,
        "direction of traffic",
    )


def _box(one: ArrayElement, ink: Ink) -> Box:
    return Box(
        one.start_m, one.across_from_m, one.length_m, one.across_width_m, ink, one.name
    )


def _ways_out(layout: ArrayLayout) -> Iterator[Primitive]:
    trenches = layout.of_kind(_K.TRENCH)
    for trench in trenches:
        yield _box(trench, Ink.TRENCH)
    for slot in layout.of_kind(_K.LEAD_IN_SLOT):
        yield _box(slot, Ink.LEAD_IN)
    for hole in layout.of_kind(_K.EXIT_HOLE):
        yield Disc(
            hole.centre_m, hole.across_centre_m, hole.length_m, Ink.HOLE, hole.name
        )
        past = [
            t.across_to_m
            for t in trenches
            if t.start_m <= hole.centre_m <= t.end_m
            and t.across_to_m < hole.across_from_m
        ]
        if past:
            yield Stroke(
                (hole.centre_m, hole.across_centre_m),
                (hole.centre_m, max(past)),
                Ink.CONDUIT,
                f"conduit from {hole.name}",
            )
    edge, at = -layout.cabinet_from_edge_m, layout.cabinet_along_m
    half = _CABINET_M / 2.0
    yield Box(
        at - half, edge - _CABINET_M, _CABINET_M, _CABINET_M, Ink.CABINET, "cabinet"
    )
    yield Words(at + half, edge - half, "cabinet", nudge_em=2.8)


def _in_lane(layout: ArrayLayout) -> Iterator[Primitive]:
    for one in layout.in_lane:
        yield _box(one, Ink.LOOP if one.kind is _K.LOOP else Ink.SENSOR)
    for row in positions_table(layout):
        is_loop = row.kind is _K.LOOP
        is_wide = row.end_m - row.start_m >= _ROOM_M
        yield Words(
            (row.start_m + row.end_m) / 2.0 if is_wide else row.start_m,
            (row.across_from_m + row.across_to_m) / 2.0,
            row.name,
            turned=not is_loop,
            on_hatch=is_wide and not is_loop,
            nudge_em=0.0 if is_wide else -0.9,
            short_text=str(row.number),
            room_m=(
                row.end_m - row.start_m
                if is_loop
                else row.across_to_m - row.across_from_m
            ),
        )


def _reference(layout: ArrayLayout) -> Iterator[Primitive]:
    yield Stroke(
        (0.0, -layout.shoulder_width_m),
        (0.0, layout.lane_width_m),
        Ink.REFERENCE,
        "reference line",
    )
    if layout.shoulder_width_m >= 1.5:
        yield Words(
            0.0,
            -layout.shoulder_width_m / 2.0,
            "reference line",
            turned=True,
            nudge_em=-0.9,
        )


def _along_measures(layout: ArrayLayout, system: UnitSystem) -> Iterator[Measure]:
    """From the reference line to each place, the nearest drawn lowest."""
    reach: dict[float, float] = {}
    for row in positions_table(layout):
        place = round(row.measured_m, 4)
        if abs(place) > 0.0005:
            reach[place] = max(row.across_to_m, reach.get(place, row.across_to_m))
    for level, place in enumerate(sorted(reach, key=abs)):
        yield Measure(True, 0.0, place, level, _told(place, system), reach[place])


def _across_measures(layout: ArrayLayout, system: UnitSystem) -> Iterator[Measure]:
    lane, shoulder = layout.lane_width_m, layout.shoulder_width_m
    cabinet = layout.cabinet_from_edge_m
    for what, from_m, to_m, level in (
        ("lane", 0.0, lane, 0),
        ("shoulder", -shoulder, 0.0, 0),
        ("cabinet", -cabinet, 0.0, 1),
    ):
        if to_m > from_m:
            told = _told(to_m - from_m, system)
            yield Measure(False, from_m, to_m, level, f"{what} {told}", short_text=told)


def _description(layout: ArrayLayout, system: UnitSystem) -> str:
    """The drawing told in words, for those who cannot see it."""
    placed = "; ".join(
        f"{row.name} at {_told(row.measured_m, system)} ({row.measured_to}), "
        f"{_told(row.across_from_m, system)} to {_told(row.across_to_m, system)} across"
        for row in positions_table(layout)
    )
    holes = len(layout.of_kind(_K.EXIT_HOLE))
    lane = _told(layout.lane_width_m, system)
    shoulder = _told(layout.shoulder_width_m, system)
    return (
        f"Traffic runs from left to right in a lane {lane} wide with a paved shoulder "
        f"of {shoulder} on its right. Along from the reference line, and across from "
        f"the lane's right edge: {placed}. {holes} exit hole{'' if holes == 1 else 's'}"
        f"; the cabinet is {_told(layout.cabinet_from_edge_m, system)} from the lane's "
        "right edge."
    )
