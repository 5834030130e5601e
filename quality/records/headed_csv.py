"""Read vehicle records from a delimited file with headed columns.

Blocks of whole lines go through a columnar CSV reader with numbers read as numbers. A
block in which that fails is read again as text, so that the faulty cells can be named
and the other rows kept. A quoted cell may not hold a line end.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from quality.records.blocks import ByteSource, few_lines, raw_blocks
from quality.records.csv_checks import Checked, check_rows, with_axles, words_of
from quality.records.csv_explain import explain_row
from quality.records.csv_lanes import lanes_of
from quality.records.csv_times import times_of
from quality.records.mapping import ColumnMapping
from quality.records.ordered import in_order
from quality.records.report import (
    Layout,
    ReadReport,
    Reason,
)
from quality.records.schema import (
    CODE_TYPE,
    MAX_AXLES,
    RECORD_SCHEMA,
    TIME_TYPE,
    TimeResolution,
    with_resolution,
)
from quality.records.w_explain import shown
from quality.records.w_record import lane_arrays, pack_bits, with_bits, with_nulls
from wimprog.lib.errors import Complaint, UnreadableInput

NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)$"


@dataclass(frozen=True)
class Cells:
    """One block: the text or numbers of the mapped columns, and each row's line."""

    table: pa.Table
    lines: np.ndarray
    bad: dict[str, np.ndarray]


def read_header(line: bytes, delimiter: str) -> list[str]:
    """The headings in a file's first line."""
    return [name.strip() for name in cells_of(line, delimiter)]


def cells_of(line: bytes, delimiter: str) -> list[str]:
    """The cells of one line; where its quotation makes no sense, as it stands."""
    text = line.decode("utf-8", errors="replace").strip("\r\n")
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error:
        return text.split(delimiter)


def read_headed_csv(
    source: ByteSource, report: ReadReport, mapping: ColumnMapping
) -> Iterator[pa.RecordBatch]:
    """Yield batches in :data:`~quality.records.schema.RECORD_SCHEMA`.

    Parameters
    ----------
    source
        Open binary file, at the header line.
    report
        Filled in as the reading goes on.
    mapping
        Which column holds what, and in which units.

    Raises
    ------
    UnreadableInput
        When the header does not have the mapped columns.
    """
    instant = bool(mapping.time or mapping.clock)
    report.layout = Layout.HEADED_CSV
    report.resolution = TimeResolution.INSTANT if instant else TimeResolution.HOUR
    schema = with_resolution(RECORD_SCHEMA, report.resolution)
    work = _pieces(source, mapping)

    def decode(piece: _Piece) -> tuple[pa.RecordBatch, ReadReport]:
        reader = _Reader(mapping, piece.header, schema)
        return reader.batch(piece), reader.report

    for batch, part in in_order(decode, work):
        report.absorb(part)
        if batch.num_rows:
            yield batch


@dataclass(frozen=True)
class _Piece:
    """Whole lines of the file, from ``first_line`` on; ``cut`` as in a block."""

    raw: bytes
    first_line: int
    cut: bool
    header: list[str]


def _pieces(source: ByteSource, mapping: ColumnMapping) -> Iterator[_Piece]:
    """The lines below the header."""
    header: list[str] = []
    first_line = 1
    for raw, at_end in raw_blocks(source):
        data = raw
        if first_line == 1:
            head, _, data = raw.partition(b"\n")
            header = read_header(head, mapping.delimiter)
            problems = mapping.problems(header)
            if problems:
                raise UnreadableInput(
                    "The columns of this file do not fit its mapping: "
                    + " ".join(problem.message for problem in problems),
                    problems,
                )
            first_line = 2
        for piece in few_lines(data):
            cut = at_end and not piece.endswith(b"\n")
            yield _Piece(piece, first_line, cut, header)
            first_line += piece.count(b"\n")


class _Reader:
    """Reads one piece; ``report`` is of that piece alone."""

    def __init__(
        self, mapping: ColumnMapping, header: list[str], schema: pa.Schema
    ) -> None:
        self.mapping, self.header, self.schema = mapping, header, schema
        self.numeric = mapping.numeric()
        self.report = ReadReport()

    def batch(self, piece: _Piece) -> pa.RecordBatch:
        """The sound rows; the others go into the report."""
        raw, first_line, cut = piece.raw, piece.first_line, piece.cut
        if not raw.strip(b"\r\n"):
            self.report.n_lines += raw.count(b"\n") + cut
            return _none(self.schema)
        cells = self._as_numbers(raw, first_line) or self._as_text(
            raw, first_line, cut=cut
        )
        empty = self._empty(cells)
        self.report.n_lines += len(cells.lines)
        table, mapping = with_axles(cells.table, self.mapping)
        checked = check_rows(table, cells.bad, mapping, times_of(cells.table, mapping))
        for place in np.flatnonzero((checked.code != 0) & ~empty):
            reason = checked.reasons[checked.code[place] - 1]
            line = int(cells.lines[place])
            complaint = None
            if self.report.wants_complaint():
                last = cut and place == len(cells.lines) - 1
                complaint = explain_row(
                    table, int(place), reason, mapping, line=line, cut=last
                )
            self.report.refuse(reason, complaint)
        checked.code[empty] = 255
        return self._to_batch(cells, checked)

    def _empty(self, cells: Cells) -> np.ndarray:
        """Rows in which every mapped cell is empty, shape (n,)."""
        empty = np.ones(len(cells.lines), dtype=bool)
        for name in self.numeric:
            empty &= cells.table.column(name).is_null().to_numpy()
            if name in cells.bad:
                empty &= ~cells.bad[name]
            if not empty.any():
                return empty
        for name in self.mapping.columns():
            if name not in self.numeric:
                codes, values = words_of(cells.table.column(name))
                empty &= np.array([not value for value in values], dtype=bool)[codes]
        return empty

    def _options(self, **convert: object) -> dict[str, object]:
        names = [f"{i}" for i in range(len(self.header))]
        wanted = self.mapping.columns()
        for name in wanted:
            names[self.header.index(name)] = name
        return {
            "read_options": pacsv.ReadOptions(
                column_names=names, block_size=64 << 20, use_threads=False
            ),
            "convert_options": pacsv.ConvertOptions(
                include_columns=list(wanted),
                decimal_point=self.mapping.decimal_mark,
                **convert,
            ),
        }

    def _as_numbers(self, raw: bytes, first_line: int) -> Cells | None:
        """The block with numbers read as numbers; None when some cell is not one."""
        types = dict.fromkeys(self.mapping.columns(), pa.string())
        types |= dict.fromkeys(self.mapping.identity(), CODE_TYPE)
        types |= dict.fromkeys(self.numeric, pa.float64())
        parse = pacsv.ParseOptions(
            delimiter=self.mapping.delimiter, ignore_empty_lines=False
        )
        try:
            table = pacsv.read_csv(
                io.BytesIO(raw),
                parse_options=parse,
                **self._options(column_types=types, null_values=[""]),
            )
        except pa.ArrowInvalid:
            return None
        for name in self.numeric:
            # null where the whole column is empty
            if pc.all(pc.is_finite(table.column(name))).as_py() is False:
                return None
        lines = first_line + np.arange(table.num_rows, dtype=np.int64)
        return Cells(table.combine_chunks(), lines, {})

    def _as_text(self, raw: bytes, first_line: int, *, cut: bool) -> Cells:
        """The block as text; cells that should be numbers and are not are marked."""
        skipped: list[tuple[int, int]] = []
        n_rows = raw.count(b"\n") + 1
        more_lines = 0

        def skip(row: pacsv.InvalidRow) -> str:
            nonlocal more_lines
            line = first_line + row.number - 1 + more_lines
            more = row.text.count("\n")
            more_lines += more
            skipped.append((row.number, more))
            is_last = cut and row.number == n_rows
            self._refuse_columns(line, row, is_last=is_last)
            return "skip"

        options = self._options(
            column_types={name: pa.string() for name in self.mapping.columns()},
            strings_can_be_null=False,
        )
        parse = pacsv.ParseOptions(
            delimiter=self.mapping.delimiter,
            ignore_empty_lines=False,
            invalid_row_handler=skip,
        )
        sound = raw.decode("utf-8", errors="replace").encode()
        try:
            table = pacsv.read_csv(io.BytesIO(sound), parse_options=parse, **options)
        except pa.ArrowInvalid as error:
            raise UnreadableInput(
                f"The lines from {first_line:,} on cannot be told into columns "
                f"({error}). Look for a quotation mark that is not closed."
            ) from None
        self.report.n_lines += len(skipped)
        lines = _line_numbers(table.num_rows, first_line, skipped)
        bad: dict[str, np.ndarray] = {}
        columns = {}
        for name in self.mapping.columns():
            column = pc.utf8_trim_whitespace(table.column(name).combine_chunks())
            if name in self.numeric:
                if self.mapping.decimal_mark == ",":
                    column = pc.replace_substring(column, ",", ".")
                is_number = pc.match_substring_regex(column, NUMBER)
                given = pc.not_equal(column, "")
                bad[name] = pc.and_(given, pc.invert(is_number)).to_numpy(
                    zero_copy_only=False
                )
                numbers = pc.if_else(is_number, column, pa.scalar(None, pa.string()))
                columns[f"{name}"] = pc.cast(numbers, pa.float64())
                columns[f"text of {name}"] = column
            else:
                columns[name] = column
        return Cells(pa.table(columns), lines, bad)

    def _refuse_columns(
        self, line: int, row: pacsv.InvalidRow, *, is_last: bool
    ) -> None:
        ending = " The file ends in the middle of this line." if is_last else ""
        if not self.report.wants_complaint():
            self.report.refuse(Reason.COLUMNS, None)
            return
        complaint = Complaint(
            message=f"the line has {row.actual_columns} columns and the header "
            f"{len(self.header)}.{ending}",
            row=line,
            value=shown(row.text.encode()),
            expected=f"{len(self.header)} columns",
            remedy="Check for a decimal comma, a lost separator or a cut line.",
        )
        self.report.refuse(Reason.COLUMNS, complaint)

    def _to_batch(self, cells: Cells, checked: Checked) -> pa.RecordBatch:
        kept = np.flatnonzero(checked.code == 0)
        n = len(kept)
        if n == 0:
            return _none(self.schema)
        codes, lanes = lanes_of(cells.table, self.mapping, kept)
        for lane, count in zip(
            lanes, np.bincount(codes, minlength=len(lanes)), strict=True
        ):
            if count:
                self.report.saw(lane, int(count))
        whole = n == len(checked.code)

        def chosen(values: np.ndarray) -> np.ndarray:
            return values if whole else values[kept]

        times = chosen(checked.time)
        self.report.n_kept += n
        self.report.spans(times.min(), times.max())
        n_axles = chosen(checked.n_axles)
        speed, classes = chosen(checked.speed_kmh), chosen(checked.vehicle_class)
        arrays = lane_arrays(codes, lanes)
        arrays += [
            pa.array(times.astype(np.int64)).view(TIME_TYPE),
            with_nulls(classes, classes != 0),
            with_nulls(speed, ~np.isnan(speed)),
            pa.array(chosen(checked.gvw_kg)),
            pa.array(n_axles),
        ]
        none = pa.nulls(n, pa.float32())
        n_columns = len(checked.weights_kg)
        for k in range(MAX_AXLES):
            if k >= n_columns:
                arrays += [none, none]
                continue
            bits = pack_bits(n_axles > k)
            if k:
                arrays.append(with_bits(chosen(checked.spacings_m[k - 1]), bits))
            arrays.append(with_bits(chosen(checked.weights_kg[k]), bits))
        arrays.append(pa.array(chosen(cells.lines).astype(np.int32)))
        for value in (chosen(checked.temperature_c), chosen(checked.imbalance_pct)):
            arrays.append(with_nulls(value, ~np.isnan(value)))
        return pa.RecordBatch.from_arrays(arrays, schema=self.schema)


def _line_numbers(
    n: int, first_line: int, skipped: list[tuple[int, int]]
) -> np.ndarray:
    """Line of each row that was read, past those that were skipped."""
    lines = first_line + np.arange(n + len(skipped), dtype=np.int64)
    gone = np.zeros(len(lines), dtype=bool)
    extra = np.zeros(len(lines), dtype=np.int64)
    for number, more in skipped:
        place = number - 1
        if place < len(lines):
            gone[place] = True
            extra[place] += more
    extra = np.cumsum(extra)
    return (lines + extra)[~gone][:n]


def _none(schema: pa.Schema) -> pa.RecordBatch:
    """No records."""
    return pa.RecordBatch.from_pylist([], schema=schema)
