"""Units at the edge: SI inside, the program's unit system in front of people.

The only place where 0.45359237 and its friends are written. Definitions are those of
the international yard and pound agreement of 1959 (exact): 1 lb = 0.45359237 kg,
1 ft = 0.3048 m; see NIST Special Publication 811, appendix B.8.

A value that a person typed is kept beside the SI value as a :class:`Typed`, so that
79,980 lb comes back as 79,980 lb.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

KG_PER_LB = 0.45359237
M_PER_FT = 0.3048
MM_PER_IN = 25.4
KMH_PER_MPH = 1.609344
KM_PER_MILE = 1.609344


class UnitSystem(StrEnum):
    """The unit systems a program can show."""

    US = "us"
    SI = "si"


class Kind(StrEnum):
    """Kinds of quantity, each with one SI unit inside."""

    MASS = "mass"
    LENGTH = "length"
    SHORT_LENGTH = "short length"
    DISTANCE = "distance"
    SPEED = "speed"
    TEMPERATURE = "temperature"
    ROUGHNESS = "roughness"
    DEFLECTION = "deflection"


@dataclass(frozen=True)
class Unit:
    """One unit: SI = value × factor + offset."""

    symbol: str
    kind: Kind
    factor: float
    offset: float = 0.0
    digits: int = 1

    def to_si(self, value: float) -> float:
        """The value in the kind's SI unit."""
        return value * self.factor + self.offset

    def from_si(self, value_si: float) -> float:
        """The SI value in this unit."""
        return (value_si - self.offset) / self.factor


UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("kg", Kind.MASS, 1.0, digits=0),
        Unit("t", Kind.MASS, 1000.0, digits=2),
        Unit("lb", Kind.MASS, KG_PER_LB, digits=0),
        Unit("kip", Kind.MASS, KG_PER_LB * 1000.0, digits=2),
        Unit("m", Kind.LENGTH, 1.0, digits=2),
        Unit("ft", Kind.LENGTH, M_PER_FT, digits=1),
        Unit("mm", Kind.SHORT_LENGTH, 1.0, digits=0),
        Unit("cm", Kind.SHORT_LENGTH, 10.0, digits=1),
        Unit("in", Kind.SHORT_LENGTH, MM_PER_IN, digits=2),
        Unit("km", Kind.DISTANCE, 1.0, digits=2),
        Unit("mi", Kind.DISTANCE, KM_PER_MILE, digits=2),
        Unit("km/h", Kind.SPEED, 1.0, digits=0),
        Unit("mph", Kind.SPEED, KMH_PER_MPH, digits=0),
        Unit("°C", Kind.TEMPERATURE, 1.0, digits=1),
        Unit("°F", Kind.TEMPERATURE, 5.0 / 9.0, -160.0 / 9.0, digits=0),
        Unit("m/km", Kind.ROUGHNESS, 1.0, digits=2),
        Unit("in/mi", Kind.ROUGHNESS, MM_PER_IN / (KM_PER_MILE * 1000.0), digits=1),
        Unit("× 0.01 mm", Kind.DEFLECTION, 1.0, digits=1),
        Unit("mil", Kind.DEFLECTION, MM_PER_IN / 10.0, digits=1),
    )
}

_SHOWN: dict[UnitSystem, dict[Kind, str]] = {
    UnitSystem.US: {
        Kind.MASS: "lb",
        Kind.LENGTH: "ft",
        Kind.SHORT_LENGTH: "in",
        Kind.DISTANCE: "mi",
        Kind.SPEED: "mph",
        Kind.TEMPERATURE: "°F",
        Kind.ROUGHNESS: "in/mi",
        Kind.DEFLECTION: "mil",
    },
    UnitSystem.SI: {
        Kind.MASS: "kg",
        Kind.LENGTH: "m",
        Kind.SHORT_LENGTH: "mm",
        Kind.DISTANCE: "km",
        Kind.SPEED: "km/h",
        Kind.TEMPERATURE: "°C",
        Kind.ROUGHNESS: "m/km",
        Kind.DEFLECTION: "× 0.01 mm",
    },
}

# A stored field's name ends in its unit; this is how a name tells its kind. The first
# that fits counts, so a longer ending stands before the one that it ends in.
_SUFFIX_KIND: dict[str, Kind] = {
    "_m_per_km": Kind.ROUGHNESS,
    "_hundredths_mm": Kind.DEFLECTION,
    "_kg": Kind.MASS,
    "_m": Kind.LENGTH,
    "_mm": Kind.SHORT_LENGTH,
    "_km": Kind.DISTANCE,
    "_kmh": Kind.SPEED,
    "_c": Kind.TEMPERATURE,
}


def shown_unit(kind: Kind, system: UnitSystem) -> Unit:
    """The unit in which ``system`` shows quantities of ``kind``."""
    return UNITS[_SHOWN[system][kind]]


def kind_of_field(name: str) -> Kind | None:
    """The kind of quantity that a field's name promises, or None.

    >>> kind_of_field("gvw_kg")
    <Kind.MASS: 'mass'>
    """
    for suffix, kind in _SUFFIX_KIND.items():
        if name.endswith(suffix):
            return kind
    return None


@dataclass(frozen=True)
class Typed:
    """A number as somebody typed it, with the unit that it was typed in."""

    text: str
    unit: str

    @property
    def value_si(self) -> float:
        """The number in the SI unit of its kind."""
        return UNITS[self.unit].to_si(parse_number(self.text))


def parse_number(text: str) -> float:
    """Read a number as people type it: "79,980", "79 980", " 4.5 ".

    A comma is accepted only as a thousands separator in its proper place. "4,5" is
    refused rather than guessed at.

    Raises
    ------
    ValueError
        With a message that says how to write the number.
    """
    cleaned = text.strip().replace("\u00a0", "").replace("\u202f", "").replace("−", "-")
    if "," in cleaned:
        whole, _, fraction = cleaned.lstrip("+-").partition(".")
        groups = whole.split(",")
        well_grouped = (
            1 <= len(groups[0]) <= 3
            and all(len(group) == 3 for group in groups[1:])
            and all(group.isdigit() for group in groups)
            and (not fraction or fraction.isdigit())
        )
        if not well_grouped:
            raise ValueError(
                f"“{text}” is not a number that can be read without guessing; write a "
                "point for decimals (4.5), and a comma only between thousands (79,980)"
            )
        cleaned = cleaned.replace(",", "")
    cleaned = cleaned.replace(" ", "")
    try:
        number = float(cleaned)
    except ValueError:
        raise ValueError(f"“{text}” is not a number; write digits only (4.5)") from None
    if not math.isfinite(number):
        raise ValueError(f"“{text}” is not a finite number")
    return number


def format_number(value: float, digits: int) -> str:
    """A number for people: thousands grouped, a true minus sign, no negative zero.

    >>> format_number(-1234.56, 1)
    '−1,234.6'
    """
    text = f"{round(value, digits) + 0.0:,.{max(digits, 0)}f}"
    return text.replace("-", "−")


def chance_words(chance: float) -> str:
    """A chance in whole per cent; never a flat 0 or 100 for what is neither.

    >>> chance_words(0.004), chance_words(0.25)
    ('< 1 %', '25 %')
    """
    if 0.0 < chance < 0.005:
        return "< 1 %"
    if 0.995 <= chance < 1.0:
        return "> 99 %"
    return f"{format_number(100.0 * chance, 0)} %"


def format_si(
    value_si: float | None,
    kind: Kind,
    system: UnitSystem,
    *,
    digits: int | None = None,
    typed: Typed | None = None,
) -> str:
    """A stored quantity in the program's unit system, with its unit.

    ``typed`` is given back exactly when it was typed in the unit that is shown.
    None is "no data", never zero.
    """
    if value_si is None or not math.isfinite(value_si):
        return "no data"
    unit = shown_unit(kind, system)
    if typed is not None and typed.unit == unit.symbol:
        return f"{typed.text} {unit.symbol}"
    shown = format_number(
        unit.from_si(value_si), unit.digits if digits is None else digits
    )
    return f"{shown} {unit.symbol}"
