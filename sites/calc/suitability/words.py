"""Values, limits and gaps in words, in the program's unit system."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wimprog.lib.units import (
    KM_PER_MILE,
    MM_PER_IN,
    UNITS,
    UnitSystem,
    format_number,
)

AT_LIMIT_FRAC = 1e-9
"""Share of the limit within which a value counts as equal to it.

Wide enough for the rounding of 5,700 ft to metres and back, far too narrow for any
measurement.
"""

_MAX_DIGITS = 6
_EXACT_DIGITS = 4


@dataclass(frozen=True)
class Scale:
    """How one kind of quantity is shown.

    Attributes
    ----------
    si, us
        Unit's symbol in either unit system.
    us_per_si
        What one SI unit is in the US customary unit.
    """

    si: str
    us: str
    us_per_si: float = 1.0

    def shown(
        self, value_si: float, system: UnitSystem, digits: int | None = None
    ) -> str:
        """The value with its unit; as many decimals as its size asks for.

        >>> LENGTH.shown(1737.36, UnitSystem.US)
        '5,700 ft'
        """
        is_us = system == UnitSystem.US
        value = value_si * self.us_per_si if is_us else value_si
        places = _digits(value) if digits is None else digits
        return f"{_trimmed(value, places)} {self.symbol(system)}".rstrip()

    def symbol(self, system: UnitSystem) -> str:
        """Symbol of the unit in which a system shows it."""
        return self.us if system == UnitSystem.US else self.si

    def to_si(self, number: float, system: UnitSystem) -> float:
        """A number in a system's unit, in the SI unit."""
        return number / self.us_per_si if system == UnitSystem.US else number

    def exact(self, value_si: float, system: UnitSystem) -> str:
        """The value with enough decimals to be the one that was typed.

        A value that no few decimals give exactly (typed in the other unit system) is
        shown as :meth:`shown` does.

        >>> PERCENT.exact(1.375, UnitSystem.US)
        '1.375 %'
        """
        is_us = system == UnitSystem.US
        value = value_si * self.us_per_si if is_us else value_si
        for digits in range(_digits(value), _EXACT_DIGITS + 1):
            if is_equal(round(value, digits), value):
                return self.shown(value_si, system, digits)
        return self.shown(value_si, system)

    def against(self, value_si: float, limit_si: float, system: UnitSystem) -> str:
        """The value, with enough decimals that it does not look like the limit.

        1,737.2 m is 5,699.5 ft: rounded, it would seem to be the 5,700 ft that it
        misses.
        """
        limits = self.shown(limit_si, system), self.exact(limit_si, system)
        shown = self.shown(value_si, system)
        if is_equal(value_si, limit_si):
            return limits[1]
        digits = 1
        while shown in limits and digits <= _MAX_DIGITS:
            shown = self.shown(value_si, system, digits)
            digits += 1
        return shown


PERCENT = Scale("%", "%")
LENGTH = Scale("m", "ft", UNITS["ft"].from_si(1.0))
SHORT_LENGTH = Scale("mm", "in", UNITS["in"].from_si(1.0))
SPEED = Scale("km/h", "mph", UNITS["mph"].from_si(1.0))
ROUGHNESS = Scale("m/km", "in/mi", 1000.0 * KM_PER_MILE / MM_PER_IN)
DEFLECTION = Scale("× 0.01 mm", "mil", 0.01 / MM_PER_IN * 1000.0)
TRUCKS = Scale("trucks a day", "trucks a day")
YEARS = Scale("years", "years")
SECONDS = Scale("s", "s")
DECELERATION = Scale("m/s²", "ft/s²", UNITS["ft"].from_si(1.0))


def is_equal(value: float, limit: float) -> bool:
    """Whether a value counts as equal to a limit."""
    return math.isclose(value, limit, rel_tol=AT_LIMIT_FRAC, abs_tol=1e-12)


def listed(names: Sequence[str], last: str = "and") -> str:
    """Names as a sentence lists them: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def counted(n: int, one: str, many: str = "") -> str:
    """A number and its noun: "1 condition", "2 conditions"."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def ordinal(n: int) -> str:
    """1st, 2nd, 3rd, 11th."""
    suffix = "th"
    if n % 100 not in (11, 12, 13):
        suffix = {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th")
    return f"{n}{suffix}"


def _digits(value: float) -> int:
    size = abs(value)
    if size >= 100:
        return 0
    if size >= 10:
        return 1
    return 2 if size >= 1 else 3


def _trimmed(value: float, digits: int) -> str:
    text = format_number(value, digits)
    return text.rstrip("0").rstrip(".") if "." in text else text
