"""An array in its lane: positions from the one reference line, and what cannot be.

Loops and frames are measured to their upstream edge, sawn slots to their centre line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations, groupby, pairwise

from installs.calc.layout.limits import check_positive
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    ElementKind,
    HoleRule,
    LayoutCheck,
    PositionRow,
)
from installs.calc.types import Technology
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.units import Kind, UnitSystem, format_number, shown_unit

_K = ElementKind
#: The usual order along the travel, like kinds side by side told once. Common practice,
#: no source; another order is questioned, never refused.
USUAL_ORDER: dict[Technology, tuple[ElementKind, ...]] = {
    Technology.POLYMER_PIEZO: (_K.LOOP, _K.AXLE_SENSOR, _K.LOOP, _K.AXLE_SENSOR),
    Technology.QUARTZ_PIEZO: (_K.LOOP, _K.AXLE_SENSOR, _K.LOOP, _K.AXLE_SENSOR),
    Technology.CERAMIC_PIEZO: (_K.LOOP, _K.AXLE_SENSOR, _K.LOOP, _K.AXLE_SENSOR),
    Technology.STRAIN_GAUGE_STRIP: (_K.LOOP, _K.AXLE_SENSOR, _K.LOOP, _K.AXLE_SENSOR),
    Technology.BENDING_PLATE: (_K.LOOP, _K.PLATE, _K.LOOP),
    Technology.LOAD_CELL: (_K.LOOP, _K.PLATE, _K.LOOP),
    Technology.INDUCTIVE_LOOP: (_K.LOOP,),
}

#: Two edges nearer than this touch; they do not overlap.
TOUCH_M = 0.001
#: A lead-in slot ends at its sensor or hole when it comes this near.
REACH_M = 0.3
#: An array longer than this is more likely a slip of units.
ODD_LENGTH_M = 60.0


# --- positions ---------------------------------------------------------------------


def positions_table(layout: ArrayLayout) -> tuple[PositionRow, ...]:
    """Every element of the lane with its place, in order along the travel."""
    rows: list[PositionRow] = []
    last: dict[ElementKind, float] = {}
    for number, one in enumerate(layout.in_lane, start=1):
        before = last.get(one.kind)
        rows.append(
            PositionRow(
                number=number,
                name=one.name,
                kind=one.kind,
                measured_to=(
                    "centre line" if one.kind.is_sawn_on_its_centre else "upstream edge"
                ),
                measured_m=one.measured_m,
                start_m=one.start_m,
                end_m=one.end_m,
                across_from_m=one.across_from_m,
                across_to_m=one.across_to_m,
                from_previous_m=None if before is None else one.measured_m - before,
            )
        )
        last[one.kind] = one.measured_m
    return tuple(rows)


def controller_spacing_m(layout: ArrayLayout) -> float | None:
    """The distance that speed is measured over, in metres.

    From the first axle sensor to the last, where there are two along the travel; else
    from the first loop to the last. None when neither is there twice.
    """
    for kind in (ElementKind.AXLE_SENSOR, ElementKind.LOOP):
        found = [one.measured_m for one in layout.of_kind(kind)]
        if found and max(found) - min(found) > TOUCH_M:
            return max(found) - min(found)
    return None


def lead_length_m(element: ArrayElement, layout: ArrayLayout) -> float:
    """Length of an element's lead to the cabinet, square to the road, without slack.

    From its right end to the exit hole that makes the way shortest, and on to the
    cabinet; without a hole, straight to the cabinet. In metres.
    """
    begin = (element.centre_m, element.across_from_m)
    cabinet = (layout.cabinet_along_m, -layout.cabinet_from_edge_m)
    holes = [(h.centre_m, h.across_centre_m) for h in layout.of_kind(_K.EXIT_HOLE)]
    if not holes:
        return _square_way(begin, cabinet)
    return min(_square_way(begin, hole) + _square_way(hole, cabinet) for hole in holes)


def _square_way(a: tuple[float, float], b: tuple[float, float]) -> float:
    return abs(a[0] - b[0]) + abs(a[1] - b[1])


# --- what cannot be, and what looks odd --------------------------------------------


def check_layout(
    layout: ArrayLayout,
    *,
    hole_rule: HoleRule | None = None,
    system: UnitSystem = UnitSystem.SI,
) -> LayoutCheck:
    """Faults that a layout cannot be built with, and questions about the unusual.

    Parameters
    ----------
    layout
        The array. A complaint's row is the element's place in it, counting from 1.
    hole_rule
        Where exit holes are looked for; the usual one when None.
    system
        Units of the messages.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the lane's width is not above zero or the shoulder's is below it.
    """
    check_positive("lane width", layout.lane_width_m)
    if not (math.isfinite(layout.shoulder_width_m) and layout.shoulder_width_m >= 0):
        raise DomainError("The paved shoulder's width is below zero or not a number.")
    tell = _Telling(layout, system)
    broken = tuple(_broken(layout.elements, tell))
    if broken or not layout.elements:
        none = Complaint(
            "The array has no elements yet.",
            remedy="Begin with the usual array of the technology and move its parts.",
        )
        return LayoutCheck(broken or (none,), ())
    rule = hole_rule or HoleRule()
    faults = [
        *_twice_named(layout, tell),
        *_out_of_lane(layout, tell),
        *_overlaps(layout, tell),
        *_crossings(layout, tell),
        *_off_pavement(layout, tell),
    ]
    questions = [
        *_order_questions(layout, tell),
        *_hole_questions(layout, rule, tell),
        *_lead_questions(layout, tell),
    ]
    return LayoutCheck(tuple(faults), tuple(questions))


class _Telling:
    """Lengths in people's units and complaints with their place in the list."""

    def __init__(self, layout: ArrayLayout, system: UnitSystem) -> None:
        self._unit = shown_unit(Kind.LENGTH, system)
        self._rows = {id(one): i for i, one in enumerate(layout.elements, start=1)}

    def length(self, value_m: float) -> str:
        return f"{format_number(self._unit.from_si(value_m), 2)} {self._unit.symbol}"

    def complaint(
        self,
        one: ArrayElement,
        message: str,
        *,
        field: str,
        value_m: float | None = None,
        expected: str = "",
        remedy: str = "",
    ) -> Complaint:
        return Complaint(
            f"“{one.name}” {message}",
            row=self._rows[id(one)],
            field=field,
            value="" if value_m is None else self.length(value_m),
            expected=expected,
            remedy=remedy,
        )


def _broken(elements: Sequence[ArrayElement], tell: _Telling) -> Iterator[Complaint]:
    for one in elements:
        numbers = (one.start_m, one.length_m, one.across_from_m, one.across_to_m)
        if not all(math.isfinite(x) for x in numbers):
            yield tell.complaint(one, "has a place that is no number.", field="start_m")
        elif one.length_m <= 0:
            yield tell.complaint(
                one,
                "has no extent along the travel.",
                field="length_m",
                value_m=one.length_m,
                expected="more than zero",
            )
        elif one.across_width_m <= 0:
            yield tell.complaint(
                one,
                "ends across the lane where it begins, or before.",
                field="across_to_m",
                value_m=one.across_to_m,
                expected=f"more than {tell.length(one.across_from_m)}",
                remedy="Measure both from the lane's right edge.",
            )


def _twice_named(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    seen: set[str] = set()
    for one in layout.elements:
        name = one.name.strip().casefold()
        if name in seen:
            yield tell.complaint(
                one, "is the name of two things.", field="name", remedy="Rename one."
            )
        seen.add(name)


def _out_of_lane(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    expected = f"0 to {tell.length(layout.lane_width_m)} from the lane's right edge"
    for one in layout.elements:
        if not one.kind.is_in_lane:
            continue
        ends = (
            ("across_from_m", one.across_from_m, one.across_from_m < -TOUCH_M),
            (
                "across_to_m",
                one.across_to_m,
                one.across_to_m > layout.lane_width_m + TOUCH_M,
            ),
        )
        for field, value, is_out in ends:
            if is_out:
                yield tell.complaint(
                    one,
                    "reaches out of the lane.",
                    field=field,
                    value_m=value,
                    expected=expected,
                    remedy="Move it, or correct the lane's width or the unit.",
                )


def _overlap_m(a: ArrayElement, b: ArrayElement) -> tuple[float, float]:
    """How far two rectangles overlap along and across; below zero is a gap."""
    along = min(a.end_m, b.end_m) - max(a.start_m, b.start_m)
    across = min(a.across_to_m, b.across_to_m) - max(a.across_from_m, b.across_from_m)
    return along, across


def _overlaps(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    for a, b in combinations(layout.in_lane, 2):
        along, across = _overlap_m(a, b)
        if along > TOUCH_M and across > TOUCH_M:
            yield tell.complaint(
                b,
                f"overlaps “{a.name}” by {tell.length(along)} along the travel.",
                field="start_m",
                value_m=b.start_m,
                expected=f"{tell.length(a.end_m)} or more",
                remedy="Move one of them.",
            )


def _crossings(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    for slot in layout.of_kind(_K.LEAD_IN_SLOT):
        for one in layout.in_lane:
            along, across = _overlap_m(slot, one)
            if along > TOUCH_M and across > TOUCH_M:
                yield tell.complaint(
                    slot,
                    f"is cut through “{one.name}”.",
                    field="start_m",
                    value_m=slot.start_m,
                    expected="a way around it that ends at its edge",
                )


def _off_pavement(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    edge = -layout.shoulder_width_m
    for one in layout.of_kind(_K.EXIT_HOLE, _K.LEAD_IN_SLOT):
        if one.across_from_m < edge - TOUCH_M:
            yield tell.complaint(
                one,
                f"reaches beyond the pavement edge, {tell.length(edge)} from the "
                "lane's right edge.",
                field="across_from_m",
                value_m=one.across_from_m,
                expected=f"{tell.length(edge)} or more",
                remedy="Move it, or correct the shoulder's width.",
            )
    if layout.cabinet_from_edge_m < layout.shoulder_width_m:
        yield Complaint(
            "The cabinet would stand on the pavement.",
            field="cabinet_from_edge_m",
            value=tell.length(layout.cabinet_from_edge_m),
            expected=f"more than {tell.length(layout.shoulder_width_m)} from the "
            "lane's right edge, and outside the clear zone of the local code",
        )


def _order_questions(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    kinds = [one.kind for one in layout.in_lane if one.kind is not _K.TEMPERATURE_PROBE]
    found = tuple(kind for kind, _ in groupby(kinds))
    usual = USUAL_ORDER.get(layout.technology)
    if usual and found != usual:
        yield Complaint(
            f"Along the travel lie {', '.join(found) or 'no sensors'}.",
            field="start_m",
            expected=f"{', '.join(usual)}, the usual order for {layout.technology}",
            remedy="Leave it if the contract drawing says so.",
        )
    listed = [one for one in layout.elements if one.kind.is_in_lane]
    for a, b in pairwise(listed):
        if b.end_m < a.start_m + TOUCH_M:
            yield tell.complaint(
                b,
                f"is listed after “{a.name}” but lies before it.",
                field="start_m",
                value_m=b.start_m,
                remedy="Check its distance from the reference line, and the names.",
            )
    reach = max(one.end_m for one in layout.elements) - min(
        one.start_m for one in layout.elements
    )
    if reach > ODD_LENGTH_M:
        yield Complaint(
            "The array is very long; is a place given in another unit?",
            field="start_m",
            value=tell.length(reach),
            expected=f"less than {tell.length(ODD_LENGTH_M)}",
        )


def _hole_questions(
    layout: ArrayLayout, rule: HoleRule, tell: _Telling
) -> Iterator[Complaint]:
    for hole in layout.of_kind(_K.EXIT_HOLE):
        away = hole.across_centre_m + layout.shoulder_width_m
        if away < 0:
            continue  # beyond the edge: already a fault
        if abs(away - rule.from_pavement_edge_m) > rule.give_m + TOUCH_M:
            yield tell.complaint(
                hole,
                "is not where a hole usually is.",
                field="across_from_m",
                value_m=away,
                expected=f"about {tell.length(rule.from_pavement_edge_m)} from the "
                f"pavement edge ({rule.source})",
            )
        if hole.across_to_m > TOUCH_M:
            yield tell.complaint(
                hole,
                "lies in the lane, where wheels run.",
                field="across_to_m",
                value_m=hole.across_to_m,
                expected="a place on the shoulder",
            )


def _lead_questions(layout: ArrayLayout, tell: _Telling) -> Iterator[Complaint]:
    slots = layout.of_kind(_K.LEAD_IN_SLOT)
    holes = layout.of_kind(_K.EXIT_HOLE)
    for one in layout.in_lane:
        if not any(min(_overlap_m(one, slot)) >= -REACH_M for slot in slots):
            yield tell.complaint(
                one,
                "has no lead-in slot that reaches it.",
                field="start_m",
                remedy="Add a lead-in slot from it to an exit hole.",
            )
    for slot in slots:
        if not any(min(_overlap_m(slot, hole)) >= -REACH_M for hole in holes):
            yield tell.complaint(
                slot,
                "ends at no exit hole.",
                field="across_from_m",
                value_m=slot.across_from_m,
                remedy="Add the hole, or lengthen the slot.",
            )
