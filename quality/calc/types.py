"""Words of the records' side that models store and people read."""

from __future__ import annotations

from enum import StrEnum


class DriftShape(StrEnum):
    """How a drift came."""

    STEP = "step"
    RAMP = "ramp"
    UNCLEAR = "step or ramp"


class DriftScope(StrEnum):
    """What moved."""

    SENSOR = "one sensor"
    LANE = "one lane"
    CONTROLLER = "several lanes"
    SITE = "whole site"
    REGION = "whole region"
    UNKNOWN = "cannot say"


class EpisodeState(StrEnum):
    """What became of a drift that was found."""

    OPEN = "open"
    EXPLAINED = "explained"
    CLOSED = "closed"


class CorrectionState(StrEnum):
    """Whether a back-correction may be used."""

    PROPOSED = "proposed"
    ALLOWED = "allowed"
    REFUSED = "refused"
    WITHDRAWN = "withdrawn"
