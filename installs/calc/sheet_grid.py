"""The cells of a spreadsheet, CSV or XLSX, from its bytes; no file is opened.

A workbook is a zip of XML and can be made to swell: what it holds is added up before it
is unpacked, and rows, columns and cells are counted while it is read. Only the first
sheet is read; formulas give the value that the spreadsheet program kept beside them.

Rows count as a spreadsheet counts them: the first is 1, empty ones included.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from openpyxl import load_workbook

from wimprog.lib.errors import Complaint, UnreadableInput

MOST_BYTES = 1_000_000
MOST_UNPACKED_BYTES = 40_000_000
MOST_PARTS = 500
MOST_ROWS = 5_000
MOST_COLUMNS = 60
MOST_SIGNS = 2_000

_ZIP = b"PK\x03\x04"
_OLE = b"\xd0\xcf\x11\xe0"
_SEPARATORS = (",", ";", "\t")
_FORMULA = re.compile(rb"<f[ />]")
_SAVE_AS = (
    "Save the sheet as an Excel workbook (.xlsx) or as CSV UTF-8; give that file."
)


@dataclass(frozen=True)
class Cell:
    """One cell: its text; its moment where the workbook holds a date or a time."""

    text: str = ""
    moment: dt.datetime | dt.time | None = None
    fault: str = ""


EMPTY = Cell()


@dataclass(frozen=True)
class SheetGrid:
    """The filled rows of a sheet with their numbers, and where they are from."""

    name: str
    sheet: str
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]


def read_grid(content: bytes, *, name: str = "The sheet") -> SheetGrid:
    """Take a spreadsheet apart into cells.

    Parameters
    ----------
    content
        The file's bytes.
    name
        What to call it in messages.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When it is too large, or no sheet that can be read.
    """
    if not content.strip():
        raise _refused(name, Complaint("The file is empty.", remedy="Choose another."))
    if len(content) > MOST_BYTES:
        raise _refused(
            name,
            Complaint(
                "The file is too large for a sheet of tests.",
                value=f"{len(content):,} bytes",
                expected=f"at most {MOST_BYTES:,} bytes",
                remedy="Take pictures and other sheets out, or split it.",
            ),
        )
    if content.startswith(_OLE):
        raise _refused(
            name,
            Complaint(
                "This is an old workbook (.xls) or one with a password.",
                remedy=_SAVE_AS,
            ),
        )
    if content.startswith(_ZIP):
        return _workbook(content, name)
    return _text(content, name)


def _refused(name: str, complaint: Complaint) -> UnreadableInput:
    return UnreadableInput(
        f"{name} cannot be read as a sheet of tests. Nothing was stored.", (complaint,)
    )


def _gathered(
    rows: Iterable[tuple[int, tuple[Cell, ...]]], name: str
) -> tuple[tuple[int, tuple[Cell, ...]], ...]:
    found = []
    for number, cells in rows:
        if number > MOST_ROWS:
            raise _refused(
                name,
                Complaint(
                    "The sheet has too many rows.",
                    row=number,
                    expected=f"at most {MOST_ROWS:,} rows",
                    remedy="Split it, or clear what stands below the tests.",
                ),
            )
        while cells and cells[-1] == EMPTY:
            cells = cells[:-1]
        if not cells:
            continue
        if len(cells) > MOST_COLUMNS:
            raise _refused(
                name,
                Complaint(
                    "The row has too many cells.",
                    row=number,
                    value=f"{len(cells)} cells",
                    expected=f"at most {MOST_COLUMNS}",
                    remedy="Clear what stands to the right of the tests.",
                ),
            )
        found.append((number, cells))
    if not found:
        raise _refused(name, Complaint("The sheet is empty.", remedy="Choose another."))
    return tuple(found)


# --- text --------------------------------------------------------------------------


def _text(content: bytes, name: str) -> SheetGrid:
    try:
        wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(
            name,
            Complaint(
                "The file holds a byte that is not UTF-8 text.",
                row=content.count(b"\n", 0, error.start) + 1,
                value=f"byte {content[error.start]:#04x}",
                remedy=_SAVE_AS,
            ),
        ) from None
    if "\x00" in text:
        raise _refused(
            name, Complaint("The file is not text; it holds zeros.", remedy=_SAVE_AS)
        )
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(_SEPARATORS, key=head.count)
    return SheetGrid(name, "", _gathered(_text_rows(text, separator, name), name))


def _text_rows(
    text: str, separator: str, name: str
) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    number = 0
    try:
        for number, texts in enumerate(reader, start=1):
            yield number, tuple(_text_cell(one) for one in texts)
    except csv.Error as error:
        raise _refused(
            name,
            Complaint(
                f"The row is not well-formed ({error}).",
                row=number + 1,
                expected="cells in plain text, or in one pair of quotes",
                remedy="Look for a stray or missing quotation mark.",
            ),
        ) from None


def _text_cell(text: str) -> Cell:
    if len(text) > MOST_SIGNS:
        return Cell(text[:20] + "…", fault=f"it holds more than {MOST_SIGNS:,} signs")
    return Cell(text.strip())


# --- workbooks ---------------------------------------------------------------------


def _workbook(content: bytes, name: str) -> SheetGrid:
    _guard(content, name)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions, not of cells
            values, sheet = _sheet_rows(content, kept_values=True)
            # Only a sheet with formulas is read twice.
            twice = _has_formulas(content)
            formulas = _sheet_rows(content, kept_values=False)[0] if twice else values
            rows = tuple(
                (number, tuple(map(_book_cell, cells, told)))
                for number, (cells, told) in enumerate(
                    zip(values, formulas, strict=True), start=1
                )
            )
    except UnreadableInput:
        raise
    except Exception as error:  # the reader has no error of its own for a torn file
        raise _refused(
            name,
            Complaint(
                "The workbook cannot be read; it may be torn, or not a workbook.",
                value=type(error).__name__,
                remedy=f"Open it in a spreadsheet program. {_SAVE_AS}",
            ),
        ) from error
    return SheetGrid(name, sheet, _gathered(rows, name))


def _guard(content: bytes, name: str) -> None:
    """Refuse a zip that would swell, before anything of it is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            parts = book.infolist()
    except zipfile.BadZipFile:
        raise _refused(
            name, Complaint("The workbook is torn.", remedy="Copy or save it again.")
        ) from None
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > MOST_PARTS or unpacked > MOST_UNPACKED_BYTES:
        raise _refused(
            name,
            Complaint(
                "The workbook would unpack to more than a sheet of tests can be.",
                value=f"{unpacked:,} bytes in {len(parts)} parts",
                expected=f"at most {MOST_UNPACKED_BYTES:,} bytes in {MOST_PARTS}",
                remedy="Copy the tests alone into a new workbook, as values.",
            ),
        )
    if not any(part.filename == "xl/workbook.xml" for part in parts):
        raise _refused(
            name, Complaint("This zip file is not a workbook.", remedy=_SAVE_AS)
        )


def _has_formulas(content: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        sheets = [n for n in book.namelist() if n.startswith("xl/worksheets/")]
        return any(_FORMULA.search(book.read(name)) for name in sheets)


def _sheet_rows(content: bytes, *, kept_values: bool) -> tuple[list[tuple], str]:
    """Rows of the first sheet, one more and one wider than may be, so as to see it."""
    book = load_workbook(io.BytesIO(content), read_only=True, data_only=kept_values)
    try:
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # what the file says of its size is not to be believed
        rows = []
        for row in sheet.iter_rows(
            max_row=MOST_ROWS + 1, max_col=MOST_COLUMNS + 1, values_only=True
        ):
            rows.append(row)
        return rows, str(sheet.title)
    finally:
        book.close()


def _book_cell(value: Any, told: Any) -> Cell:
    if value is None:
        if isinstance(told, str) and told.startswith("="):
            return Cell(told[:40], fault="it holds a formula without the value it gave")
        return EMPTY
    if isinstance(value, bool):
        return Cell(str(value))
    if isinstance(value, int | float):
        return Cell(format(value, ".15g"))
    if isinstance(value, dt.datetime):
        return Cell(value.isoformat(sep=" ", timespec="minutes"), value)
    if isinstance(value, dt.date):
        midnight = dt.datetime(value.year, value.month, value.day)  # noqa: DTZ001
        return Cell(value.isoformat(), midnight)
    if isinstance(value, dt.time):
        return Cell(value.isoformat(timespec="minutes"), value)
    return _text_cell(str(value))
