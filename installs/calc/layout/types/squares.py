"""Triangles measured on a reference line, and how square it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from installs.calc.layout.types.words import AGENCY_OWN, SquareMeasure
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Interval, Judgement


@dataclass(frozen=True)
class TriangleMark:
    """One set of marks of the right-triangle method, in metres.

    ``multiple`` is k of 3k, 4k, 5k.
    """

    multiple: int
    leg_into_lane_m: float
    leg_along_edge_m: float
    diagonal_m: float


@dataclass(frozen=True)
class MeasuredTriangle:
    """Three tape readings from one corner on the lane edge, in metres."""

    leg_into_lane_m: float
    leg_along_edge_m: float
    diagonal_m: float
    name: str = ""


@dataclass(frozen=True)
class SquareTolerance:
    """How far from square the reference line may be, either way.

    ``limit`` is in degrees for an angle, in millimetres for the far edge.
    """

    measure: SquareMeasure
    limit: float
    source: str = AGENCY_OWN
    standing: str = "agency's own"

    def __post_init__(self) -> None:
        """Refuse a tolerance that is not above zero."""
        if not (math.isfinite(self.limit) and self.limit > 0):
            raise DomainError(
                f"A tolerance of {self.limit:g} {self.measure.unit} for the "
                f"{self.measure} cannot be kept; it must be above zero."
            )


@dataclass(frozen=True)
class TriangleAngle:
    """The corner angle of one measured triangle.

    Attributes
    ----------
    angle_deg, u_deg
        Angle between the two legs and its standard uncertainty, in degrees.
    questions
        What looks like a slip of units; the angle was computed all the same.
    """

    triangle: MeasuredTriangle
    angle_deg: float
    u_deg: float
    questions: tuple[Complaint, ...] = ()

    @property
    def deviation_deg(self) -> float:
        """Degrees more than a right angle; negative for less."""
        return self.angle_deg - 90.0


@dataclass(frozen=True)
class Squareness:
    """How square a reference line is, from one or several triangles.

    Attributes
    ----------
    triangles
        The single angles, in the order given.
    angle_deg, u_deg
        Mean weighted by 1/u², and its standard uncertainty, in degrees.
    deviation_deg
        Interval of the angle less 90°.
    far_edge_mm, far_edge_interval_mm
        How far downstream the line's far end lies of where it should, in millimetres;
        negative is upstream.
    wheel_shift_ms
        How much later the wheel on the far side meets the line than the wheel on the
        near side, in milliseconds, at ``speed_kmh`` and ``track_width_m``.
    chi_square, p_value
        Agreement of the triangles with each other; None for a single one.
    disagreeing
        Index of the triangle without which the others agree; None when all agree, or
        when no single one stands out (two triangles cannot tell).
    judgement
        Against the tolerance.
    """

    triangles: tuple[TriangleAngle, ...]
    angle_deg: float
    u_deg: float
    deviation_deg: Interval
    far_edge_mm: float
    far_edge_interval_mm: Interval
    wheel_shift_ms: float
    speed_kmh: float
    track_width_m: float
    chi_square: float | None
    p_value: float | None
    disagreeing: int | None
    judgement: Judgement

    @property
    def is_consistent(self) -> bool:
        """No disagreement between triangles was found (one cannot disagree)."""
        return self.p_value is None or self.p_value >= 0.05

    @property
    def questions(self) -> tuple[Complaint, ...]:
        """What looks like slips of units in any of the triangles."""
        return tuple(q for one in self.triangles for q in one.questions)
