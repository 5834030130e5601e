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
from quality.records.mapping import ColumnMapping
from quality.records.report import (
    MAX_LANES,
    Layout,
    ReadReport,
    Reason,
    too_many_lanes,
)
from quality.records.schema import (
    CODE_TYPE,
    MAX_AXLES,
    RECORD_SCHEMA,
    TIME_TYPE,
    LaneKey,
    TimeResolution,
    with_resolution,
)
from quality.records.w_explain import shown
from quality.records.w_record import lane_arrays, pack_bits, with_bits, with_nulls
from wimprog.lib.errors import Complaint, UnreadableInput

NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)$"
FEW_CODES = 1 << 16
US_DATE = r"^(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})(.*)$"


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
    reader: _Reader | None = None
    first_line = 1
    for raw, at_end in raw_blocks(source):
        data = raw
        if reader is None:
            head, _, data = raw.partition(b"\n")
            header = read_header(head, mapping.delimiter)
            problems = mapping.problems(header)
            if problems:
                raise UnreadableInput(
                    "The columns of this file do not fit its mapping: "
                    + " ".join(problem.message for problem in problems),
                    problems,
                )
            reader = _Reader(report, mapping, header)
            first_line = 2
        for piece in few_lines(data):
            cut = at_end and not piece.endswith(b"\n")
            n_lines = piece.count(b"\n") + cut
            if piece.strip(b"\r\n"):
                batch = reader.batch(piece, first_line, cut=cut)
                if batch.num_rows:
                    yield batch
            else:
                report.n_lines += n_lines
            first_line += n_lines


class _Reader:
    def __init__(
        self, report: ReadReport, mapping: ColumnMapping, header: list[str]
    ) -> None:
        self.report, self.mapping, self.header = report, mapping, header
        self.schema = with_resolution(RECORD_SCHEMA, report.resolution)
        self.numeric = mapping.numeric()

    def batch(self, raw: bytes, first_line: int, *, cut: bool) -> pa.RecordBatch:
        """The sound rows of a block; the others go into the report."""
        cells = self._as_numbers(raw, first_line) or self._as_text(
            raw, first_line, cut=cut
        )
        empty = self._empty(cells)
        self.report.n_lines += len(cells.lines)
        table, mapping = with_axles(cells.table, self.mapping)
        checked = check_rows(table, cells.bad, mapping, self._times(cells))
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
                column_names=names, block_size=64 << 20, use_threads=True
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

        def skip(row: pacsv.InvalidRow) -> str:
            line = first_line + row.number - 1 + sum(more for _, more in skipped)
            more = row.text.count("\n")
            skipped.append((row.number, more))
            is_last = cut and row.number == n_rows
            self._refuse_columns(line, row, is_last=is_last)
            return "skip"

        options = self._options(
            column_types={name: pa.string() for name in self.mapping.columns()},
            strings_can_be_null=False,
        )
        options["read_options"].use_threads = False  # type: ignore[attr-defined]
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
        complaint = Complaint(
            message=f"the line has {row.actual_columns} columns and the header "
            f"{len(self.header)}.{ending}",
            row=line,
            value=shown(row.text.encode()),
            expected=f"{len(self.header)} columns",
            remedy="Check for a decimal comma, a lost separator or a cut line.",
        )
        self.report.refuse(Reason.COLUMNS, complaint)

    def _times(self, cells: Cells) -> np.ndarray:
        """``datetime64[ms]``, NaT where the time could not be read, shape (n,)."""
        mapping, table = self.mapping, cells.table
        name = mapping.time or mapping.date
        text = pc.utf8_trim_whitespace(table.column(name).combine_chunks())
        if mapping.date_order != "ymd":
            year_first = (
                r"\3-0\1-0\2\4" if mapping.date_order == "mdy" else (r"\3-0\2-0\1\4")
            )
            text = pc.replace_substring_regex(text, US_DATE, year_first)
            text = pc.replace_substring_regex(text, r"-0(\d\d)", r"-\1")
        if mapping.clock:
            clock = pc.utf8_trim_whitespace(table.column(mapping.clock))
            clock = pc.replace_substring_regex(clock, r"^(\d):", r"0\1:")
            text = pc.binary_join_element_wise(text, clock.combine_chunks(), " ")
        times = _parse_times(text)
        if not mapping.time and mapping.hour:
            hours = table.column(mapping.hour).to_numpy()
            whole = np.isfinite(hours) & (hours >= 0) & (hours <= 23)
            whole &= np.where(whole, hours, 0) % 1 == 0
            offset = np.where(whole, hours, 0).astype("timedelta64[h]")
            times = np.where(whole, times + offset, np.datetime64("NaT", "ms"))
        return times

    def _to_batch(self, cells: Cells, checked: Checked) -> pa.RecordBatch:
        kept = np.flatnonzero(checked.code == 0)
        n = len(kept)
        if n == 0:
            return pa.RecordBatch.from_pylist([], schema=self.schema)
        codes, lanes = self._lanes(cells.table, kept)
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

    def _lanes(
        self, table: pa.Table, kept: np.ndarray
    ) -> tuple[np.ndarray, list[LaneKey]]:
        """Each kept row's place in the list of lanes, and that list."""
        mapping = self.mapping
        parts = (
            (mapping.state, mapping.state_code, 2),
            (mapping.station, mapping.station_id, 6),
            (mapping.direction, mapping.direction_code, 1),
            (mapping.lane, mapping.lane_code, 1),
        )
        codes = np.zeros(len(kept), dtype=np.int64)
        names: list[list[str]] = []
        for column, constant, width in parts:
            if not column:
                names.append([constant.zfill(width) if constant else ""])
                continue
            places, values = words_of(table.column(column))
            plain = [value.zfill(width) for value in values]
            names.append(list(dict.fromkeys(plain)))
            number = {value: n for n, value in enumerate(names[-1])}
            numbers = np.array([number[value] for value in plain], dtype=np.int64)
            if len(number) > MAX_LANES:
                raise too_many_lanes()
            codes = codes * len(number) + numbers[places[kept]]
        unique, places = _unique(codes)
        lanes = []
        for code in unique:
            rest, found = int(code), []
            for part in reversed(names):
                rest, which = divmod(rest, len(part)) if len(part) > 1 else (rest, 0)
                found.append(part[which])
            lanes.append(LaneKey(*reversed(found)))
        return places, lanes


def _unique(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """As ``np.unique`` with the inverse, without sorting where the codes are few."""
    most = int(codes.max(initial=0))
    if most > FEW_CODES:
        unique, places = np.unique(codes, return_inverse=True)
        return unique, places
    unique = np.flatnonzero(np.bincount(codes, minlength=most + 1))
    place = np.zeros(most + 1, dtype=np.int64)
    place[unique] = np.arange(len(unique))
    return unique, place[codes]


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
            extra[place:] += more
    return (lines + extra)[~gone][:n]


def _parse_times(text: pa.Array) -> np.ndarray:
    try:
        return pc.cast(text, TIME_TYPE).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        out = np.full(len(text), np.datetime64("NaT", "ms"))
        for place, one in enumerate(text.to_pylist()):
            try:
                out[place] = pa.scalar(one).cast(TIME_TYPE).value
            except (pa.ArrowInvalid, ValueError, TypeError):
                continue
        return out
