"""Which failure modes make sense for which technology (common practice, no source).

Plates and load cells lie in a frame that is anchored to the pavement; strips, piezos,
loops and probes lie in a slot and have neither plate nor anchor. "Unknown" is always an
answer.
"""

from __future__ import annotations

from installs.calc.types import FailureMode, Technology

_IN_A_FRAME = (Technology.BENDING_PLATE, Technology.LOAD_CELL)


def modes_of(technology: Technology | str) -> tuple[FailureMode, ...]:
    """Modes in which a sensor of a technology can fail, "unknown" last."""
    framed = Technology(technology) in _IN_A_FRAME
    return tuple(
        mode
        for mode in FailureMode
        if framed or mode is not FailureMode.PLATE_OR_ANCHOR
    )
