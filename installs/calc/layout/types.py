"""Words of the layout room, and what it takes and gives; no numpy, no Django.

The enums are the choices of the models: the stored word is the word that people read.
Places on the road are in metres in one frame: ``along`` runs with the traffic from the
reference line; ``across`` runs from the lane's right edge, seen with the traffic, to
its left edge. The shoulder and the cabinet are therefore at negative ``across``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Interval, Judgement

#: Standing of a figure that the trade uses and no document was found for.
COMMON_PRACTICE = "common practice, no source"
#: Standing of a figure that each agency has to set for itself.
AGENCY_OWN = "agency's own, change it"


class ElementKind(StrEnum):
    """What lies in the road or beside it (PlanElement's choices)."""

    LOOP = "loop"
    AXLE_SENSOR = "axle sensor"
    PLATE = "plate or scale"
    TEMPERATURE_PROBE = "temperature probe"
    LEAD_IN_SLOT = "lead-in slot"
    EXIT_HOLE = "exit hole"
    TRENCH = "trench"

    @property
    def is_in_lane(self) -> bool:
        """Loops, sensors and plates lie in the lane; the rest leads their leads away."""
        return self in _IN_LANE

    @property
    def is_sawn_on_its_centre(self) -> bool:
        """Slots are sawn about a centre line; loops and frames from their edge."""
        return self in (ElementKind.AXLE_SENSOR, ElementKind.TEMPERATURE_PROBE)


_IN_LANE = (
    ElementKind.LOOP,
    ElementKind.AXLE_SENSOR,
    ElementKind.PLATE,
    ElementKind.TEMPERATURE_PROBE,
)


class WorkStep(StrEnum):
    """Steps of the work on the road, as far as they take material or time."""

    TRAFFIC_SET_UP = "setting up traffic control"
    LAYOUT = "layout"
    EXIT_HOLE = "exit hole and conduit"
    SAW_CUTTING = "saw cutting"
    CLEANING = "cleaning and drying"
    PREPARATION = "sensor preparation and bench test"
    SETTING = "setting the sensor"
    POURING = "mixing and pouring"
    CURING = "curing"
    GRINDING = "grinding and sealing"
    LEAD_IN = "lead-in and cabinet connection"
    FINAL_TEST = "final electrical test"
    TRAFFIC_TAKE_DOWN = "taking down traffic control"


class BetweenRows(StrEnum):
    """How a maker's temperature table is read between two of its rows."""

    STEPS = "steps"
    STRAIGHT_LINES = "straight lines"


class SquareMeasure(StrEnum):
    """What a tolerance of squareness is told in."""

    unit: str

    ANGLE = "angle from square", "°"
    FAR_EDGE = "offset at the far edge", "mm"

    def __new__(cls, word: str, unit: str = "") -> SquareMeasure:
        """Keep the word as the value, the unit as an attribute."""
        measure = str.__new__(cls, word)
        measure._value_ = word
        measure.unit = unit
        return measure


# --- the reference line ------------------------------------------------------------


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
