"""A headed sheet of comma-separated text, taken apart into cells, with its faults.

Takes UTF-8 text (with or without a byte-order mark, any line ends) separated by commas,
semicolons or tabs. Nothing is guessed: what cannot be read is complained of by line and
column, and all complaints are gathered.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from wimprog.lib.errors import Complaint, UnreadableInput
from wimprog.lib.units import UNITS, Kind, parse_number

_AS_CSV = "Save the sheet as “CSV UTF-8 (comma delimited)” and give that file."
_SEPARATORS = (",", ";", "\t")
_NUMBERED = re.compile(r"(?P<stem>.+)_(?P<number>[1-9][0-9]?)_(?P<suffix>[a-z]+)")

SUFFIXES: dict[str, str] = {
    "lb": "lb",
    "kg": "kg",
    "kip": "kip",
    "t": "t",
    "ft": "ft",
    "m": "m",
    "mm": "mm",
    "cm": "cm",
    "in": "in",
    "mph": "mph",
    "kmh": "km/h",
    "f": "°F",
    "c": "°C",
}
"""Unit symbol by the suffix of a column's name."""

MASSES = ("lb", "kg", "kip", "t")
LENGTHS = ("ft", "m", "mm", "cm", "in")
SPEEDS = ("mph", "kmh")
TEMPERATURES = ("f", "c")


@dataclass(frozen=True)
class Row:
    """One row: the line it starts on (the first line of a file is 1) and its cells."""

    line: int
    cells: dict[str, str]


@dataclass
class Table:
    """A sheet's columns and rows, and what was found wrong so far."""

    name: str
    columns: tuple[str, ...]
    rows: list[Row]
    complaints: list[Complaint] = field(default_factory=list)

    def refuse_if_faulty(self) -> None:
        """Stop with everything that was found wrong.

        Raises
        ------
        wimprog.lib.errors.UnreadableInput
            When there is any complaint.
        """
        if self.complaints:
            n = len(self.complaints)
            raise UnreadableInput(
                f"{self.name} cannot be taken as it stands: {n} "
                f"{'fault' if n == 1 else 'faults'}. Nothing was stored.",
                tuple(self.complaints),
            )


@dataclass(frozen=True)
class Measure:
    """A column, or a numbered family of columns, of one unit."""

    suffix: str
    columns: tuple[str, ...]

    @property
    def unit(self) -> str:
        """The unit's symbol."""
        return SUFFIXES[self.suffix]

    def to_si(self, number: float) -> float:
        """The number in kg, m, km/h or °C (short lengths in m too)."""
        unit = UNITS[self.unit]
        value = unit.to_si(number)
        return value / 1000.0 if unit.kind is Kind.SHORT_LENGTH else value


def read_table(content: bytes, *, name: str) -> Table:
    """Take a sheet apart.

    Parameters
    ----------
    content
        The file's bytes.
    name
        What to call it in messages.

    Returns
    -------
    Table
        With rows of the right width, and complaints of the others.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When there is no table in it at all.
    """
    text = _decode(content, name)
    separator = max(_SEPARATORS, key=text.lstrip().splitlines()[0].count)
    reader = csv.reader(
        io.StringIO(text, newline=None), delimiter=separator, strict=True
    )
    columns: tuple[str, ...] = ()
    rows: list[Row] = []
    complaints: list[Complaint] = []
    start = 1
    try:
        for cells in reader:
            line, start = start, reader.line_num + 1
            texts = [cell.strip() for cell in cells]
            if not any(texts):
                continue
            if not columns:
                columns = tuple(text.casefold() for text in texts)
                complaints += _header_complaints(columns, line)
            elif len(texts) != len(columns):
                complaints.append(_width_complaint(line, texts, columns, separator))
            else:
                rows.append(Row(line, dict(zip(columns, texts, strict=True))))
    except csv.Error as error:
        complaints.append(
            Complaint(
                f"The row is not well-formed ({error}).",
                row=start,
                expected="cells in plain text, or in one pair of quotes",
                remedy="Look for a stray or missing quotation mark.",
            )
        )
    if columns and not rows and not complaints:
        complaints.append(
            Complaint("There is a heading but no row below it.", row=start)
        )
    return Table(name, columns, rows, complaints)


def _decode(content: bytes, name: str) -> str:
    """The text, or a refusal that says what the file looks like instead."""

    def refuse(complaint: Complaint) -> UnreadableInput:
        return UnreadableInput(
            f"{name} cannot be read as a sheet. Nothing was stored.", (complaint,)
        )

    if not content.strip():
        raise refuse(Complaint("The file is empty.", remedy="Choose the right file."))
    if content.startswith(b"PK\x03\x04"):
        raise refuse(Complaint("This is a workbook or a zip file.", remedy=_AS_CSV))
    if b"\x00" in content or content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refuse(
            Complaint("This is not UTF-8 text; it holds zero bytes.", remedy=_AS_CSV)
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refuse(
            Complaint(
                "The line holds a byte that is not UTF-8 text.",
                row=content.count(b"\n", 0, error.start) + 1,
                value=f"byte {content[error.start]:#04x}",
                expected="UTF-8 text",
                remedy=_AS_CSV,
            )
        ) from None
    if not text.strip():
        raise refuse(Complaint("The file is empty.", remedy="Choose the right file."))
    return text


def _header_complaints(columns: tuple[str, ...], line: int) -> list[Complaint]:
    complaints = []
    for place, column in enumerate(columns, start=1):
        if not column:
            complaints.append(
                Complaint(
                    f"Column {place} has no heading.",
                    row=line,
                    remedy="Name the column, or remove it.",
                )
            )
        elif column in columns[: place - 1]:
            complaints.append(
                Complaint(
                    "Two columns have the same heading.",
                    row=line,
                    field=column,
                    remedy="Rename or remove one of them.",
                )
            )
    return complaints


def _width_complaint(
    line: int, texts: list[str], columns: tuple[str, ...], separator: str
) -> Complaint:
    remedy = "Look for a missing or additional separator, or a line that was cut."
    if separator == "," and len(texts) > len(columns):
        remedy = (
            "If the row holds decimal commas, write points instead (4.5); put a "
            "number with a thousands comma in quotes."
        )
    return Complaint(
        "The row does not have as many cells as the heading.",
        row=line,
        value=f"{len(texts)} cells",
        expected=f"{len(columns)} cells",
        remedy=remedy,
    )


def check_columns(
    table: Table,
    *,
    required: Iterable[str],
    optional: Iterable[str],
    single: Mapping[str, tuple[str, ...]],
    families: Mapping[str, tuple[str, ...]],
) -> dict[str, Measure]:
    """Match a table's headings with what is expected; complain of the rest.

    Parameters
    ----------
    table
        The table; complaints are added to it.
    required, optional
        Names of text columns.
    single, families
        Suffixes allowed for each measured column ("speed" of speed_mph) and for each
        numbered family ("axle" of axle_1_lb, axle_2_lb ...).

    Returns
    -------
    dict
        The :class:`Measure` found for each stem.
    """
    found: dict[str, Measure] = {}
    numbered: dict[str, dict[int, tuple[str, str]]] = {stem: {} for stem in families}
    known_text = {*required, *optional}
    for column in table.columns:
        if column in known_text or not column:
            continue
        stem, _, suffix = column.rpartition("_")
        match = _NUMBERED.fullmatch(column)
        if suffix in single.get(stem, ()) and stem not in found:
            found[stem] = Measure(suffix, (column,))
        elif match and match["suffix"] in families.get(match["stem"], ()):
            numbered[match["stem"]].setdefault(
                int(match["number"]), (match["suffix"], column)
            )
        else:
            table.complaints.append(
                _column_complaint(column, known_text, single, families)
            )
    for column in required:
        if column not in table.columns:
            table.complaints.append(
                Complaint(
                    "A column is missing.",
                    row=1,
                    field=column,
                    remedy="Add the column, or correct its heading.",
                )
            )
    for stem, columns in numbered.items():
        measure = _family(table, stem, columns)
        if measure:
            found[stem] = measure
    return found


def _column_complaint(
    column: str,
    known_text: set[str],
    single: Mapping[str, tuple[str, ...]],
    families: Mapping[str, tuple[str, ...]],
) -> Complaint:
    names = sorted(known_text)
    names += [f"{stem}_{'|'.join(suffixes)}" for stem, suffixes in single.items()]
    names += [f"{stem}_N_{'|'.join(suffixes)}" for stem, suffixes in families.items()]
    return Complaint(
        "The column is not known, or it is there twice in different units.",
        row=1,
        field=column,
        expected="one of " + ", ".join(names),
        remedy="Correct the heading with its unit, or remove the column.",
    )


def _family(
    table: Table, stem: str, columns: dict[int, tuple[str, str]]
) -> Measure | None:
    if not columns:
        return None
    suffixes = sorted({suffix for suffix, _ in columns.values()})
    if len(suffixes) > 1:
        table.complaints.append(
            Complaint(
                f"The {stem} columns are in different units.",
                row=1,
                value=", ".join(suffixes),
                expected="one unit",
                remedy="Give all of them in one unit.",
            )
        )
    if sorted(columns) != list(range(1, len(columns) + 1)):
        table.complaints.append(
            Complaint(
                f"The {stem} columns are not numbered 1, 2, 3 and so on.",
                row=1,
                value=", ".join(str(number) for number in sorted(columns)),
                remedy="Number them from the front, with none left out.",
            )
        )
    return Measure(
        suffixes[0], tuple(column for _, (_, column) in sorted(columns.items()))
    )


@dataclass
class Cells:
    """Reads the cells of one row; faults go to the table's complaints."""

    table: Table
    row: Row

    def complain(
        self, message: str, *, column: str, expected: str = "", remedy: str = ""
    ) -> None:
        """Add a complaint about one cell."""
        self.table.complaints.append(
            Complaint(
                message,
                row=self.row.line,
                field=column,
                value=self.text(column),
                expected=expected,
                remedy=remedy,
            )
        )

    def text(self, column: str) -> str:
        """The cell's text; empty where there is no such column."""
        return self.row.cells.get(column, "")

    def required_text(self, column: str) -> str:
        """The cell's text, which must not be empty."""
        if not self.text(column):
            self.complain("The cell is empty.", column=column, remedy="Fill it in.")
        return self.text(column)

    def time(self, column: str, *, needs_clock: bool) -> dt.datetime | None:
        """A moment as ISO 8601 text."""
        text = self.required_text(column)
        if not text:
            return None
        try:
            moment = dt.datetime.fromisoformat(text)
        except ValueError:
            moment = None
        if moment is None or (needs_clock and len(text) <= len("2031-05-14")):
            self.complain(
                "This is not a date with a time of day.",
                column=column,
                expected="a time such as 2031-05-14T08:07",
                remedy="Write year, month, day, then hours and minutes.",
            )
        return moment

    def number(
        self, measure: Measure | None, *, low: float, high: float
    ) -> float | None:
        """A measured value in SI, or None where the cell or column is empty.

        ``low`` and ``high`` bound the value, in SI.
        """
        if measure is None or not self.text(measure.columns[0]):
            return None
        (column,) = measure.columns
        value = self._number(column, measure)
        if value is None:
            return None
        if not low <= value <= high:
            unit = UNITS[measure.unit]
            self.complain(
                "The value cannot be right.",
                column=column,
                expected=f"{unit.from_si(low):.4g} to {unit.from_si(high):.4g} "
                f"{unit.symbol}",
                remedy="Correct the value, or the unit in the heading.",
            )
        return value

    def numbers(self, measure: Measure | None) -> tuple[float, ...]:
        """The filled cells of a numbered family in SI; later cells may be empty."""
        if measure is None:
            return ()
        filled = [column for column in measure.columns if self.text(column)]
        for column in measure.columns[: len(filled)]:
            if column not in filled:
                self.complain(
                    "The cell is empty and one after it is not.",
                    column=column,
                    expected="the axles from front to rear, with none left out",
                    remedy="Fill the cell in, or remove the value after it.",
                )
        values = [self._number(column, measure) for column in filled]
        for column, value in zip(filled, values, strict=True):
            if value is not None and value <= 0:
                self.complain(
                    "The value is not greater than zero.",
                    column=column,
                    expected="a number greater than zero",
                    remedy="Correct it, or set the run aside with the reason.",
                )
        return tuple(value for value in values if value is not None)

    def _number(self, column: str, measure: Measure) -> float | None:
        try:
            return measure.to_si(parse_number(self.text(column)))
        except ValueError as error:
            self.complain(
                f"The cell cannot be read: {error}.",
                column=column,
                expected=f"a number in {measure.unit}",
                remedy="Correct the cell.",
            )
            return None

    def typed(self, measure: Measure) -> tuple[str, str]:
        """The text as typed, numbers of a family parted by spaces, and the unit."""
        texts = ["".join(self.text(column).split()) for column in measure.columns]
        return " ".join(text for text in texts if text), measure.unit
