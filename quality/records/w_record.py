"""Read truck weight records in any of their written forms.

The file goes through in blocks of whole lines, so that memory stays bounded however
large it is; two blocks are decoded at a time while the next is fetched. A line that
cannot be trusted is refused with its number and the reason; the sound ones around it
are kept, in file order.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from quality.records import w_layout as at
from quality.records.blocks import Block, ByteSource, line_blocks
from quality.records.ordered import in_order
from quality.records.report import HourMark, Layout, ReadReport, Reason
from quality.records.schema import (
    CODE_TYPE,
    IDENTITY_COLUMNS,
    MAX_AXLES,
    OPTIONAL_COLUMNS,
    RECORD_SCHEMA,
    LaneKey,
    TimeResolution,
    with_resolution,
)
from quality.records.w_2001 import W_2001
from quality.records.w_decode import (
    CODE,
    HOUR_MARK,
    KEPT,
    MS_PER_HOUR,
    REASONS,
    Decoded,
    decode_block,
)
from quality.records.w_explain import explain, shown
from quality.records.w_forms import W_FIXED, W_PIPE, WForm
from quality.records.w_pipe import (
    FULL_WIDTHS,
    IDENTITY_LENGTH,
    Identity,
    fixed_identity,
    pipe_rows,
)
from wimprog.lib.errors import Complaint, UnreadableInput

SCHEMA = with_resolution(RECORD_SCHEMA, TimeResolution.HOUR)
FORMS = {form.layout: form for form in (W_FIXED, W_PIPE, W_2001)}
PIECE = 8192
"""Lines decoded at once: few enough for a processor's cache."""


def read_w_records(
    source: ByteSource,
    report: ReadReport,
    *,
    layout: Layout = Layout.W_FIXED,
    options: at.WOptions = at.WOptions(),  # noqa: B008  (frozen)
) -> Iterator[pa.RecordBatch]:
    """Yield batches in :data:`~quality.records.schema.RECORD_SCHEMA`.

    Parameters
    ----------
    source
        Open binary file, at the first line.
    report
        Filled in as the reading goes on.
    layout
        One of :data:`FORMS`.
    options
        Meaning of the open field; tolerance of the axle sum.

    Raises
    ------
    UnreadableInput
        When the file changes its layout on the way, or has no lines at all.
    """
    report.layout, report.resolution = layout, TimeResolution.HOUR
    decoder = _Decoder(FORMS[layout], options)
    account = _Account(report, FORMS[layout])
    for done in in_order(decoder.decode, line_blocks(source)):
        account.take(done)
        if done.batch is not None:
            yield done.batch
    if account.n_open_unread:
        what = options.open_field.value.split(",")[0]
        report.note(
            f"{account.n_open_unread:,} records hold something else than a {what} in "
            f"the open field; their {what} is not known."
        )


@dataclass(frozen=True)
class _Done:
    """A block decoded: its batch, and what the report has still to learn."""

    block: Block
    out: Decoded
    ident: Identity
    batch: pa.RecordBatch | None
    lanes: dict[LaneKey, int]
    period: tuple[np.datetime64, np.datetime64] | None


class _Decoder:
    """Blocks in, batches out: keeps nothing, so that blocks may go side by side."""

    def __init__(self, form: WForm, options: at.WOptions) -> None:
        self.form, self.options = form, options

    def decode(self, block: Block) -> _Done:
        """The block's sound records, and the reasons of its other lines."""
        n = len(block.starts)
        out = Decoded.room(n)
        lengths = block.stops - block.starts
        self._refuse_other_layouts(block, lengths)
        if self.form.pipe:
            ident, too_long = self._decode_piped(block, lengths, out)
        else:
            ident = fixed_identity(block)
            too_long = self._decode_by_length(block, lengths, out)
        out.code[too_long] = CODE[Reason.TOO_LONG]
        out.code[lengths == 0] = HOUR_MARK  # an empty line says nothing
        return self._done(block, out, ident)

    def _decode_piped(
        self, block: Block, lengths: np.ndarray, out: Decoded
    ) -> tuple[Identity, np.ndarray]:
        """Decode delimited lines; True where a line is too long.

        Lines of full-width fields are fixed columns with pipes between; the others
        have their fields set out one by one.
        """
        n = len(lengths)
        fixed = np.empty((n, IDENTITY_LENGTH), dtype=np.uint8)
        other = np.ones(n, dtype=bool)
        for length, kind in FULL_WIDTHS.items():
            group = np.flatnonzero(lengths == length)
            for begin in range(0, len(group), PIECE):
                rows = group[begin : begin + PIECE]
                lines = block.bytes_at(block.starts[rows], length)
                columns, such = kind.columns(lines)
                rows = rows[such]
                if len(rows):
                    decode_block(columns, out, rows, self.options, self.form)
                    fixed[rows] = columns[1 : IDENTITY_LENGTH + 1].T
                    other[rows] = False
        too_long = np.zeros(n, dtype=bool)
        places = np.flatnonzero(other)
        parts = []
        for begin in range(0, len(places), PIECE):
            some = places[begin : begin + PIECE]
            set_out, ident, too_long[some] = pipe_rows(block.only(some))
            columns = np.ascontiguousarray(set_out.T)
            decode_block(columns, out, some, self.options, self.form)
            parts.append((some, ident))
        return Identity.merged(fixed, parts), too_long

    def _decode_by_length(
        self, block: Block, lengths: np.ndarray, out: Decoded
    ) -> np.ndarray:
        """Decode each group of lines of one length; True where a line is too long."""
        longest = self.form.record_length
        too_long = np.zeros(len(lengths), dtype=bool)
        widths = np.minimum(lengths, longest)
        for place in np.flatnonzero(lengths > longest):
            too_long[place] = bool(block.line(place)[longest:].strip())
        order = np.argsort(widths.astype(np.uint8), kind="stable")
        counts = np.bincount(widths, minlength=longest + 1)
        stops = np.cumsum(counts)
        for width in np.flatnonzero(counts):
            if width == 0:
                continue
            group = order[stops[width] - counts[width] : stops[width]]
            for begin in range(0, len(group), PIECE):
                rows = group[begin : begin + PIECE]
                lines = block.bytes_at(block.starts[rows], int(width))
                columns = self.form.set_out(np.ascontiguousarray(lines.T))
                decode_block(columns, out, rows, self.options, self.form)
        return too_long

    def _refuse_other_layouts(self, block: Block, lengths: np.ndarray) -> None:
        """Stop at the first line that plainly belongs to another layout."""
        data, starts = block.data, block.starts
        first = data[np.minimum(starts, len(data) - 1)]
        second = data[np.minimum(starts + 1, len(data) - 1)]
        is_w = first == ord("W")
        if self.form.pipe:
            other = is_w & (second != ord("|")) & (lengths >= at.MARK_LENGTH)
            name = "a fixed-width record in a pipe-delimited file"
        else:
            other = is_w & (second == ord("|")) & (lengths > 1)
            name = "a pipe-delimited record in a fixed-width file"
        for place in np.flatnonzero(other)[:1]:
            raise mixed(block, int(place), name, self.form.layout)
        for place in np.flatnonzero((first == ord("S")) & (lengths > 23)):
            if at.looks_like_station_record(block.line(place)):
                raise mixed(
                    block,
                    int(place),
                    "a station record among truck weight records",
                    self.form.layout,
                )

    def _done(self, block: Block, out: Decoded, ident: Identity) -> _Done:
        kept = np.flatnonzero(out.code == KEPT)
        if len(kept) == 0:
            return _Done(block, out, ident, None, {}, None)
        codes, lanes = ident.lanes(kept)
        counts = np.bincount(codes, minlength=len(lanes)).tolist()
        time_ms = out.time_ms[kept]
        period = (
            np.datetime64(int(time_ms.min()), "ms"),
            np.datetime64(int(time_ms.max()), "ms"),
        )
        arrays: list[pa.Array] = lane_arrays(codes, lanes)
        arrays += self._columns(out, kept, time_ms)
        arrays.insert(-len(OPTIONAL_COLUMNS), _lines(kept, block.first_line))
        batch = pa.RecordBatch.from_arrays(arrays, schema=SCHEMA)
        seen = {lane: n for lane, n in zip(lanes, counts, strict=True) if n}
        return _Done(block, out, ident, batch, seen, period)

    def _columns(
        self, out: Decoded, kept: np.ndarray, time_ms: np.ndarray
    ) -> list[pa.Array]:
        """The record's own columns of the kept lines, but for the line number."""
        n = len(kept)
        whole = n == len(out.code)

        def chosen(values: np.ndarray) -> np.ndarray:
            return values if whole else values[kept]

        none = pa.nulls(n, pa.float32())
        n_axles, classes = chosen(out.n_axles), chosen(out.vehicle_class)
        speed = temperature = none
        if self.options.open_field is not at.OpenField.NOT_USED:
            value = chosen(out.open_value)
            column = with_nulls(value, ~np.isnan(value))
            if self.options.open_field is at.OpenField.TEMPERATURE_F:
                temperature = column
            else:
                speed = column
        arrays = [
            pa.array(time_ms).view(SCHEMA.field("time").type),
            with_nulls(classes, classes != 0),
            speed,
            pa.array(chosen(out.gvw_kg)),
            pa.array(n_axles),
        ]
        most = int(n_axles.max())
        for k in range(MAX_AXLES):
            if k >= most:
                arrays += [none] * (2 if k else 1)
                continue
            bits = pack_bits(n_axles > k)
            if k:
                arrays.append(with_bits(chosen(out.spacings_m[k - 1]), bits))
            arrays.append(with_bits(chosen(out.weights_kg[k]), bits))
        return [*arrays, temperature, none]


class _Account:
    """Tells the report of each block, in file order."""

    def __init__(self, report: ReadReport, form: WForm) -> None:
        self.report, self.form = report, form
        self.n_open_unread = 0

    def take(self, done: _Done) -> None:
        """Count the block's lines; explain the refused, keep the hour marks."""
        report = self.report
        report.n_lines += len(done.out.code)
        self.n_open_unread += done.out.n_open_unread
        if (done.out.code != KEPT).any():
            self._take_hour_marks(done)
            self._tell_refused(done)
        for lane, n in done.lanes.items():
            report.saw(lane, n)
            report.n_kept += n
        if done.period:
            report.spans(*done.period)

    def _tell_refused(self, done: _Done) -> None:
        """Report the refused lines."""
        block, code = done.block, done.out.code
        layout = self.form.layout
        places = np.flatnonzero((code != KEPT) & (code != HOUR_MARK))
        rows = pipe_rows(block.only(places))[0] if self.form.pipe else None
        for at_row, place in enumerate(places.tolist()):
            raw = block.line(place)
            reason = REASONS[code[place] - 1]
            columns = raw
            if rows is not None and reason is not Reason.TOO_LONG:
                columns = rows[at_row].tobytes().rstrip()
            if layout is Layout.W_2001 and at.reads_as_2016(raw):
                what = "a 2013 or 2016 truck weight record"
                raise mixed(block, place, what, layout)
            if reason is Reason.DATE and at.reads_as_2001(columns):
                raise mixed(block, place, "a 2001 metric truck weight record", layout)
            complaint = None
            if self.report.wants_complaint():
                cut = block.cut and place == len(code) - 1
                row = block.first_line + place
                complaint = explain(columns, reason, row=row, form=self.form, cut=cut)
            self.report.refuse(reason, complaint)

    def _take_hour_marks(self, done: _Done) -> None:
        """Keep the ``m`` and ``d`` lines whose heads are sound; refuse the others."""
        block, out = done.block, done.out
        marked = (out.code == HOUR_MARK) & (block.stops > block.starts)
        places = np.flatnonzero(marked)
        if len(places) == 0:
            return
        if self.form.pipe:
            heads = pipe_rows(block.only(places))[0][:, : at.MARK_LENGTH]
        else:
            heads = block.bytes_at(block.starts[places], at.MARK_LENGTH)
        # the head is checked as that of a vehicle without faults of its own
        columns = np.empty((at.line_length(2), len(places)), dtype=np.uint8)
        columns[: at.VEHICLE_CLASS.start] = heads[:, : at.VEHICLE_CLASS.start].T
        columns[at.VEHICLE_CLASS.start :] = _SOUND_TAIL[:, None]
        found = Decoded.room(len(places))
        decode_block(columns, found, np.arange(len(places)), at.WOptions())
        sound = found.code == KEPT
        out.code[places[~sound]] = found.code[~sound]
        if not sound.any():
            return
        codes, lanes = done.ident.lanes(places[sound])
        letters = heads[sound, at.VEHICLE_CLASS.start : at.VEHICLE_CLASS.stop] | 32
        missing = (letters == ord("m")).any(axis=1)
        hours = (found.time_ms[sound] // MS_PER_HOUR).view("datetime64[h]")
        for code, hour, is_missing in zip(
            codes.tolist(), hours, missing.tolist(), strict=True
        ):
            self.report.mark(HourMark(lanes[code], hour, missing=is_missing))


def mixed(block: Block, place: int, what: str, layout: Layout) -> UnreadableInput:
    """The refusal of a file whose line ``place`` is of another layout."""
    row = block.first_line + place
    return UnreadableInput(
        f"The file mixes layouts: line {row:,} is {what}. Nothing was taken from "
        "it; put each layout into a file of its own.",
        (
            Complaint(
                message=f"this is {what}.",
                row=row,
                value=shown(block.line(place)),
                expected=f"every line in one layout ({layout.value})",
                remedy="Put each layout into a file of its own.",
            ),
        ),
    )


def pack_bits(valid: np.ndarray) -> pa.Buffer | None:
    """Which values are not null, as Arrow keeps it; None when all are there."""
    return None if valid.all() else pa.py_buffer(np.packbits(valid, bitorder="little"))


def with_bits(values: np.ndarray, bits: pa.Buffer | None) -> pa.Array:
    """Values (contiguous) and their bits as an Arrow array, without a copy."""
    kind = pa.from_numpy_dtype(values.dtype)
    return pa.Array.from_buffers(kind, len(values), [bits, pa.py_buffer(values)])


def with_nulls(values: np.ndarray, valid: np.ndarray) -> pa.Array:
    """Values, null where not ``valid``."""
    return with_bits(values, pack_bits(valid))


def _lines(kept: np.ndarray, first_line: int) -> pa.Array:
    return pa.array((kept + first_line).astype(np.int32))


def lane_arrays(codes: np.ndarray, lanes: list[LaneKey]) -> list[pa.Array]:
    """The four identity columns from each record's place in ``lanes``."""
    arrays = []
    for part in range(len(IDENTITY_COLUMNS)):
        names = list(dict.fromkeys(lane[part] for lane in lanes))
        place = {name: i for i, name in enumerate(names)}
        lookup = np.array([place[lane[part]] for lane in lanes], dtype=np.int32)
        arrays.append(
            pa.DictionaryArray.from_arrays(
                pa.array(lookup[codes]), pa.array(names, pa.string())
            ).cast(CODE_TYPE)
        )
    return arrays


_SOUND_TAIL = np.frombuffer(b"     0000020200001000100001", dtype=np.uint8)
"""Class and open field blank, then two axles of one pound a tenth of a foot apart."""
