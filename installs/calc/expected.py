"""What loops and leads should read, from their size, turns and wire.

Feet and US wire gauges, as the formulas are published; callers turn metres into feet.
Rules of thumb to hold a first reading against, not limits.
"""

from __future__ import annotations

import math

from wimprog.lib.errors import DomainError

#: Loop inductance, standing of the formula and of its values.
INDUCTANCE_SOURCE = "rule of thumb for loops, L = P/4 (N² + N), P in feet"
INDUCTANCE_STANDING = "from memory"

#: Resistance of one conductor [Ω per 1000 ft] by its gauge [AWG].
WIRE_OHM_PER_1000_FT = {14: 2.5, 12: 1.6}
WIRE_STANDING = "from memory"
#: Inductance of a twisted lead-in pair [µH per ft], lowest and highest.
LEAD_UH_PER_FT = (0.22, 0.24)


def loop_inductance_uh(perimeter_ft: float, turns: int) -> float:
    """Expected inductance of a loop alone, without its lead-in [µH].

    L = P/4 (N² + N).

    Parameters
    ----------
    perimeter_ft
        Length once around the loop [ft]: 24 for 6 ft by 6 ft.
    turns
        Number of turns.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the perimeter or the turns are not above zero.
    """
    _refuse_unless_positive(perimeter_ft, "perimeter", "ft")
    if turns < 1:
        raise DomainError(f"A loop of {turns} turns cannot be; it has at least one.")
    return perimeter_ft / 4.0 * (turns**2 + turns)


def lead_resistance_ohm(length_ft: float, gauge_awg: int) -> float:
    """Expected resistance of a lead, out and back, at the cabinet [Ω].

    Both conductors of the pair count, so a lead of 500 ft holds 1000 ft of wire.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the length is not above zero, or the gauge is not one of
        :data:`WIRE_OHM_PER_1000_FT`.
    """
    _refuse_unless_positive(length_ft, "lead", "ft")
    if gauge_awg not in WIRE_OHM_PER_1000_FT:
        known = ", ".join(f"#{gauge}" for gauge in sorted(WIRE_OHM_PER_1000_FT))
        raise DomainError(
            f"No resistance is known here for wire #{gauge_awg}; known are {known}. "
            "Take it from the maker's sheet."
        )
    return 2.0 * length_ft * WIRE_OHM_PER_1000_FT[gauge_awg] / 1000.0


def lead_inductance_uh(length_ft: float) -> tuple[float, float]:
    """Lowest and highest inductance that a twisted lead-in adds to its loop [µH].

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the length is not above zero.
    """
    _refuse_unless_positive(length_ft, "lead", "ft")
    low, high = LEAD_UH_PER_FT
    return low * length_ft, high * length_ft


def _refuse_unless_positive(value: float, what: str, unit: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise DomainError(
            f"A {what} of {value:g} {unit} cannot be; give a length above zero."
        )
