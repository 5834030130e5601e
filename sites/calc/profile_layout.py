"""Which line of a profile's text is its heading, and which column holds what.

Headings are read by their words ("Distance (ft)", "LeftElev_mm", "RWP [in]"), whatever
stands above them. What a heading leaves unsaid must be said by the caller: a unit is
never guessed.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from sites.calc.profile_words import (
    DISTANCE_UNITS,
    ELEVATION_UNITS,
    DistanceUnit,
    ElevationUnit,
    WheelPath,
    is_distance,
    path_of,
    unit_said,
    unit_text,
)
from wimprog.lib.errors import Complaint, UnreadableInput

#: Lines at the head of a file among which the heading is looked for.
HEAD_LINES = 60
_DELIMITERS = ("\t", ";", ",")


@dataclass(frozen=True)
class ProfileColumns:
    """What the caller says about the columns; empty means "as the heading says".

    Attributes
    ----------
    distance, left, right, single
        Headings, exactly as in the file. Naming any of the last three settles all
        three.
    distance_unit, elevation_unit
        Units; they win over what the heading says.
    """

    distance: str = ""
    left: str = ""
    right: str = ""
    single: str = ""
    distance_unit: DistanceUnit | None = None
    elevation_unit: ElevationUnit | None = None

    @property
    def paths(self) -> dict[WheelPath, str]:
        """The headings of elevations that were named."""
        named = {
            WheelPath.LEFT: self.left,
            WheelPath.RIGHT: self.right,
            WheelPath.SINGLE: self.single,
        }
        return {path: name for path, name in named.items() if name}


@dataclass(frozen=True)
class ProfileLayout:
    """Where everything is.

    ``distance`` and ``paths`` are places of columns from 0; ``first_line`` is the line
    number of the first row of numbers.
    """

    delimiter: str
    header: tuple[str, ...]
    first_line: int
    distance: int
    paths: dict[WheelPath, int]
    distance_unit: DistanceUnit
    elevation_units: dict[WheelPath, ElevationUnit]
    notes: tuple[str, ...] = ()


def find_layout(head: str, columns: ProfileColumns) -> ProfileLayout:
    """Find the heading and the columns in the first lines of a file.

    Parameters
    ----------
    head
        The first lines of the text, at least to the first row of numbers.
    columns
        What the caller says.

    Returns
    -------
    ProfileLayout

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When there is no heading, a column is missing or could be two, or a unit is
        said nowhere.
    """
    lines = head.splitlines()[:HEAD_LINES]
    for number, line in enumerate(lines, start=1):
        for delimiter in _DELIMITERS:
            cells = split_line(line, delimiter)
            if len(cells) > 1 and _is_heading(cells, columns):
                return _layout(lines, number, delimiter, cells, columns)
    for number, (above, below) in enumerate(pairwise(lines), start=1):
        for delimiter in _DELIMITERS:
            cells = split_line(above, delimiter)
            if _is_numbers(split_line(below, delimiter)) and not _is_numbers(cells):
                # not quite a heading: this tells which column is missing
                return _layout(lines, number, delimiter, cells, columns)
    raise _no_heading(lines, columns)


def split_line(line: str, delimiter: str) -> tuple[str, ...]:
    """The trimmed cells of one line."""
    cells = next(csv.reader([line], delimiter=delimiter), [])
    return tuple(cell.strip() for cell in cells)


def _is_heading(cells: Sequence[str], columns: ProfileColumns) -> bool:
    named = [name for name in (columns.distance, *columns.paths.values()) if name]
    if named and any(name in cells for name in named):
        return True
    return any(map(is_distance, cells)) and any(map(path_of, cells))


def _layout(
    lines: Sequence[str],
    number: int,
    delimiter: str,
    header: tuple[str, ...],
    columns: ProfileColumns,
) -> ProfileLayout:
    complaints: list[Complaint] = []
    distance = _column(header, number, "distance", columns.distance, complaints)
    paths: dict[WheelPath, int] = {}
    named = columns.paths
    wanted: tuple[WheelPath, ...] = tuple(named) or tuple(WheelPath)
    for path in wanted:
        place = _column(header, number, path, named.get(path, ""), complaints)
        if place is not None:
            paths[path] = place
    if len(paths) > 1 and not named:
        paths.pop(WheelPath.SINGLE, None)
    if distance is None or not paths:
        complaints += _missing(header, number, distance, bool(paths), complaints)
    if complaints or distance is None:
        raise _refusal(complaints)
    below = split_line(lines[number], delimiter) if number < len(lines) else ()
    unit_row = below if _is_unit_row(below) else ()
    first_line = number + (2 if unit_row else 1)
    sample = lines[first_line - 1] if first_line <= len(lines) else ""
    layout = ProfileLayout(
        delimiter=delimiter,
        header=header,
        first_line=first_line,
        distance=distance,
        paths=paths,
        distance_unit=DistanceUnit.M,
        elevation_units={},
    )
    return _with_units(layout, number, unit_row, split_line(sample, delimiter), columns)


def _column(
    header: Sequence[str],
    line: int,
    role: str,
    named: str,
    complaints: list[Complaint],
) -> int | None:
    """The place of a column; a complaint when it is named wrongly or could be two."""
    if named:
        places = [i for i, cell in enumerate(header) if cell == named]
    elif role == "distance":
        places = [i for i, cell in enumerate(header) if is_distance(cell)]
    else:
        places = [i for i, cell in enumerate(header) if path_of(cell) == role]
    if len(places) > 1:
        complaints.append(
            Complaint(
                message=f"{len(places)} columns could be the {role}.",
                row=line,
                field=role,
                value=", ".join(header[place] for place in places),
                expected="one",
                remedy="Name the column to read.",
            )
        )
        return None
    if named and not places:
        complaints.append(
            Complaint(
                message="there is no such column.",
                row=line,
                field=role,
                value=named,
                expected=f"one of {', '.join(header)}",
                remedy="Name the column as the file spells it.",
            )
        )
    return places[0] if places else None


def _missing(
    header: Sequence[str],
    line: int,
    distance: int | None,
    has_path: bool,
    told: Sequence[Complaint],
) -> list[Complaint]:
    """Complaints of roles that no column fills and that nobody has complained of."""
    said = {complaint.field for complaint in told}
    found = ", ".join(cell or "(empty)" for cell in header)
    complaints = []
    if distance is None and "distance" not in said:
        complaints.append(
            Complaint(
                message="no column holds the distance along the road.",
                row=line,
                field="distance",
                value=found,
                expected="a heading such as “distance (m)”",
                remedy="Rename the column, or name the one to read.",
            )
        )
    if not has_path and not said - {"distance"}:
        complaints.append(
            Complaint(
                message="no column holds elevations.",
                row=line,
                field="elevation",
                value=found,
                expected="headings such as “left elevation (mm)” and “right …”",
                remedy="Rename the columns, or name those to read.",
            )
        )
    return complaints


def _is_unit_row(cells: Sequence[str]) -> bool:
    texts = [unit_text(cell) for cell in cells if cell]
    known = DISTANCE_UNITS.keys() | ELEVATION_UNITS.keys()
    return len(texts) > 1 and sum(text in known for text in texts) > 1


def _with_units(
    layout: ProfileLayout,
    line: int,
    unit_row: Sequence[str],
    sample: Sequence[str],
    columns: ProfileColumns,
) -> ProfileLayout:
    """The layout with its units; refused when one is said nowhere."""
    complaints: list[Complaint] = []
    notes: list[str] = []

    def below(place: int) -> str:
        return unit_row[place] if place < len(unit_row) else ""

    cell = layout.header[layout.distance]
    said = DISTANCE_UNITS.get(unit_said(cell, below(layout.distance)))
    if (
        said is None
        and layout.distance < len(sample)
        and "+" in sample[layout.distance]
    ):
        said = DistanceUnit.STATION
    distance_unit = columns.distance_unit or said
    if distance_unit is None:
        complaints.append(_no_unit(line, cell, DistanceUnit))
        distance_unit = DistanceUnit.M
    elif said is not None and said is not distance_unit:
        notes.append(_overruled(cell, said, distance_unit))
    elevation_units: dict[WheelPath, ElevationUnit] = {}
    for path, place in layout.paths.items():
        cell = layout.header[place]
        told = ELEVATION_UNITS.get(unit_said(cell, below(place)))
        unit = columns.elevation_unit or told
        if unit is None:
            complaints.append(_no_unit(line, cell, ElevationUnit))
            continue
        if told is not None and told is not unit:
            notes.append(_overruled(cell, told, unit))
        elevation_units[path] = unit
    if complaints:
        raise _refusal(complaints)
    return replace(
        layout,
        distance_unit=distance_unit,
        elevation_units=elevation_units,
        notes=tuple(notes),
    )


def _no_unit(line: int, cell: str, units: type[StrEnum]) -> Complaint:
    names = ", ".join(units)
    return Complaint(
        message="nothing says in which unit this column is.",
        row=line,
        field=cell,
        expected=f"one of {names}, in brackets behind the heading",
        remedy="Choose the unit, or write it into the heading.",
    )


def _overruled(cell: str, said: str, unit: str) -> str:
    return f"The heading “{cell}” says {said}; read as {unit}, as chosen."


def _is_numbers(cells: Sequence[str]) -> bool:
    """Whether a line reads like a row of numbers."""
    digits = [bool(re.fullmatch(r"[-+]?[\d.,+]+", cell)) for cell in cells if cell]
    return len(digits) > 1 and all(digits)


def _no_heading(lines: Sequence[str], columns: ProfileColumns) -> UnreadableInput:
    named = [name for name in (columns.distance, *columns.paths.values()) if name]
    first = next((i for i, line in enumerate(lines) if line.strip()), None)
    if first is None:
        return UnreadableInput("The file is empty; export the profile again.")
    wanted = (
        f"a line with the columns {', '.join(named)}"
        if named
        else "a line such as “distance (m), left elevation (mm), right elevation (mm)”"
    )
    return _refusal(
        [
            Complaint(
                message=f"no heading was found in the first {len(lines)} lines.",
                row=first + 1,
                value=lines[first][:80],
                expected=wanted,
                remedy="Write a heading above the numbers; cells are separated by "
                "commas, semicolons or tabs.",
            )
        ]
    )


def _refusal(complaints: Sequence[Complaint]) -> UnreadableInput:
    return UnreadableInput(
        f"The profile's columns are not clear: {complaints[0].message}",
        tuple(complaints),
    )
