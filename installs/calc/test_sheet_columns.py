"""The headings of a spreadsheet of tests: which column holds what, in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass

from installs.calc.reading_text import unit_in_order, units_of
from installs.calc.sheet_grid import Cell
from installs.calc.types import ElectricalQuantity
from wimprog.lib.errors import Complaint

WORDS: dict[str, tuple[str, ...]] = {
    "site": ("site", "site code"),
    "lane": ("lane",),
    "position": ("position",),
    "serial": ("serial", "serial number", "serial no"),
    "tested at": ("tested at", "tested on", "date and time"),
    "time": ("time", "time of day"),
    "stage": ("stage",),
    "instrument": ("instrument",),
    "tested by": ("tested by",),
    "pavement temp": ("pavement temp", "pavement temperature"),
    "test voltage": ("test voltage", "insulation test voltage"),
    "note": ("note", "notes", "remarks"),
}
REQUIRED = ("site", "lane", "tested at", "stage", "tested by")
TEMPERATURES = {
    "°C": "°C",
    "C": "°C",
    "degC": "°C",
    "°F": "°F",
    "F": "°F",
    "degF": "°F",
}

_NAMES = {alias: name for name, aliases in WORDS.items() for alias in aliases}
_QUANTITIES = {str(quantity): quantity for quantity in ElectricalQuantity} | {
    "insulation": ElectricalQuantity.INSULATION_RESISTANCE,
    "lead insulation": ElectricalQuantity.LEAD_INSULATION_RESISTANCE,
    "zero": ElectricalQuantity.ZERO_OUTPUT,
}
_HEADING = re.compile(
    r"(?P<name>[^()\[\],]+?)\s*[(\[,]\s*(?P<unit>[^()\[\]]*?)\s*[)\]]?"
)


@dataclass(frozen=True)
class Column:
    """What a column holds: one of :data:`WORDS` or a quantity, and its unit."""

    place: int
    heading: str
    name: str
    unit: str = ""
    quantity: ElectricalQuantity | None = None


def read_columns(
    cells: tuple[Cell, ...], row: int, complaints: list[Complaint]
) -> tuple[Column, ...]:
    """The columns of a heading row; what is wrong is added to ``complaints``."""
    found: list[Column] = []
    for place, cell in enumerate(cells):
        if not cell.text:
            continue
        column = _column(place, cell.text, row, complaints)
        if column is None:
            continue
        same = next((one for one in found if one.name == column.name), None)
        if same is not None:
            complaints.append(
                Complaint(
                    f"“{same.heading}” and “{column.heading}” say the same thing.",
                    row=row,
                    field=column.heading,
                    remedy="Keep one of the two columns.",
                )
            )
        found.append(column)
    names = {column.name for column in found}
    for name in REQUIRED:
        if name not in names:
            complaints.append(_missing(name, row))
    if not names & {"position", "serial"}:
        complaints.append(_missing("position", row, "position, or serial"))
    if not any(column.quantity for column in found):
        complaints.append(
            Complaint(
                "No column holds a quantity.",
                row=row,
                expected="a heading such as “insulation resistance (MΩ)”",
                remedy="Add a column for each quantity, with its unit in the heading.",
            )
        )
    return tuple(found)


def _missing(name: str, row: int, words: str = "") -> Complaint:
    return Complaint(
        "A column is missing.",
        row=row,
        field=name,
        expected=f"a column headed {words or name}",
        remedy="Add the column, or correct its heading.",
    )


def _column(
    place: int, heading: str, row: int, complaints: list[Complaint]
) -> Column | None:
    clean = " ".join(heading.replace("_", " ").split())
    match = _HEADING.fullmatch(clean) if len(clean) <= 80 else None
    name, unit = (match["name"], match["unit"]) if match else (clean, "")
    name = name.strip().casefold()
    if not match and name not in _NAMES and name not in _QUANTITIES:
        name, unit = _last_word_as_unit(clean)
    quantity = _QUANTITIES.get(name)
    if quantity is not None:
        unit = unit_in_order(unit)
        if unit not in units_of(quantity):
            known = ", ".join(filter(None, units_of(quantity))) or "no unit"
            complaints.append(
                Complaint(
                    "The heading does not say the quantity's unit."
                    if not unit
                    else "The unit in the heading is not one of the quantity's.",
                    row=row,
                    field=heading[:80],
                    value=unit,
                    expected=f"one of {known}",
                    remedy=f"Write it as “{quantity} ({quantity.unit})”."
                    if quantity.unit
                    else "Take the unit out of the heading.",
                )
            )
            return None
        return Column(place, heading, str(quantity), unit, quantity)
    word = _NAMES.get(name)
    if word is None:
        complaints.append(
            Complaint(
                "The heading is not known.",
                row=row,
                field=heading[:80],
                expected="one of "
                + ", ".join([*WORDS, *(str(one) for one in ElectricalQuantity)]),
                remedy="Correct the heading, or take the column out.",
            )
        )
        return None
    return _word_column(place, heading, word, unit, row, complaints)


def _last_word_as_unit(heading: str) -> tuple[str, str]:
    """Take "capacitance nF" apart, where the rest is a name that we know."""
    rest, _, last = heading.rpartition(" ")
    name = rest.strip().casefold()
    return (name, last) if name in _QUANTITIES or name in _NAMES else (heading, "")


def _word_column(
    place: int,
    heading: str,
    word: str,
    unit: str,
    row: int,
    complaints: list[Complaint],
) -> Column | None:
    if word == "pavement temp":
        symbol = TEMPERATURES.get(unit.replace(" ", "").replace("º", "°"))
        if symbol is None:
            complaints.append(
                Complaint(
                    "The heading does not say the unit of temperature.",
                    row=row,
                    field=heading[:80],
                    value=unit,
                    expected="°F or °C",
                    remedy="Write it as “pavement temp (°F)”.",
                )
            )
            return None
        return Column(place, heading, word, symbol)
    allowed = ("", "V") if word == "test voltage" else ("",)
    if unit not in allowed:
        complaints.append(
            Complaint(
                "The heading holds more than the column's name.",
                row=row,
                field=heading[:80],
                value=unit,
                expected=f"{word}{' (V)' if word == 'test voltage' else ''}",
                remedy="Correct the heading.",
            )
        )
        return None
    return Column(place, heading, word)
