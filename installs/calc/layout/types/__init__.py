"""Words, plain values and results of the layout.

The enums are the choices of the models: the stored word is the word that people read.
Places on the road are in metres in one frame: ``along`` runs with the traffic from the
reference line; ``across`` runs from the lane's right edge, seen with the traffic, to
its left edge. The shoulder and the cabinet are therefore at negative ``across``.

Models import this module, so it imports neither numpy nor scipy.
"""

from installs.calc.layout.types.arrays import (
    ArrayElement,
    ArrayLayout,
    Box,
    Disc,
    HoleRule,
    Ink,
    LayoutCheck,
    Measure,
    Outline,
    PositionRow,
    Primitive,
    Stroke,
    Words,
)
from installs.calc.layout.types.cures import (
    CatalystChoice,
    CatalystStep,
    CureTime,
    ForecastPoint,
    TemperatureWindow,
)
from installs.calc.layout.types.spacings import (
    AxleSpacings,
    LengthCheck,
    SpacingCheck,
    SpacingEffect,
)
from installs.calc.layout.types.squares import (
    MeasuredTriangle,
    Squareness,
    SquareTolerance,
    TriangleAngle,
    TriangleMark,
)
from installs.calc.layout.types.words import (
    AGENCY_OWN,
    COMMON_PRACTICE,
    BetweenRows,
    ElementKind,
    Filling,
    GoesBy,
    SquareMeasure,
    WorkStep,
)
from installs.calc.layout.types.works import (
    ClosurePlan,
    Driver,
    QuantityLine,
    ScheduledStep,
    StepPlan,
    Takeoff,
    WorkFigures,
)

__all__ = [
    "AGENCY_OWN",
    "COMMON_PRACTICE",
    "ArrayElement",
    "ArrayLayout",
    "AxleSpacings",
    "BetweenRows",
    "Box",
    "CatalystChoice",
    "CatalystStep",
    "ClosurePlan",
    "CureTime",
    "Disc",
    "Driver",
    "ElementKind",
    "Filling",
    "ForecastPoint",
    "GoesBy",
    "HoleRule",
    "Ink",
    "LayoutCheck",
    "LengthCheck",
    "Measure",
    "MeasuredTriangle",
    "Outline",
    "PositionRow",
    "Primitive",
    "QuantityLine",
    "ScheduledStep",
    "SpacingCheck",
    "SpacingEffect",
    "SquareMeasure",
    "SquareTolerance",
    "Squareness",
    "StepPlan",
    "Stroke",
    "Takeoff",
    "TemperatureWindow",
    "TriangleAngle",
    "TriangleMark",
    "Words",
    "WorkFigures",
    "WorkStep",
]
