"""Words and plain values of the array in the lane."""

from __future__ import annotations

from enum import StrEnum


class ElementKind(StrEnum):
    """What lies in the road or beside it (PlanElement's choices)."""

    LOOP = "loop"
    AXLE_SENSOR = "axle sensor"
    PLATE = "plate or scale"
    TEMPERATURE_PROBE = "temperature probe"
    LEAD_IN_SLOT = "lead-in slot"
    EXIT_HOLE = "exit hole"
    TRENCH = "trench"
