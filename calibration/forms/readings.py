"""Readings of a static scale as people write them down, one part of the truck a line.

``axle 1: 11,480 11,460`` is the front axle weighed twice, ``axles 2-3: 34,020`` a
tandem weighed at once, ``whole: 79,980`` the whole vehicle. A weight may carry its own
unit; else it is in the unit of the program.
"""

from __future__ import annotations

import re
from typing import Any

from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import UNITS, Kind, Unit, format_number, parse_number

_LINE = re.compile(
    r"^\s*(?:(?P<whole>whole|gross|all)(?:\s+(?:vehicle|truck|weight))?"
    r"|(?:axles?\s*)?(?P<first>\d{1,2})(?:\s*(?:-|–|to)\s*(?P<last>\d{1,2}))?)"
    r"\s*[:=]\s*(?P<loads>.*)$",
    re.IGNORECASE,
)
EXPECTED = "a line such as “axle 1: 11,480” or “axles 2-3: 34,020 34,060”"
MAX_LINES = 200


def read_readings(text: str, unit: Unit, n_axles: int) -> list[dict[str, Any]]:
    """Readings as they are stored: ``{"axles": [1, 2], "kg": 15431.2}``.

    Parameters
    ----------
    text
        One line a part; repeats parted by spaces.
    unit
        Unit of weights that do not carry one.
    n_axles
        Number of the vehicle's axles.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With a complaint for every line that cannot be read.
    """
    found: list[dict[str, Any]] = []
    complaints: list[Complaint] = []
    for line, row in enumerate(text.splitlines()[:MAX_LINES], start=1):
        if not row.strip():
            continue
        match = _LINE.match(row)
        if match is None:
            complaints.append(_unread(line, row))
            continue
        axles = _axles(match, n_axles)
        if axles is None:
            complaints.append(
                Complaint(
                    "These axles cannot have stood on the scale together.",
                    row=line,
                    value=row.strip(),
                    expected=f"axles of 1 to {n_axles}, front to rear",
                    remedy="Correct the axle numbers; the front axle is 1.",
                )
            )
            continue
        for load in _loads(match["loads"], line, unit, complaints):
            found.append({"axles": axles, "kg": load})
    if complaints:
        raise UnreadableInput("The readings cannot be read.", tuple(complaints))
    return found


def _unread(line: int, row: str) -> Complaint:
    return Complaint(
        "This is not a reading of the scale.",
        row=line,
        value=row.strip(),
        expected=EXPECTED,
        remedy="Write which axles stood on the scale, a colon, and what it showed.",
    )


def _axles(match: re.Match[str], n_axles: int) -> list[int] | None:
    if match["whole"]:
        return list(range(n_axles))
    first = int(match["first"])
    last = int(match["last"] or first)
    if not 1 <= first <= last <= n_axles:
        return None
    return list(range(first - 1, last))


def _loads(
    text: str, line: int, unit: Unit, complaints: list[Complaint]
) -> list[float]:
    words = text.replace(";", " ").split()
    if words and words[-1] in UNITS and UNITS[words[-1]].kind is Kind.MASS:
        unit = UNITS[words.pop()]
    if not words:
        complaints.append(
            Complaint("The line has no weight.", row=line, expected=EXPECTED)
        )
    loads = []
    for word in words:
        try:
            number = parse_number(word)
        except ValueError as error:
            complaints.append(Complaint(f"{error}.", row=line, value=word))
            continue
        if number <= 0:
            complaints.append(
                Complaint(
                    "A reading of the scale is greater than zero.",
                    row=line,
                    value=word,
                    expected=f"a weight in {unit.symbol}",
                    remedy="Correct it, or leave the reading out.",
                )
            )
            continue
        loads.append(unit.to_si(number))
    return loads


def write_readings(readings: list[dict[str, Any]], unit: Unit, n_axles: int) -> str:
    """Stored readings as lines, repeats of one part in one line."""
    parts: dict[tuple[int, ...], list[str]] = {}
    for one in readings:
        number = format_number(unit.from_si(one["kg"]), unit.digits)
        parts.setdefault(tuple(one["axles"]), []).append(number)
    return "\n".join(
        f"{_name(axles, n_axles)}: {' '.join(loads)}" for axles, loads in parts.items()
    )


def _name(axles: tuple[int, ...], n_axles: int) -> str:
    if len(axles) == n_axles:
        return "whole"
    if len(axles) == 1:
        return f"axle {axles[0] + 1}"
    return f"axles {axles[0] + 1}-{axles[-1] + 1}"
