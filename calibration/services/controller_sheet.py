"""The controller's vehicle records from a headed sheet.

One row a vehicle: ``time``, and with the unit at the end of each heading
``speed_mph``, ``axle_1_lb`` (or ``w1_lb``) …, ``spacing_1_ft`` (or ``s1_ft``) …,
``left_1_lb`` and ``right_1_lb`` … where wheels are weighed; ``record``, ``lane`` and
``class`` if there are any.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from calibration.calc.matching_types import ControllerRecord
from calibration.calc.sheet_table import (
    LENGTHS,
    MASSES,
    SPEEDS,
    Cells,
    Measure,
    Row,
    Table,
    check_columns,
    read_table,
)
from wimprog.lib.errors import Complaint
from wimprog.lib.units import UNITS

FAMILIES = {"axle": MASSES, "spacing": LENGTHS, "left": MASSES, "right": MASSES}
_SHORT = re.compile(r"(?P<letter>[ws])_?(?P<number>[1-9][0-9]?)_(?P<unit>[a-z]+)")
_STEMS = {"w": "axle", "s": "spacing"}
MOST_FAULTS = 50


@dataclass(frozen=True)
class KeptRecord:
    """One record with what the sheet said in its own words.

    Attributes
    ----------
    record
        As it is matched; its time in the site's zone.
    line
        Line of the sheet.
    left_kg, right_kg
        Wheel loads [kg]; empty where the lane weighs axles.
    typed
        Text and unit of each field.
    """

    record: ControllerRecord
    line: int
    left_kg: tuple[float, ...] = ()
    right_kg: tuple[float, ...] = ()
    typed: dict[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class ControllerSheet:
    """All records of a sheet, and what was passed over."""

    records: tuple[KeptRecord, ...]
    n_rows: int
    n_without_axles: int
    n_copies: int


def read_controller_sheet(
    content: bytes, *, zone: ZoneInfo, name: str = "The controller’s records"
) -> ControllerSheet:
    """Read a sheet of vehicle records.

    Rows without a single axle weight are passed over and counted, and so are copies
    (same time, same axles); everything else that cannot be read is complained of.

    Parameters
    ----------
    content
        The sheet's bytes.
    zone
        Of times that carry none: the site's.
    name
        What to call the sheet in messages.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With the complaints.
    """
    table = _with_long_names(read_table(content, name=name))
    measures = check_columns(
        table,
        required=("time",),
        optional=("record", "lane", "class", "note"),
        single={"speed": SPEEDS},
        families=FAMILIES,
    )
    if "axle" not in measures:
        table.complaints.append(
            Complaint(
                "There are no axle weight columns.",
                row=1,
                field="axle_1_lb",
                expected="columns such as axle_1_lb or w1_lb, with their unit",
                remedy="Add a column for each axle, with the unit in its heading.",
            )
        )
    table.refuse_if_faulty()
    kept: list[KeptRecord] = []
    seen: set[tuple[dt.datetime, tuple[float, ...]]] = set()
    without = copies = 0
    for row in table.rows:
        if not any(row.cells.get(c) for c in measures["axle"].columns):
            without += 1
            continue
        one = _record(Cells(table, row), row, measures, zone)
        if one is None:
            if len(table.complaints) >= MOST_FAULTS:
                break
            continue
        key = (one.record.time, one.record.axle_weights_kg)
        if key in seen:
            copies += 1
            continue
        seen.add(key)
        kept.append(one)
    table.refuse_if_faulty()
    return ControllerSheet(tuple(kept), len(table.rows), without, copies)


def _with_long_names(table: Table) -> Table:
    """w1_lb as axle_1_lb, s1_ft as spacing_1_ft."""

    def long(column: str) -> str:
        match = _SHORT.fullmatch(column)
        if match is None:
            return column
        return f"{_STEMS[match['letter']]}_{match['number']}_{match['unit']}"

    rows = [
        Row(row.line, {long(c): text for c, text in row.cells.items()})
        for row in table.rows
    ]
    columns = tuple(long(c) for c in table.columns)
    return Table(table.name, columns, rows, table.complaints)


def _record(
    cells: Cells, row: Row, measures: dict[str, Measure], zone: ZoneInfo
) -> KeptRecord | None:
    n_before = len(cells.table.complaints)
    time = cells.time("time", needs_clock=True)
    weights = cells.numbers(measures["axle"])
    spacings = cells.numbers(measures.get("spacing"))
    left = cells.numbers(measures.get("left"))
    right = cells.numbers(measures.get("right"))
    speed = cells.number(measures.get("speed"), low=1.0, high=300.0)
    if spacings and len(spacings) != len(weights) - 1:
        cells.complain(
            f"The record has {len(weights)} axle weights and {len(spacings)} spacings.",
            column=measures["spacing"].columns[0],
            expected=f"{len(weights) - 1} spacings",
            remedy="Correct the row, or leave the record out.",
        )
    if len(cells.table.complaints) > n_before or time is None:
        return None
    told = cells.text("class")
    return KeptRecord(
        record=ControllerRecord(
            key=cells.text("record") or f"line {row.line}",
            time=time if time.tzinfo else time.replace(tzinfo=zone),
            axle_weights_kg=weights,
            axle_spacings_m=spacings,
            speed_kmh=speed,
            vehicle_class=int(told) if told.isdecimal() else None,
        ),
        line=row.line,
        left_kg=left,
        right_kg=right,
        typed=_typed(cells, measures),
    )


def _typed(cells: Cells, measures: dict[str, Measure]) -> dict[str, list[str]]:
    names = {
        "axle": "axle_weights_kg",
        "spacing": "axle_spacings_m",
        "speed": "speed_kmh",
        "left": "left_wheel_weights_kg",
        "right": "right_wheel_weights_kg",
    }
    kept = {}
    for stem, name in names.items():
        if stem in measures:
            text, symbol = cells.typed(measures[stem])
            if text and symbol in UNITS:
                kept[name] = [text, symbol]
    return kept
