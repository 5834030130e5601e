"""Is the reference line square to the lane edge? The right-triangle method.

Forward: marks at 3, 4 and 5 times a step give a right angle. In reverse: tape readings
of the three sides give the angle and its uncertainty, each by
:mod:`installs.calc.layout.triangle`.

Several triangles on one line are combined by their mean weighted by 1/u²; chi-square
with n − 1 degrees of freedom tells whether they agree. They are taken as measured
independently of each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from scipy.special import chdtrc

from installs.calc.layout.limits import (
    check_positive,
    interval_of,
    length_words,
    verdict_within,
)
from installs.calc.layout.triangle import triangle_angle
from installs.calc.layout.types import (
    COMMON_PRACTICE,
    MeasuredTriangle,
    SquareMeasure,
    Squareness,
    SquareTolerance,
    TriangleAngle,
    TriangleMark,
)
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import M_PER_FT, UNITS, Unit, UnitSystem

#: Step of the 3-4-5 marks: whole feet, or 0.3 m where people measure in metres.
MARK_STEP_M = {UnitSystem.US: M_PER_FT, UnitSystem.SI: 0.3}

#: Where the agency has set nothing. Half a degree is 32 mm over 3.66 m; a 9, 12, 15 ft
#: triangle read to 2 mm tells the far edge to ±9 mm, so much less cannot be proved.
DEFAULT_TOLERANCE = SquareTolerance(SquareMeasure.ANGLE, 0.5)
#: Standard deviation of one tape reading, the agency's own.
DEFAULT_TAPE_SD_M = 0.002
#: Distance between the middles of a truck's left and right tyres.
DEFAULT_TRACK_WIDTH_M = 1.9

RULE = (
    "angle by the law of cosines, uncertainty from the tape; the 95 % interval within "
    "the tolerance meets it, wholly outside misses it, across it cannot say"
)
#: A leg into the lane may be longer than the lane is wide by this factor.
_LEG_ROOM = 1.02
#: Triangles that disagree more than chance allows in 1 of 20.
LEAST_P = 0.05


# --- forward: what to mark ---------------------------------------------------------


def triangle_marks(
    lane_width_m: float,
    *,
    system: UnitSystem = UnitSystem.SI,
    step_m: float | None = None,
) -> tuple[TriangleMark, ...]:
    """Marks of 3-4-5 triangles and their multiples up to the lane's width.

    The largest triangle gives the truest line; the smaller ones check it.

    Parameters
    ----------
    lane_width_m
        Width of the lane [m]; no leg into the lane is longer.
    system
        Whole feet for US customary units, else multiples of 0.3 m.
    step_m
        The "1" of 3-4-5 [m], 1.0 for whole metres; overrides ``system``.

    Returns
    -------
    tuple of TriangleMark
        Smallest first: in feet 3, 4, 5; 6, 8, 10; 9, 12, 15 ...

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the lane is narrower than the first leg.
    """
    check_positive("lane width", lane_width_m)
    step = MARK_STEP_M[system] if step_m is None else step_m
    check_positive("step of the marks", step)
    count = math.floor(lane_width_m / (3.0 * step) + 1e-9)
    if count == 0:
        raise DomainError(
            f"The first mark, {3 * step:.4g} m into the lane, is beyond the lane's "
            f"width of {lane_width_m:.4g} m; choose a smaller step."
        )
    return tuple(
        TriangleMark(k, 3 * k * step, 4 * k * step, 5 * k * step)
        for k in range(1, count + 1)
    )


# --- reverse: how square it is ------------------------------------------------------


def squareness(
    leg_into_lane_m: float,
    leg_along_edge_m: float,
    diagonal_m: float,
    *,
    tape_sd_m: float = DEFAULT_TAPE_SD_M,
    lane_width_m: float,
    track_width_m: float = DEFAULT_TRACK_WIDTH_M,
    speed_kmh: float,
    tolerance: SquareTolerance | None = DEFAULT_TOLERANCE,
    leg_points_downstream: bool = True,
    unit: str = "m",
) -> Squareness:
    """How square the reference line is, from one triangle.

    As :func:`combined_squareness` with a single triangle.
    """
    return combined_squareness(
        [MeasuredTriangle(leg_into_lane_m, leg_along_edge_m, diagonal_m)],
        tape_sd_m=tape_sd_m,
        lane_width_m=lane_width_m,
        track_width_m=track_width_m,
        speed_kmh=speed_kmh,
        tolerance=tolerance,
        leg_points_downstream=leg_points_downstream,
        unit=unit,
    )


def combined_squareness(
    triangles: Sequence[MeasuredTriangle],
    *,
    tape_sd_m: float = DEFAULT_TAPE_SD_M,
    lane_width_m: float,
    track_width_m: float = DEFAULT_TRACK_WIDTH_M,
    speed_kmh: float,
    tolerance: SquareTolerance | None = DEFAULT_TOLERANCE,
    leg_points_downstream: bool = True,
    unit: str = "m",
) -> Squareness:
    """How square the reference line is, from all triangles measured on it.

    Parameters
    ----------
    triangles
        One or more, each from the corner where the line meets the lane edge.
    tape_sd_m
        Standard deviation of one tape reading [m].
    lane_width_m, track_width_m
        Widths of the lane and between a truck's left and right tyres [m].
    speed_kmh
        Speed of traffic for the time shift [km/h].
    tolerance
        The agency's; None where nobody has set one.
    leg_points_downstream
        The leg along the edge was laid with the traffic, not against it; all of them.
    unit
        Unit in which messages tell the readings ("ft"); the offset at the far edge is
        judged in inches then, else in mm.

    Returns
    -------
    Squareness
        Its judgement cannot say when the interval lies across the tolerance, or when
        the triangles disagree and not every one of them misses on the same side.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Without a triangle, when a triangle cannot close, or for a size that is not
        above zero.
    """
    if not triangles:
        raise DomainError("Nothing was measured: give at least one triangle.")
    check_positive("lane width", lane_width_m)
    check_positive("track width", track_width_m)
    check_positive("speed", speed_kmh, "km/h")
    angles = tuple(
        _questioned(
            triangle_angle(one, tape_sd_m=tape_sd_m, unit=unit), lane_width_m, unit
        )
        for one in triangles
    )
    mean, u = _weighted_mean(angles)
    chi_square, p_value = _agreement(angles)
    away = 1.0 if leg_points_downstream else -1.0
    deviation = interval_of(mean - 90.0, u)
    ends = [
        _far_edge_mm(90.0 + end, lane_width_m, away)
        for end in (deviation.low, deviation.high)
    ]
    far_edge_mm = _far_edge_mm(mean, lane_width_m, away)
    far_edge = Interval(min(ends), max(ends), deviation.level)
    slope = far_edge_mm / 1000.0 / lane_width_m
    return Squareness(
        triangles=angles,
        angle_deg=mean,
        u_deg=u,
        deviation_deg=deviation,
        far_edge_mm=far_edge_mm,
        far_edge_interval_mm=far_edge,
        wheel_shift_ms=track_width_m * slope / (speed_kmh / 3.6) * 1000.0,
        speed_kmh=speed_kmh,
        track_width_m=track_width_m,
        chi_square=chi_square,
        p_value=p_value,
        disagreeing=_disagreeing(angles, p_value),
        judgement=_judge(
            angles, mean, deviation, far_edge_mm, far_edge, p_value, tolerance,
            lane_width_m, unit,
        ),
    )  # fmt: skip


def _questioned(one: TriangleAngle, lane_width_m: float, unit: str) -> TriangleAngle:
    """The same angle, asking about a leg that the lane has no room for."""
    leg = one.triangle.leg_into_lane_m
    if leg <= lane_width_m * _LEG_ROOM:
        return one
    told, width = length_words(leg, unit), length_words(lane_width_m, unit)
    question = Complaint(
        f"Does the leg into the lane really reach {told} in a lane of {width}?",
        field="leg into the lane",
        value=told,
        expected=f"at most {width}",
        remedy="Check its unit, and which leg is which.",
    )
    return replace(one, questions=(*one.questions, question))


def _far_edge_mm(angle_deg: float, lane_width_m: float, away: float) -> float:
    """Where the line meets the far edge, downstream of square, in millimetres."""
    # an angle below 90° leans towards the leg along the edge; ends of an interval
    # beyond 0° or 180° are held at 1° from them, where the tangent still means much
    held = min(179.0, max(1.0, angle_deg))
    return away * 1000.0 * lane_width_m * math.tan(math.radians(90.0 - held))


def _weighted_mean(angles: Sequence[TriangleAngle]) -> tuple[float, float]:
    weights = [one.u_deg**-2 for one in angles]
    total = math.fsum(weights)
    mean = math.fsum(w * one.angle_deg for w, one in zip(weights, angles, strict=True))
    return mean / total, total**-0.5


def _agreement(angles: Sequence[TriangleAngle]) -> tuple[float | None, float | None]:
    """Chi-square about the weighted mean and the chance of one as large."""
    if len(angles) < 2:
        return None, None
    mean, _ = _weighted_mean(angles)
    chi_square = math.fsum(((one.angle_deg - mean) / one.u_deg) ** 2 for one in angles)
    return chi_square, float(chdtrc(len(angles) - 1, chi_square))


def _disagreeing(angles: Sequence[TriangleAngle], p_value: float | None) -> int | None:
    """The one triangle without which the others agree, when there is just one."""
    if p_value is None or p_value >= LEAST_P or len(angles) < 3:
        return None
    p_without = [
        _agreement([*angles[:i], *angles[i + 1 :]])[1] or 0.0
        for i in range(len(angles))
    ]
    mended = [i for i, p in enumerate(p_without) if p >= LEAST_P]
    return mended[0] if len(mended) == 1 else None


def _judge(
    angles: tuple[TriangleAngle, ...],
    mean: float,
    deviation: Interval,
    far_edge_mm: float,
    far_edge: Interval,
    p_value: float | None,
    tolerance: SquareTolerance | None,
    lane_width_m: float,
    taped_in: str,
) -> Judgement:
    on_angle = tolerance is None or tolerance.measure is SquareMeasure.ANGLE
    measure = SquareMeasure.ANGLE if on_angle else SquareMeasure.FAR_EDGE
    short = UNITS["in" if taped_in in ("ft", "in") else "mm"]
    value = mean - 90.0 if on_angle else short.from_si(far_edge_mm)
    interval = deviation if on_angle else _in_unit(far_edge, short)
    digits = 2 if on_angle else short.digits
    symbol = measure.unit if on_angle else short.symbol
    unit = symbol if on_angle else f" {symbol}"
    told = (
        f"{_signed(value, digits)}{unit} (95 % interval "
        f"{_signed(interval.low, digits)}{unit} to {_signed(interval.high, digits)}"
        f"{unit}, {len(angles)} triangle{'' if len(angles) == 1 else 's'})"
    )
    if tolerance is None:
        verdict, why = Verdict.CANNOT_SAY, "no tolerance has been entered"
        limit = "no tolerance entered"
    else:
        held_to = tolerance.limit if on_angle else short.from_si(tolerance.limit)
        limit = f"within ±{held_to:.4g}{unit}"
        bound_deg = (
            tolerance.limit
            if on_angle
            else math.degrees(math.atan(tolerance.limit / 1000.0 / lane_width_m))
        )
        verdict, why = _verdict(angles, deviation, p_value, bound_deg)
    sentence = f"Reference line {measure} {told}; {limit}: {verdict}"
    return Judgement(
        quantity=str(measure),
        value=value,
        unit=symbol,
        n=len(angles),
        interval=interval,
        rule=f"{RULE} ({tolerance.source})" if tolerance else RULE,
        limit=limit,
        verdict=verdict,
        sentence=f"{sentence} ({why})." if why else f"{sentence}.",
        standing=tolerance.standing if tolerance else "no tolerance entered",
        details=(("3-4-5 triangle", COMMON_PRACTICE),),
    )


def _in_unit(interval: Interval, unit: Unit) -> Interval:
    return Interval(
        unit.from_si(interval.low), unit.from_si(interval.high), interval.level
    )


def _verdict(
    angles: tuple[TriangleAngle, ...],
    deviation: Interval,
    p_value: float | None,
    bound_deg: float,
) -> tuple[Verdict, str]:
    if p_value is not None and p_value < LEAST_P:
        alone = [interval_of(one.deviation_deg, one.u_deg) for one in angles]
        if all(i.low > bound_deg for i in alone) or all(
            i.high < -bound_deg for i in alone
        ):
            return Verdict.MISSES, "the triangles disagree, but each misses alone"
        which = _disagreeing(angles, p_value)
        name = (
            "measure them again"
            if which is None
            else f"measure {angles[which].triangle.name or f'no. {which + 1}'} again"
        )
        return Verdict.CANNOT_SAY, f"the triangles disagree, p = {p_value:.2g}; {name}"
    verdict = verdict_within(deviation, bound_deg)
    if verdict is Verdict.CANNOT_SAY:
        if (deviation.high - deviation.low) / 2.0 > bound_deg:
            return verdict, (
                "the tape readings cannot tell it that closely; measure larger "
                "triangles, more of them, or with a better tape"
            )
        return verdict, "the interval lies across the limit; measure a larger triangle"
    return verdict, ""


def _signed(value: float, digits: int) -> str:
    shown = f"{round(value, digits) + 0.0:+.{digits}f}".replace("-", "−")
    return shown.lstrip("+") if float(shown.replace("−", "-")) == 0 else shown
