"""Words of the layout that models store and people read."""

from __future__ import annotations

from enum import StrEnum

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
        """Loops, sensors and plates lie in the lane; the rest is for their leads."""
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


class Filling(StrEnum):
    """What a slot is filled with."""

    GROUT = "grout"
    SEALANT = "sealant"


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


class GoesBy(StrEnum):
    """Whose temperature a maker's table goes by."""

    PAVEMENT = "pavement"
    AIR = "air"
    RESIN = "resin"


class BetweenRows(StrEnum):
    """How a maker's temperature table is read between two of its rows."""

    STEPS = "steps"
    STRAIGHT_LINES = "straight lines"

    @property
    def told(self) -> str:
        """What is done between two rows, as people are asked for it."""
        return {
            BetweenRows.STEPS: "take the safer row",
            BetweenRows.STRAIGHT_LINES: "draw a straight line",
        }[self]


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
