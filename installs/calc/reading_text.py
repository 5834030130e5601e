"""A reading as people write it: "8.04", "> 2,000", "1.2 GΩ", "8040 pF".

The unit may stand behind the number or in the heading of its column; without either it
is the quantity's own. Prefixes keep their case (m is milli, M is mega), for a milliohm
is not a megohm. Nothing is guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from installs.calc.types import ElectricalQuantity
from wimprog.lib.units import UNITS, parse_number

OVER_SIGNS = ("&gt;", ">", "≥")
MOST_TYPED = 32

_POWERS = {"T": 12, "G": 9, "M": 6, "k": 3, "": 0, "m": -3, "µ": -6, "n": -9, "p": -12}
_PREFIXES = {
    "MΩ": ["", "k", "M", "G", "T"],
    "Ω": ["m", "", "k", "M"],
    "nF": ["p", "n", "µ"],
    "µH": ["µ", "m"],
    "mV": ["µ", "m", ""],
    "pC": ["p", "n"],
    "kHz": ["", "k", "M"],
    "mV/V": ["µ", "m"],
}
_BASE = {"mV/V": "V/V"}
_OHM = re.compile(r"ohms?", re.IGNORECASE)
_METER_WORDS = {"ol", "o.l.", "o.l", "ovl", "over", "∞", "inf"}
#: Two signs each for ohm and micro that look alike; ours are omega and micro.
OHM_SIGN, OMEGA = "\u2126", "\u03a9"
MU, MICRO = "\u03bc", "\u00b5"
_LAST_WORD = re.compile(
    f"(?P<number>.*[0-9.])\\s*(?P<unit>[A-Za-z%{MICRO}{MU}{OMEGA}{OHM_SIGN}/]+)"
)


@dataclass(frozen=True)
class ReadValue:
    """A reading in its quantity's unit, with what was written."""

    value: float
    typed: str
    over_range: bool = False


def unit_in_order(text: str) -> str:
    """A unit in one spelling: "Mohm" and "MΩ" (either Ω) alike, "uH" as "µH"."""
    unit = text.strip().replace(OHM_SIGN, OMEGA).replace(MU, MICRO).replace(" ", "")
    unit = _OHM.sub(OMEGA, unit)
    unit = re.sub(r"^u(?=[A-Z])", "µ", unit)
    return re.sub(r"^K(?=[A-ZΩ])", "k", unit)


def units_of(quantity: ElectricalQuantity) -> tuple[str, ...]:
    """The units that a reading of a quantity may be written in, smallest first."""
    own = quantity.unit
    if own == "m":
        return ("ft", "m")
    if not own:
        return ("%", "") if quantity is ElectricalQuantity.DISSIPATION_FACTOR else ("",)
    base = _base(own)
    return tuple(f"{prefix}{base}" for prefix in _PREFIXES[own])


def _base(unit: str) -> str:
    return _BASE.get(unit) or (unit if unit == "Ω" else unit[1:])


def to_own_unit(quantity: ElectricalQuantity, number: float, unit: str) -> float:
    """A number in one of :func:`units_of`, in the quantity's own unit.

    Raises
    ------
    ValueError
        When the unit is not one of them; says which are.
    """
    if unit not in units_of(quantity):
        known = ", ".join(filter(None, units_of(quantity))) or "no unit at all"
        raise ValueError(
            f"“{unit}” is not a unit of {quantity}; known are {known} (m is milli, M "
            "is mega)"
        )
    if unit == quantity.unit:
        return number
    if quantity.unit == "m":
        return UNITS[unit].to_si(number)
    if unit == "%":
        return number / 100.0
    base = _base(quantity.unit)
    power = _POWERS[unit.removesuffix(base)]
    power -= _POWERS[quantity.unit.removesuffix(base)]
    # Dividing by a whole power keeps 8040 pF at 8.04 nF.
    return number * 10.0**power if power >= 0 else number / 10.0**-power


def read_reading(
    text: str, quantity: ElectricalQuantity, *, unit: str | None = None
) -> ReadValue:
    """Read what somebody wrote for a quantity.

    Parameters
    ----------
    text
        A number, ">" before it where the meter was over its range, a unit behind it
        where that differs from ``unit``.
    quantity
        What was read.
    unit
        The unit of the column or box; None for the quantity's own.

    Returns
    -------
    ReadValue
        In the quantity's own unit; ``typed`` is the text, with its unit where that is
        not the quantity's own.

    Raises
    ------
    ValueError
        With a message that says how to write it.
    """
    written = text.strip()
    if len(written) > MOST_TYPED:
        raise ValueError(f"it is longer than a reading ({MOST_TYPED} signs at most)")
    bare, over = written, False
    for sign in OVER_SIGNS:
        if bare.startswith(sign):
            bare, over = bare.removeprefix(sign).strip(), True
            break
    if over and not bare:
        raise ValueError("write the meter's upper end after “>”, such as > 2000")
    if bare.casefold() in _METER_WORDS:
        raise ValueError(
            f"“{written}” does not say what the meter's range is; write “>” and the "
            "upper end of the range, such as > 2000"
        )
    match = _LAST_WORD.fullmatch(bare)
    own = quantity.unit if unit is None else unit
    if match:
        bare, own = match["number"], unit_in_order(match["unit"])
    value = to_own_unit(quantity, parse_number(bare), own)
    if value < 0 and not quantity.signed:
        raise ValueError(f"“{written}” is below zero; no meter reads that here")
    if over and quantity.signed:
        raise ValueError(f"“{written}”: “above” says nothing of a value around zero")
    typed = written if match or own == quantity.unit else f"{written} {own}"
    if len(typed) > MOST_TYPED:
        raise ValueError(f"“{written}” is longer than a reading ({MOST_TYPED} signs)")
    return ReadValue(value, typed, over)
