"""Is a number in another unit than the one beside its box?

A number far outside what is usual, that would be usual in another unit of length, was
probably read off in that other unit. It is questioned, never mended.
"""

from __future__ import annotations

from dataclasses import dataclass

from installs.calc.layout.types import ElementKind
from wimprog.lib.units import UNITS, Kind, Typed, format_number

#: SI value of one metre, by kind of length.
_SI_PER_M = {Kind.LENGTH: 1.0, Kind.SHORT_LENGTH: 1000.0}
#: Units a tape is read in, the likeliest slip first.
_TAPE_UNITS = ("cm", "mm", "in", "ft", "m")


@dataclass(frozen=True)
class Usual:
    """The usual range of a length, in metres. Common practice, no source."""

    low_m: float
    high_m: float


_SLOT = {"slot_width_mm": Usual(0.004, 0.12), "slot_depth_mm": Usual(0.02, 0.11)}
_FRAME = {"slot_width_mm": Usual(0.01, 1.2), "slot_depth_mm": Usual(0.02, 0.6)}
_TRENCH = {"slot_width_mm": Usual(0.05, 0.6), "slot_depth_mm": Usual(0.1, 1.2)}
_PLACE = {"start_m": Usual(0.0, 40.0), "across_from_m": Usual(0.0, 15.0)}

#: What is usual of an element, by its kind and field. Common practice, no source.
USUAL_OF_ELEMENT: dict[ElementKind, dict[str, Usual]] = {
    ElementKind.LOOP: {**_PLACE, **_SLOT, "length_m": Usual(0.8, 4.0)},
    ElementKind.AXLE_SENSOR: {**_PLACE, **_SLOT, "length_m": Usual(0.0, 0.8)},
    ElementKind.PLATE: {**_PLACE, **_FRAME, "length_m": Usual(0.2, 3.0)},
    ElementKind.TEMPERATURE_PROBE: {**_PLACE, **_SLOT, "length_m": Usual(0.0, 0.8)},
    ElementKind.LEAD_IN_SLOT: {**_PLACE, **_SLOT, "length_m": Usual(0.0, 20.0)},
    ElementKind.EXIT_HOLE: {
        **_PLACE,
        "slot_width_mm": Usual(0.015, 0.15),
        "length_m": Usual(0.0, 0.3),
    },
    ElementKind.TRENCH: {**_PLACE, **_TRENCH, "length_m": Usual(0.0, 20.0)},
}
#: What is usual of a plan's own measures. Common practice, no source.
USUAL_OF_PLAN = {
    "lane_width_m": Usual(2.4, 5.5),
    "shoulder_width_m": Usual(0.2, 5.0),
    "controller_spacing_m": Usual(0.3, 12.0),
    "cabinet_from_edge_m": Usual(1.0, 60.0),
    "cabinet_along_m": Usual(0.0, 60.0),
    "longest_lead_m": Usual(5.0, 400.0),
}


def unit_question(what: str, typed: Typed, usual: Usual) -> str:
    """A question about the unit of a length, or "" when there is none to ask.

    The sign does not count: a place before the line is as usual as one behind it.

    Parameters
    ----------
    what
        The box's name in words ("slot depth of piezo 1").
    typed
        The number as typed, in the unit beside its box.
    usual
        What it usually lies in.

    Examples
    --------
    >>> unit_question("slot depth", Typed("5.1", "in"), Usual(0.02, 0.1))
    'The slot depth of 5.1 in is unusual (0.8 to 3.9 in is usual). Is it 5.1 cm?'
    >>> unit_question("slot depth", Typed("2", "in"), Usual(0.02, 0.1))
    ''
    """
    number = abs(UNITS[typed.unit].from_si(typed.value_si))
    if _usual(number, typed.unit, usual):
        return ""
    for symbol in _TAPE_UNITS:
        if symbol != typed.unit and _usual(number, symbol, usual):
            low, high = (
                format_number(x / _metres(1.0, typed.unit), 1)
                for x in (usual.low_m, usual.high_m)
            )
            return (
                f"The {what} of {typed.text} {typed.unit} is unusual ({low} to {high} "
                f"{typed.unit} is usual). Is it {typed.text} {symbol}?"
            )
    return ""


def _metres(number: float, symbol: str) -> float:
    unit = UNITS[symbol]
    return unit.to_si(number) / _SI_PER_M[unit.kind]


def _usual(number: float, symbol: str, usual: Usual) -> bool:
    metres = _metres(number, symbol)
    return usual.low_m * (1 - 1e-9) <= metres <= usual.high_m * (1 + 1e-9)
