"""A technician's spreadsheet of electrical tests: bytes in, tests and complaints out.

One row a test. Columns, in any order and any case:

* ``site``, ``lane``, ``tested at``, ``stage``, ``tested by`` in every sheet;
* ``position`` or ``serial`` (of the sensor), or both;
* ``time`` (where ``tested at`` holds the day alone), ``instrument``, ``pavement temp``
  with its unit, ``test voltage (V)``, ``note``, where wanted;
* one for each quantity, with its unit: ``insulation resistance (MΩ)``, ``capacitance
  [nF]``, ``inductance, mH``.

A cell may say ``> 2000`` for a meter over its range. What cannot be read is complained
of by row and column; nothing is guessed, and all complaints are gathered.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from installs.calc.reading_text import ReadValue, read_reading
from installs.calc.sheet_grid import EMPTY, Cell, read_grid
from installs.calc.test_sheet_columns import Column, read_columns
from installs.calc.types import ElectricalQuantity, TestStage
from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import UNITS, parse_number

LONGEST = {"position": 40, "serial": 60, "instrument": 80, "tested by": 120}
PAVEMENT_C = (-50.0, 90.0)
TEST_VOLTAGE_V = (1.0, 5000.0)


@dataclass(frozen=True)
class SheetTest:
    """One row, understood. ``tested_at`` is the clock at the site unless it has a zone.

    ``pavement_temp`` is the text and unit as typed, beside the value in °C.
    """

    row: int
    site: str
    lane: str
    position: str
    serial: str
    tested_at: dt.datetime
    stage: TestStage
    tested_by: str
    instrument: str
    note: str
    pavement_temp_c: float | None
    pavement_temp: tuple[str, str] | None
    test_voltage_v: float | None
    readings: Mapping[ElectricalQuantity, ReadValue]


@dataclass(frozen=True)
class TestSheet:
    """What was read: the rows that could be understood, and every complaint."""

    __test__ = False  # not a test case

    name: str
    sheet: str
    columns: tuple[Column, ...]
    tests: tuple[SheetTest, ...]
    complaints: tuple[Complaint, ...]

    @property
    def quantities(self) -> tuple[ElectricalQuantity, ...]:
        """The quantities that the sheet has a column for, in its order."""
        return tuple(one.quantity for one in self.columns if one.quantity)


def read_test_sheet(content: bytes, *, name: str = "The sheet") -> TestSheet:
    """Read a spreadsheet of electrical tests.

    Parameters
    ----------
    content
        Bytes of a CSV or XLSX file.
    name
        What to call it in messages.

    Returns
    -------
    TestSheet
        With complaints rather than an error where single rows or columns are wrong.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When there is no sheet in it at all, or only headings.
    """
    grid = read_grid(content, name=name)
    (heading_row, headings), *rows = grid.rows
    complaints: list[Complaint] = []
    columns = read_columns(headings, heading_row, complaints)
    if not rows:
        raise UnreadableInput(
            f"{name} holds no test. Nothing was stored.",
            (
                Complaint(
                    "There is a heading but no row below it.",
                    row=heading_row,
                    remedy="Write one row for each test.",
                ),
            ),
        )
    if complaints:  # a column missed would make nonsense of every row
        return TestSheet(name, grid.sheet, columns, (), tuple(complaints))
    tests = []
    for number, cells in rows:
        reader = _Row(number, cells, columns)
        test = reader.test()
        complaints += reader.complaints
        if test is not None and not reader.complaints:
            tests.append(test)
    return TestSheet(name, grid.sheet, columns, tuple(tests), tuple(complaints))


# --- rows --------------------------------------------------------------------------


@dataclass
class _Row:
    """Reads the cells of one row; what is wrong is gathered in ``complaints``."""

    number: int
    cells: tuple[Cell, ...]
    columns: tuple[Column, ...]
    complaints: list[Complaint] = field(default_factory=list)

    def test(self) -> SheetTest | None:
        """The row as a test; None where something is wrong with it."""
        self._stray_cells()
        for name in ("site", "lane", "stage", "tested by"):
            if not self._text(name):
                self._complain(name, "The cell is empty.", remedy="Fill it in.")
        if not self._text("position") and not self._text("serial"):
            self._complain(
                "position",
                "Neither position nor serial is given.",
                remedy="Write at least one of the two.",
            )
        for name, most in LONGEST.items():
            if len(self._text(name)) > most:
                self._complain(
                    name, "The text is too long.", expected=f"at most {most} signs"
                )
        tested_at = self._moment()
        stage = self._stage()
        temp_c, temp = self._temperature()
        voltage = self._number("test voltage", TEST_VOLTAGE_V, "V", float)
        readings = self._readings()
        if self.complaints or tested_at is None or stage is None:
            return None
        return SheetTest(
            row=self.number,
            site=self._text("site"),
            lane=self._text("lane"),
            position=" ".join(self._text("position").split()),
            serial=self._text("serial"),
            tested_at=tested_at,
            stage=stage,
            tested_by=self._text("tested by"),
            instrument=self._text("instrument"),
            note=self._text("note"),
            pavement_temp_c=temp_c,
            pavement_temp=temp,
            test_voltage_v=voltage,
            readings=readings,
        )

    def _column(self, name: str) -> Column | None:
        return next((one for one in self.columns if one.name == name), None)

    def _cell(self, column: Column | None) -> Cell:
        if column is None or column.place >= len(self.cells):
            return EMPTY
        return self.cells[column.place]

    def _text(self, name: str) -> str:
        return self._cell(self._column(name)).text

    def _complain(
        self, name: str, message: str, *, expected: str = "", remedy: str = ""
    ) -> None:
        column = self._column(name)
        self.complaints.append(
            Complaint(
                message,
                row=self.number,
                field=column.heading if column else name,
                value=self._cell(column).text[:80],
                expected=expected,
                remedy=remedy,
            )
        )

    def _stray_cells(self) -> None:
        known = {column.place for column in self.columns}
        for place, cell in enumerate(self.cells):
            if cell.text and place not in known:
                self.complaints.append(
                    Complaint(
                        "The cell stands under no heading.",
                        row=self.number,
                        field=f"column {place + 1}",
                        value=cell.text[:80],
                        remedy="Give its column a heading, or clear the cell. In a "
                        "CSV file, a decimal or thousands comma may have cut a number "
                        "in two.",
                    )
                )
        for column in self.columns:
            fault = self._cell(column).fault
            if fault:
                self._complain(
                    column.name,
                    f"The cell cannot be read: {fault}.",
                    remedy="Write the value itself into the cell.",
                )

    def _stage(self) -> TestStage | None:
        text = " ".join(self._text("stage").casefold().replace("-", " ").split())
        for stage in TestStage:
            if text == stage.value.replace("-", " "):
                return stage
        if text:
            self._complain(
                "stage",
                "This is not a stage of testing.",
                expected="one of " + ", ".join(TestStage),
                remedy="Correct the cell.",
            )
        return None

    def _moment(self) -> dt.datetime | None:
        cell, clock = self._cell(self._column("tested at")), self._clock()
        moment = cell.moment if isinstance(cell.moment, dt.datetime) else None
        has_clock = moment is not None and moment.time() != dt.time()
        if moment is None and cell.text:
            try:
                moment = dt.datetime.fromisoformat(cell.text)
                has_clock = len(cell.text) > len("2031-05-14")
            except ValueError:
                moment = None
        if moment is None or (not has_clock and clock is None):
            self._complain(
                "tested at",
                "This is not a day with a time of day."
                if cell.text
                else "The cell is empty.",
                expected="a day and time such as 2031-05-14 10:15, or a day here and "
                "the time in a column headed time",
                remedy="Write year, month, day, then hours and minutes.",
            )
            return None
        if has_clock or clock is None:
            return moment
        return dt.datetime.combine(moment.date(), clock, tzinfo=moment.tzinfo)

    def _clock(self) -> dt.time | None:
        cell = self._cell(self._column("time"))
        if isinstance(cell.moment, dt.time):
            return cell.moment
        if isinstance(cell.moment, dt.datetime):
            return cell.moment.time()
        if not cell.text:
            return None
        padded = f"0{cell.text}" if re.fullmatch(r"\d:\d\d", cell.text) else cell.text
        try:
            return dt.time.fromisoformat(padded)
        except ValueError:
            self._complain(
                "time",
                "This is not a time of day.",
                expected="hours and minutes such as 14:05",
                remedy="Correct the cell.",
            )
            return None

    def _temperature(self) -> tuple[float | None, tuple[str, str] | None]:
        column = self._column("pavement temp")
        if column is None:
            return None, None
        unit = UNITS[column.unit]
        value = self._number("pavement temp", PAVEMENT_C, "°C", unit.to_si)
        if value is None:
            return None, None
        return value, (self._text("pavement temp"), unit.symbol)

    def _number(
        self,
        name: str,
        span: tuple[float, float],
        unit: str,
        to_si: Callable[[float], float],
    ) -> float | None:
        text = self._text(name)
        if not text:
            return None
        try:
            value = to_si(parse_number(text))
        except ValueError as error:
            self._complain(name, f"The cell cannot be read: {error}.")
            return None
        low, high = span
        if not low <= value <= high:
            self._complain(
                name,
                "The value cannot be right.",
                expected=f"{low:g} to {high:g} {unit}",
                remedy="Correct the value, or the unit in the heading.",
            )
            return None
        return value

    def _readings(self) -> dict[ElectricalQuantity, ReadValue]:
        found = {}
        for column in self.columns:
            text = self._cell(column).text
            if column.quantity is None or not text or self._cell(column).fault:
                continue
            try:
                found[column.quantity] = read_reading(
                    text, column.quantity, unit=column.unit
                )
            except ValueError as error:
                self._complain(
                    column.name,
                    f"The reading cannot be taken: {error}.",
                    expected=f"a number in {column.unit}"
                    if column.unit
                    else "a number",
                    remedy="Write what the meter showed, or leave the cell empty.",
                )
        if not found and not self.complaints:
            self.complaints.append(
                Complaint(
                    "The row holds no reading.",
                    row=self.number,
                    remedy="Write at least one value that the meter showed, or take "
                    "the row out.",
                )
            )
        return found
