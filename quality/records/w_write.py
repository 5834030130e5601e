"""Write truck weight records (TMG 2016), fixed width or pipe-delimited.

The round trip is exact: whole pounds, tenths of a foot, the hour, the class, and the
speed when the open field carries it.
"""

from __future__ import annotations

from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records import w_layout as at
from quality.records.report import HourMark, Layout
from quality.records.schema import (
    IDENTITY_COLUMNS,
    MAX_AXLES,
    SPACING_COLUMNS,
    WEIGHT_COLUMNS,
    LaneKey,
    times_ms,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

BLANK, ZERO, PIPE = np.uint8(32), np.uint8(48), np.uint8(ord("|"))
ROWS_AT_ONCE = 65_536


def write_w_records(
    table: pa.Table | pa.RecordBatch,
    sink: BinaryIO,
    *,
    lane: LaneKey | None = None,
    layout: Layout = Layout.W_FIXED,
    open_field: at.OpenField = at.OpenField.NOT_USED,
    line_end: bytes = b"\n",
) -> int:
    """Write records in their order; returns how many lines were written.

    Parameters
    ----------
    table
        In ``RECORD_SCHEMA``, or in ``STORE_SCHEMA`` with ``lane`` given.
    sink
        Open binary file.
    lane
        Identity of every record, in place of the table's identity columns.
    layout
        ``W_FIXED`` (trailing blanks cut) or ``W_PIPE``.
    open_field
        What to put into columns 24–26.
    line_end
        Ends every line.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a value does not fit its field (a gross weight of a million pounds).
    """
    if isinstance(table, pa.RecordBatch):
        table = pa.Table.from_batches([table])
    for start in range(0, table.num_rows, ROWS_AT_ONCE):
        piece = table.slice(start, ROWS_AT_ONCE)
        columns, station = _columns(piece, lane, open_field)
        n_axles = piece.column("n_axles").to_numpy()
        if layout is not Layout.W_PIPE and station.shape[1] > at.STATION.width:
            raise DomainError(
                "A station identifier longer than six characters fits only the "
                "pipe-delimited record."
            )
        if layout is Layout.W_PIPE:
            sink.write(_piped(columns, station, n_axles, line_end))
        else:
            sink.write(_fixed(columns, n_axles, line_end))
    return int(table.num_rows)


def write_hour_marks(
    marks: list[HourMark] | set[HourMark], sink: BinaryIO, line_end: bytes = b"\n"
) -> int:
    """Write ``m`` and ``d`` lines in fixed width; returns how many."""
    for mark in sorted(marks, key=lambda one: (one.hour, one.lane)):
        hour = str(mark.hour.astype("M8[h]")).replace("-", "").replace("T", "")
        who = "".join(mark.lane)
        letter = "m" if mark.missing else "d"
        sink.write(f"W{who}{hour} {letter}".encode("ascii") + line_end)
    return len(marks)


def _put(columns: np.ndarray, field: at.FieldAt, values: np.ndarray) -> None:
    """Write whole numbers as digits, zeros in front, into a field's columns."""
    low, high = int(values.min(initial=0)), int(values.max(initial=0))
    if low < 0 or high >= 10**field.width:
        raise DomainError(
            f"A {field.name} of {high if low >= 0 else low:,} does not fit the "
            f"record's {field.width} columns."
        )
    left = values.astype(np.uint32)
    for place in range(field.stop - 1, field.start - 1, -1):
        rest = left // np.uint32(10)
        columns[place] = (left - rest * np.uint32(10)).astype(np.uint8) + ZERO
        left = rest


def _whole(piece: pa.Table, name: str, unit: float) -> np.ndarray:
    """A column in whole units, nulls as 0."""
    values = np.nan_to_num(piece.column(name).to_numpy().astype(np.float64))
    return np.rint(values / unit).astype(np.int64)


def _columns(
    piece: pa.Table, lane: LaneKey | None, open_field: at.OpenField
) -> tuple[np.ndarray, np.ndarray]:
    """The 147 columns, shape (147, n), and the stations, shape (n, station width)."""
    n = piece.num_rows
    columns = np.full((at.RECORD_LENGTH, n), BLANK, dtype=np.uint8)
    columns[0] = ord("W")
    station = _identity(piece, lane, columns)
    time = times_ms(piece)
    months = time.astype("datetime64[M]")
    days = time.astype("datetime64[D]")
    month = months.astype(np.int64)
    _put(columns, at.YEAR, month // 12 + 1970)
    _put(columns, at.MONTH, month % 12 + 1)
    _put(columns, at.DAY, (days - months).astype(np.int64) + 1)
    _put(columns, at.HOUR, (time - days).astype("timedelta64[h]").astype(np.int64))
    classes = piece.column("vehicle_class")
    _put(columns, at.VEHICLE_CLASS, pc.fill_null(classes, 0).to_numpy())
    _blank_where(columns, at.VEHICLE_CLASS, classes.is_null().to_numpy())
    _put_open(columns, piece, open_field)
    _put(columns, at.GROSS, _whole(piece, "gvw_kg", KG_PER_LB))
    n_axles = piece.column("n_axles").to_numpy()
    _put(columns, at.AXLES, n_axles)
    for k in range(min(int(n_axles.max(initial=0)), MAX_AXLES)):
        beyond = n_axles <= k
        if k:
            tenths = _whole(piece, SPACING_COLUMNS[k - 1], M_PER_FT / 10)
            _put(columns, at.SPACINGS[k - 1], tenths)
            _blank_where(columns, at.SPACINGS[k - 1], beyond)
        _put(columns, at.WEIGHTS[k], _whole(piece, WEIGHT_COLUMNS[k], KG_PER_LB))
        _blank_where(columns, at.WEIGHTS[k], beyond)
    return columns, station


def _put_open(columns: np.ndarray, piece: pa.Table, open_field: at.OpenField) -> None:
    """Write what the open field is said to hold; blank where it is not known."""
    if open_field is at.OpenField.NOT_USED:
        return
    if open_field is at.OpenField.TEMPERATURE_F:
        celsius = piece.column("temperature_c")
        fahrenheit = np.nan_to_num(celsius.to_numpy().astype(np.float64)) * 1.8 + 32
        degrees = np.rint(fahrenheit).astype(np.int64)
        _put(columns, at.OPEN, np.abs(degrees))
        columns[at.OPEN.start, degrees < 0] = ord("-")
        _blank_where(columns, at.OPEN, celsius.is_null().to_numpy())
        return
    unit = KMH_PER_MPH if open_field is at.OpenField.SPEED_MPH else 1.0
    _put(columns, at.OPEN, _whole(piece, "speed_kmh", unit))
    _blank_where(columns, at.OPEN, piece.column("speed_kmh").is_null().to_numpy())


def _blank_where(columns: np.ndarray, field: at.FieldAt, empty: np.ndarray) -> None:
    if empty.any():
        columns[field.start : field.stop, empty] = BLANK


def _identity(piece: pa.Table, lane: LaneKey | None, columns: np.ndarray) -> np.ndarray:
    """Fill in state, direction and lane; return the stations as wide as they are."""
    fields = (at.STATE, at.STATION, at.DIRECTION, at.LANE)
    station = np.empty((0, 0), dtype=np.uint8)
    for part, (name, field) in enumerate(zip(IDENTITY_COLUMNS, fields, strict=True)):
        if lane is not None:
            names, places = [lane[part]], np.zeros(piece.num_rows, dtype=np.int64)
        else:
            codes = piece.column(name)
            if not pa.types.is_dictionary(codes.type):
                codes = codes.dictionary_encode()
            codes = codes.unify_dictionaries().combine_chunks()
            names = codes.dictionary.to_pylist()
            places = codes.indices.to_numpy()
        width = field.width
        if field is at.STATION:
            width = max([width, *(len(one) for one in names)])
        texts = [one.rjust(width, "0") for one in names]
        for text in texts:
            if len(text) != width or not text.isascii():
                raise DomainError(
                    f"The {field.name} code “{text}” does not fit the record's "
                    f"{field.width} plain characters."
                )
        table = np.frombuffer("".join(texts).encode(), dtype=np.uint8)
        rows = table.reshape(len(texts), width)[places]
        if field is at.STATION:
            station = rows
            columns[field.start : field.stop] = rows[:, -field.width :].T
        else:
            columns[field.start : field.stop] = rows.T
    return station


def _fixed(columns: np.ndarray, n_axles: np.ndarray, line_end: bytes) -> bytes:
    """Fixed-width lines without their trailing blanks."""
    n = columns.shape[1]
    lines = np.empty((n, at.RECORD_LENGTH + len(line_end)), dtype=np.uint8)
    lines[:, : at.RECORD_LENGTH] = columns.T
    lines[:, at.RECORD_LENGTH :] = np.frombuffer(line_end, dtype=np.uint8)
    keep = np.ones(lines.shape, dtype=bool)
    lengths = 30 + 9 * n_axles.astype(np.int64)
    keep[:, : at.RECORD_LENGTH] = np.arange(at.RECORD_LENGTH) < lengths[:, None]
    return lines[keep].tobytes()


def _piped(
    columns: np.ndarray, station: np.ndarray, n_axles: np.ndarray, line_end: bytes
) -> bytes:
    """Delimited lines: the same digits, a pipe between fields, empty fields empty."""
    n = columns.shape[1]
    pieces: list[np.ndarray] = []
    pipe = np.full((n, 1), PIPE, dtype=np.uint8)
    n_fields = 12 + 2 * n_axles.astype(np.int64)
    for number, field in enumerate(at.ALL_FIELDS):
        if number:
            pieces.append(np.where((number < n_fields)[:, None], pipe, BLANK))
        is_station = field is at.STATION
        pieces.append(station if is_station else columns[field.start : field.stop].T)
    end = np.frombuffer(line_end, dtype=np.uint8)
    pieces.append(np.broadcast_to(end, (n, len(end))))
    lines = np.hstack(pieces)
    return lines[lines != BLANK].tobytes()
