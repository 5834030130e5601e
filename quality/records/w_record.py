"""Read truck weight records (TMG 2013 and 2016, fixed width or pipe-delimited).

The file goes through in blocks of whole lines, so that memory stays bounded however
large it is. A line that cannot be trusted is refused with its number and the reason;
the sound ones around it are kept, in file order.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
from numpy.lib.stride_tricks import sliding_window_view

from quality.records import w_layout as at
from quality.records.blocks import Block, ByteSource, line_blocks
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
from quality.records.w_decode import (
    HOUR_MARK,
    KEPT,
    MS_PER_HOUR,
    REASONS,
    Decoded,
    decode_block,
)
from quality.records.w_explain import explain, shown
from quality.records.w_pipe import Identity, fixed_identity, pipe_rows
from wimprog.lib.errors import Complaint, UnreadableInput

SCHEMA = with_resolution(RECORD_SCHEMA, TimeResolution.HOUR)


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
        ``W_FIXED`` or ``W_PIPE``.
    options
        Meaning of the open field; tolerance of the axle sum.

    Raises
    ------
    UnreadableInput
        When the file changes its layout on the way, or has no lines at all.
    """
    report.layout, report.resolution = layout, TimeResolution.HOUR
    reader = _Reader(report, pipe=layout is Layout.W_PIPE, options=options)
    for block in line_blocks(source):
        batch = reader.batch(block)
        if batch.num_rows:
            yield batch
    if report.n_open_not_speed:
        report.note(
            f"{report.n_open_not_speed:,} records hold something else than a speed in "
            "the open field; their speed is not known."
        )


class _Reader:
    def __init__(self, report: ReadReport, *, pipe: bool, options: at.WOptions) -> None:
        self.report, self.pipe, self.options = report, pipe, options

    def batch(self, block: Block) -> pa.RecordBatch:
        """The block's sound records; its other lines go into the report."""
        n = len(block.starts)
        out = Decoded.room(n)
        lengths = block.stops - block.starts
        self._refuse_other_layouts(block, lengths)
        too_long = np.zeros(n, dtype=bool)
        if self.pipe:
            rows, ident, too_long = pipe_rows(block)
            everything = np.arange(n)
            for piece in np.array_split(everything, max(n // 16384, 1)):
                columns = np.ascontiguousarray(rows[piece].T)
                decode_block(columns, out, piece, self.options)
        else:
            rows = None
            ident = fixed_identity(block, lengths)
            too_long = self._decode_by_length(block, lengths, out)
        out.code[too_long] = REASONS.index(Reason.TOO_LONG) + 1
        self._take_hour_marks(block, rows, out, ident)
        self.report.n_lines += n
        self.report.n_open_not_speed += out.n_open_not_speed
        out.code[lengths == 0] = HOUR_MARK  # an empty line says nothing
        self._tell_refused(block, rows, out, lengths)
        return self._to_batch(block, out, ident)

    def _decode_by_length(
        self, block: Block, lengths: np.ndarray, out: Decoded
    ) -> np.ndarray:
        """Decode each group of lines of one length; True where a line is too long."""
        too_long = np.zeros(len(lengths), dtype=bool)
        widths = np.minimum(lengths, at.RECORD_LENGTH)
        for place in np.flatnonzero(lengths > at.RECORD_LENGTH):
            tail = block.line(place)[at.RECORD_LENGTH :]
            too_long[place] = bool(tail.strip())
        order = np.argsort(widths.astype(np.uint8), kind="stable")
        counts = np.bincount(widths, minlength=at.RECORD_LENGTH + 1)
        stops = np.cumsum(counts)
        for width in np.flatnonzero(counts):
            if width == 0:
                continue
            rows = order[stops[width] - counts[width] : stops[width]]
            windows = sliding_window_view(block.data, int(width))
            columns = np.ascontiguousarray(windows[block.starts[rows]].T)
            decode_block(columns, out, rows, self.options)
        return too_long

    def _refuse_other_layouts(self, block: Block, lengths: np.ndarray) -> None:
        """Stop at the first line that plainly belongs to another layout."""
        data, starts = block.data, block.starts
        first = data[np.minimum(starts, len(data) - 1)]
        second = data[np.minimum(starts + 1, len(data) - 1)]
        is_w = first == ord("W")
        if self.pipe:
            other = is_w & (second != ord("|")) & (lengths >= at.MARK_LENGTH)
            name = "a fixed-width record in a pipe-delimited file"
        else:
            other = is_w & (second == ord("|")) & (lengths > 1)
            name = "a pipe-delimited record in a fixed-width file"
        for place in np.flatnonzero(other)[:1]:
            raise self._mixed(block, int(place), name)
        for place in np.flatnonzero((first == ord("S")) & (lengths > 23)):
            if at.looks_like_station_record(block.line(place)):
                raise self._mixed(
                    block, int(place), "a station record among truck weight records"
                )

    def _mixed(self, block: Block, place: int, what: str) -> UnreadableInput:
        row = block.first_line + place
        return UnreadableInput(
            f"The file mixes layouts: line {row:,} is {what}. Nothing was taken from "
            "it; put each layout into a file of its own.",
            (
                Complaint(
                    message=f"this is {what}.",
                    row=row,
                    value=shown(block.line(place)),
                    expected=f"every line in one layout ({self.report.layout.value})",
                    remedy="Put each layout into a file of its own.",
                ),
            ),
        )

    def _tell_refused(
        self, block: Block, rows: np.ndarray | None, out: Decoded, lengths: np.ndarray
    ) -> None:
        """Report the refused lines."""
        refused = (out.code != KEPT) & (out.code != HOUR_MARK)
        for place in np.flatnonzero(refused).tolist():
            row = block.first_line + place
            raw = block.line(place)
            columns = raw if rows is None else rows[place].tobytes().rstrip()
            reason = REASONS[out.code[place] - 1]
            if reason is Reason.TOO_LONG:
                columns = raw
            if reason is Reason.DATE and at.reads_as_2001(columns):
                raise self._mixed(block, place, "a 2001 metric truck weight record")
            complaint = None
            if self.report.wants_complaint():
                cut = block.cut and place == len(lengths) - 1
                complaint = explain(columns, reason, row=row, pipe=self.pipe, cut=cut)
            self.report.refuse(reason, complaint)

    def _take_hour_marks(
        self, block: Block, rows: np.ndarray | None, out: Decoded, ident: Identity
    ) -> None:
        """Keep the ``m`` and ``d`` lines whose heads are sound; refuse the others."""
        places = np.flatnonzero(out.code == HOUR_MARK)
        if len(places) == 0:
            return
        if rows is None:
            reach = block.starts[places, None] + np.arange(at.MARK_LENGTH)
            heads = block.data[reach]
        else:
            heads = rows[places, : at.MARK_LENGTH]
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
        codes, lanes = ident.lanes(places[sound])
        letters = heads[sound, at.VEHICLE_CLASS.start : at.VEHICLE_CLASS.stop] | 32
        missing = (letters == ord("m")).any(axis=1)
        hours = (found.time_ms[sound] // MS_PER_HOUR).view("datetime64[h]")
        for code, hour, is_missing in zip(
            codes.tolist(), hours, missing.tolist(), strict=True
        ):
            self.report.mark(HourMark(lanes[code], hour, missing=is_missing))

    def _to_batch(self, block: Block, out: Decoded, ident: Identity) -> pa.RecordBatch:
        """The kept lines as a batch; the report learns their lanes and period."""
        kept = np.flatnonzero(out.code == KEPT)
        n = len(kept)
        whole = n == len(out.code)
        if n == 0:
            return pa.RecordBatch.from_pylist([], schema=SCHEMA)
        time_ms = out.time_ms[kept]
        n_axles = out.n_axles[kept]
        speed, classes = out.speed_kmh[kept], out.vehicle_class[kept]
        codes, lanes = ident.lanes(kept)
        counts = np.bincount(codes, minlength=len(lanes))
        for lane, count in zip(lanes, counts, strict=True):
            if count:
                self.report.saw(lane, int(count))
        self.report.n_kept += n
        self.report.spans(
            np.datetime64(int(time_ms.min()), "ms"),
            np.datetime64(int(time_ms.max()), "ms"),
        )
        arrays: list[pa.Array] = lane_arrays(codes, lanes)
        arrays += [
            pa.array(time_ms).view(SCHEMA.field("time").type),
            pa.array(classes, mask=classes == 0),
            pa.array(speed, mask=np.isnan(speed)),
            pa.array(out.gvw_kg[kept]),
            pa.array(n_axles),
        ]
        most = int(n_axles.max())
        none = pa.nulls(n, pa.float32())
        for k in range(MAX_AXLES):
            mask = n_axles <= k
            if k:
                spacings = out.spacings_m[k - 1]
                values = spacings if whole else spacings[kept]
                arrays.append(pa.array(values, mask=mask) if k < most else none)
            weights = out.weights_kg[k]
            values = weights if whole else weights[kept]
            arrays.append(pa.array(values, mask=mask) if k < most else none)
        lines = (kept + block.first_line).astype(np.int32)
        arrays.append(pa.array(lines))
        arrays += [none] * len(OPTIONAL_COLUMNS)
        return pa.RecordBatch.from_arrays(arrays, schema=SCHEMA)


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
