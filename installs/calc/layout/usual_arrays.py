"""The usual array of each technology, to begin a plan with.

Common practice, no source: every place and size is there to be changed to the contract
drawing and the maker's instructions. Places are whole feet, or whole 0.3 m where people
measure in metres, so that they fall on the marks of the tape.
"""

from __future__ import annotations

from dataclasses import replace

from installs.calc.layout.limits import check_positive
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    ElementKind,
    HoleRule,
)
from installs.calc.types import Technology
from wimprog.lib.errors import DomainError
from wimprog.lib.units import M_PER_FT, UnitSystem

_K = ElementKind
_STEP_M = {UnitSystem.US: M_PER_FT, UnitSystem.SI: 0.3}
#: Eight steps of paved shoulder, and the cabinet twenty from the lane's right edge:
#: 8 ft and 20 ft, or 2.4 m and 6 m. Common practice, no source.
_SHOULDER_STEPS, _CABINET_STEPS = 8, 20

#: Sawn sensors: slot width, slot depth (2 in, or more for deep bodies) [mm] and
#: cross-section of the body [mm²].
_SAWN: dict[Technology, tuple[float, float, float]] = {
    Technology.POLYMER_PIEZO: (19.0, 50.8, 12.0),
    Technology.CERAMIC_PIEZO: (19.0, 50.8, 80.0),
    Technology.QUARTZ_PIEZO: (72.0, 57.0, 2600.0),
    Technology.STRAIN_GAUGE_STRIP: (76.0, 76.0, 3000.0),
}
#: Extent along the travel [m], pit depth [mm], cross-section of the frame [mm²].
_FRAMED: dict[Technology, tuple[float, float, float]] = {
    Technology.BENDING_PLATE: (0.51, 100.0, 40_000.0),
    Technology.LOAD_CELL: (0.96, 300.0, 250_000.0),
}
#: What a sensor of each is called, with its number in the lane.
_WORD = {
    Technology.POLYMER_PIEZO: "piezo",
    Technology.CERAMIC_PIEZO: "piezo",
    Technology.QUARTZ_PIEZO: "quartz",
    Technology.STRAIN_GAUGE_STRIP: "strip",
}
#: Sensors that come in halves, one for each wheel path.
_IN_HALVES = (Technology.QUARTZ_PIEZO, Technology.STRAIN_GAUGE_STRIP)
_PLATE_WIDTH_M = 1.75
_LOOP_SLOT_MM = (10.0, 50.8)
_LEAD_SLOT_MM = (10.0, 50.8)
_TRENCH_MM = (300.0, 450.0)
#: A second lead of one row is cut this far downstream of it.
_BESIDE_M = 0.1


def usual_array(
    technology: Technology,
    *,
    lane_width_m: float,
    shoulder_width_m: float | None = None,
    cabinet_from_edge_m: float | None = None,
    staggered: bool = False,
    system: UnitSystem = UnitSystem.SI,
) -> ArrayLayout:
    """The usual array of a technology, with its leads, holes and trench.

    Parameters
    ----------
    technology
        Sensors in sawn slots lie loop, sensor, loop, sensor; plates and scales lie
        between two loops; loops alone are a pair for speed.
    lane_width_m, shoulder_width_m, cabinet_from_edge_m
        Widths, and the cabinet's distance from the lane's right edge [m]; the usual
        shoulder and distance of the system when None.
    staggered
        The two plates one behind the other instead of side by side.
    system
        Whole feet, or whole 0.3 m.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the lane is too narrow for the array, or the technology has none.
    """
    check_positive("lane width", lane_width_m)
    step = _STEP_M[system]
    if shoulder_width_m is None:
        shoulder_width_m = round(_SHOULDER_STEPS * step, 9)
    if cabinet_from_edge_m is None:
        cabinet_from_edge_m = round(_CABINET_STEPS * step, 9)
    if lane_width_m < 7.0 * step:
        raise DomainError(
            f"A lane of {lane_width_m:.4g} m is too narrow for a loop of "
            f"{6.0 * step:.4g} m; check the width and its unit."
        )
    if technology in _SAWN:
        lane = _sawn_array(technology, lane_width_m, step)
    elif technology in _FRAMED:
        lane = _framed_array(technology, lane_width_m, step, staggered)
    elif technology is Technology.INDUCTIVE_LOOP:
        lane = [_loop(i, 12.0 * step * (i - 1), lane_width_m, step) for i in (1, 2)]
    else:
        raise DomainError(f"There is no usual array for a {technology}.")
    cabinet_along_m = max(one.end_m for one in lane) / 2.0
    return ArrayLayout(
        technology=technology,
        lane_width_m=lane_width_m,
        shoulder_width_m=shoulder_width_m,
        elements=(
            *lane,
            *_ways_out(lane, shoulder_width_m, cabinet_along_m, cabinet_from_edge_m),
        ),
        cabinet_along_m=cabinet_along_m,
        cabinet_from_edge_m=cabinet_from_edge_m,
    )


def _loop(
    number: int, start_m: float, lane_width_m: float, step: float
) -> ArrayElement:
    side = 6.0 * step
    right = (lane_width_m - side) / 2.0
    return ArrayElement(
        _K.LOOP, f"loop {number}", start_m, side, right, right + side,
        *_LOOP_SLOT_MM, turns=4,
    )  # fmt: skip


def _sawn_array(
    technology: Technology, lane_width_m: float, step: float
) -> list[ArrayElement]:
    found = []
    for number, loop_at, sensor_at in ((1, 0.0, 9.0), (2, 12.0, 21.0)):
        found.append(_loop(number, loop_at * step, lane_width_m, step))
        found += _row(technology, number, sensor_at * step, lane_width_m, step)
    return found


def _row(
    technology: Technology,
    number: int,
    centre_m: float,
    lane_width_m: float,
    step: float,
) -> list[ArrayElement]:
    """One sensor over the lane less half a step at each end, or two halves of it."""
    width_mm, depth_mm, area_mm2 = _SAWN[technology]
    length = width_mm / 1000.0
    name = f"{_WORD[technology]} {number}"
    whole = ArrayElement(
        _K.AXLE_SENSOR, name, centre_m - length / 2.0, length,
        0.5 * step, lane_width_m - 0.5 * step, width_mm, depth_mm, area_mm2,
    )  # fmt: skip
    if technology not in _IN_HALVES:
        return [whole]
    middle = lane_width_m / 2.0
    return [
        replace(whole, name=f"{name} right", across_to_m=middle),
        replace(whole, name=f"{name} left", across_from_m=middle),
    ]


def _framed_array(
    technology: Technology, lane_width_m: float, step: float, staggered: bool
) -> list[ArrayElement]:
    length, depth_mm, area_mm2 = _FRAMED[technology]
    word = "plate" if technology is Technology.BENDING_PLATE else "scale"
    first = 9.0 * step
    second = first + (12.0 * step if staggered else 0.0)
    width = min(_PLATE_WIDTH_M, lane_width_m / 2.0)
    middle = lane_width_m / 2.0
    last_loop = second + 6.0 * step
    return [
        _loop(1, 0.0, lane_width_m, step),
        ArrayElement(
            _K.PLATE, f"{word} right", first, length, middle - width, middle,
            length * 1000.0, depth_mm, area_mm2,
        ),
        ArrayElement(
            _K.PLATE, f"{word} left", second, length, middle, middle + width,
            length * 1000.0, depth_mm, area_mm2,
        ),
        _loop(2, last_loop, lane_width_m, step),
    ]  # fmt: skip


def _ways_out(
    lane: list[ArrayElement],
    shoulder_width_m: float,
    cabinet_along_m: float,
    cabinet_from_edge_m: float,
) -> list[ArrayElement]:
    """Lead-in slots, exit holes in line with them, and the trench to the cabinet."""
    rule = HoleRule()
    hole_m = rule.diameter_mm / 1000.0
    edge = -shoulder_width_m
    # on a narrow shoulder the hole moves outwards, but stays on the pavement
    hole_at = max(edge + hole_m, min(edge + rule.from_pavement_edge_m, edge / 2.0))
    slot_m = _LEAD_SLOT_MM[0] / 1000.0
    slots: list[ArrayElement] = []
    holes: list[ArrayElement] = []
    for one in lane:
        in_the_way = [
            other
            for other in lane
            if other is not one
            and other.across_to_m <= one.across_from_m + 1e-9
            and other.start_m < one.centre_m < other.end_m
        ]
        at = (
            max(other.end_m for other in in_the_way) + _BESIDE_M
            if in_the_way
            else one.centre_m
        )
        slots.append(
            ArrayElement(
                _K.LEAD_IN_SLOT, f"lead-in {one.name}", at - slot_m / 2.0, slot_m,
                min(hole_at, one.across_from_m - slot_m),
                one.across_from_m + (_BESIDE_M if in_the_way else 0.0),
                *_LEAD_SLOT_MM,
            )
        )  # fmt: skip
        holes.append(
            ArrayElement(
                _K.EXIT_HOLE, f"hole {len(holes) + 1}", at - hole_m / 2.0, hole_m,
                hole_at - hole_m / 2.0, hole_at + hole_m / 2.0, rule.diameter_mm,
            )
        )  # fmt: skip
    return [*slots, *holes, *_trenches(
        holes, shoulder_width_m, cabinet_along_m, cabinet_from_edge_m
    )]  # fmt: skip


def _trenches(
    holes: list[ArrayElement],
    shoulder_width_m: float,
    cabinet_along_m: float,
    cabinet_from_edge_m: float,
) -> list[ArrayElement]:
    """One along the pavement edge past every hole, one from there to the cabinet."""
    wide = _TRENCH_MM[0] / 1000.0
    outer = -shoulder_width_m - 2.0 * wide
    begin = min([h.start_m for h in holes] + [cabinet_along_m - wide / 2.0])
    end = max([h.end_m for h in holes] + [cabinet_along_m + wide / 2.0])
    along = ArrayElement(
        _K.TRENCH, "trench along the edge", begin, end - begin, outer, outer + wide,
        *_TRENCH_MM,
    )  # fmt: skip
    if -cabinet_from_edge_m >= outer:
        return [along]
    return [
        along,
        ArrayElement(
            _K.TRENCH, "trench to the cabinet", cabinet_along_m - wide / 2.0, wide,
            -cabinet_from_edge_m, outer, *_TRENCH_MM,
        ),
    ]  # fmt: skip
