"""What each choice of a survey comes to by practice: data of ``common_practice``.

Common practice without a source.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sites.calc.suitability.base import COMMON_PRACTICE, LineState
from sites.calc.suitability.lines import Choice, ChoiceRequirement
from sites.calc.types import (
    Communications,
    Distress,
    Drainage,
    FlowKind,
    LineNearby,
    PullOff,
)

_MEETS = Choice(LineState.MEETS)


def _choice(
    key: str, name: str, field: str, wanted: str, choices: Mapping[Any, Choice]
) -> ChoiceRequirement:
    return ChoiceRequirement(
        key, name, field, wanted, choices, COMMON_PRACTICE, COMMON_PRACTICE
    )


_LINES_OVERHEAD = {
    LineNearby.NONE: _MEETS,
    LineNearby.NEARBY: Choice(
        LineState.MAY,
        "Ask the line's owner for the clearance that lifting and signals need.",
    ),
    LineNearby.IN_THE_WAY: Choice(
        LineState.MISSES,
        "Choose a place clear of the line, or agree with its owner how to work there.",
    ),
}
_LINES_UNDERGROUND = {
    LineNearby.NONE: _MEETS,
    LineNearby.NEARBY: Choice(
        LineState.MAY, "Have the lines located and marked before any cutting."
    ),
    LineNearby.IN_THE_WAY: Choice(
        LineState.MISSES,
        "Move the array or the trench clear of the line; have it located and marked "
        "before any cutting.",
    ),
}

CHOICES = (
    _choice(
        "flow",
        "flow of traffic",
        "flow",
        "free flow",
        {
            FlowKind.FREE: _MEETS,
            FlowKind.SLOWING: Choice(
                LineState.MAY,
                "Choose a place upstream of where traffic slows, or leave the hours "
                "of queues out of the data.",
            ),
            FlowKind.STOP_AND_GO: Choice(
                LineState.MISSES,
                "Choose a place away from junctions, ramps and queues: a truck that "
                "brakes or stops on the sensors is not weighed.",
            ),
        },
    ),
    _choice(
        "drainage",
        "drainage",
        "drainage",
        "drains well",
        {
            Drainage.GOOD: _MEETS,
            Drainage.SLOW: Choice(
                LineState.MAY, "Clear ditches and drains, and look again after rain."
            ),
            Drainage.STANDS: Choice(
                LineState.MISSES,
                "Drain the pavement and the cabinet's place first: standing water "
                "gets into slots, splices and conduits.",
            ),
        },
    ),
    _choice(
        "distress",
        "distress of the pavement",
        "distress_level",
        "none seen",
        {
            Distress.NONE: _MEETS,
            Distress.SLIGHT: Choice(
                LineState.MAY, "Move the slots clear of the distress, or repair it."
            ),
            Distress.SEVERE: Choice(
                LineState.MISSES,
                "Replace the pavement where the sensors would lie: a sensor lives no "
                "longer than what it is set in.",
            ),
        },
    ),
    _choice(
        "pull_off",
        "pull-off",
        "pull_off",
        "firm and clear of traffic",
        {
            PullOff.PAVED: _MEETS,
            PullOff.FIRM: _MEETS,
            PullOff.NARROW: Choice(
                LineState.MAY, "Widen or firm up the pull-off before the work."
            ),
            PullOff.NONE: Choice(
                LineState.MISSES,
                "Build a pull-off clear of traffic, or every visit needs its own "
                "traffic control.",
            ),
        },
    ),
    _choice(
        "communications",
        "communications",
        "communications",
        "wired, or a strong mobile signal",
        {
            Communications.WIRED: _MEETS,
            Communications.MOBILE: _MEETS,
            Communications.WEAK: Choice(
                LineState.MAY, "Try an outside antenna over a week."
            ),
            Communications.NONE: Choice(
                LineState.MISSES,
                "Bring a line or a relay, or plan visits to fetch the records.",
            ),
        },
    ),
    _choice(
        "lines_overhead",
        "overhead lines",
        "lines_overhead",
        "none nearby",
        _LINES_OVERHEAD,
    ),
    _choice(
        "lines_underground",
        "underground lines",
        "lines_underground",
        "none nearby",
        _LINES_UNDERGROUND,
    ),
)
