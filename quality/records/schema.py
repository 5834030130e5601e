"""The columnar form of vehicle records, the same whatever file they came from.

Inside, quantities are SI (kg, m, km/h). ``float32`` holds every whole pound up to
999,999 lb and every tenth of a foot up to 999.9 ft so closely that the record's own
figure comes back exactly when it is written out again.

Times are the site's local *standard* time, without a zone. A Traffic Monitoring Guide
record knows only the hour in which the vehicle passed; the schema's metadata says
``time_resolution: hour`` then, and ``instant`` when the clock time is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

MAX_AXLES = 13
WEIGHT_COLUMNS = tuple(f"w{k}_kg" for k in range(1, MAX_AXLES + 1))
SPACING_COLUMNS = tuple(f"s{k}_m" for k in range(1, MAX_AXLES))
IDENTITY_COLUMNS = ("state_code", "station_id", "direction_code", "lane_code")
OPTIONAL_COLUMNS = ("temperature_c", "left_right_imbalance_pct")
"""Null in records whose file does not carry them, and in parts older than they are.

The temperature of the pavement as the controller wrote it down with the vehicle; and
100 (left − right) / (left + right) over all the vehicle's wheels, positive when the
left side weighed more.
"""
TIME_TYPE = pa.timestamp("ms")
CODE_TYPE = pa.dictionary(pa.int32(), pa.string())


class TimeResolution(StrEnum):
    """How closely a record's time is known."""

    HOUR = "hour"
    INSTANT = "instant"


class LaneKey(NamedTuple):
    """What a record says of where it was taken, in the record's own codes."""

    state_code: str
    station_id: str
    direction_code: str
    lane_code: str

    def __str__(self) -> str:
        return (
            f"state {self.state_code} station {self.station_id} "
            f"direction {self.direction_code} lane {self.lane_code}"
        )


def _fields() -> list[pa.Field]:
    spaced = [pa.field(WEIGHT_COLUMNS[0], pa.float32())]
    for spacing, weight in zip(SPACING_COLUMNS, WEIGHT_COLUMNS[1:], strict=True):
        spaced += [pa.field(spacing, pa.float32()), pa.field(weight, pa.float32())]
    return [
        pa.field("time", TIME_TYPE, nullable=False),
        pa.field("vehicle_class", pa.int8()),
        pa.field("speed_kmh", pa.float32()),
        pa.field("gvw_kg", pa.float32(), nullable=False),
        pa.field("n_axles", pa.int8(), nullable=False),
        *spaced,
        pa.field("source_line", pa.int32(), nullable=False),
        *(pa.field(name, pa.float32()) for name in OPTIONAL_COLUMNS),
    ]


STORE_SCHEMA = pa.schema(_fields())
"""A lane's records as the store keeps them: the partition says which lane."""

RECORD_SCHEMA = pa.schema(
    [pa.field(name, CODE_TYPE, nullable=False) for name in IDENTITY_COLUMNS] + _fields()
)
"""A batch as a reader yields it: the lane's identity in front of the record."""


def with_resolution(schema: pa.Schema, resolution: TimeResolution) -> pa.Schema:
    """``schema`` marked with how closely its times are known."""
    return schema.with_metadata({"time_resolution": resolution.value})


def resolution_of(schema: pa.Schema) -> TimeResolution:
    """How closely the times of a batch, table or part are known."""
    metadata = schema.metadata or {}
    return TimeResolution(metadata.get(b"time_resolution", b"hour").decode())


def with_optional(table: pa.Table) -> pa.Table:
    """The table with every optional column, all null where it had none."""
    for name in OPTIONAL_COLUMNS:
        if name not in table.column_names:
            field = STORE_SCHEMA.field(name)
            table = table.append_column(field, pa.nulls(table.num_rows, field.type))
    return table


def split_by_lane(
    batch: pa.RecordBatch | pa.Table,
) -> Iterator[tuple[LaneKey, pa.Table]]:
    """The batch's lanes in order of first appearance, each in ``STORE_SCHEMA``.

    Record order is kept within a lane.
    """
    table = (
        pa.Table.from_batches([batch]) if isinstance(batch, pa.RecordBatch) else batch
    )
    if table.num_rows == 0:
        return
    combined = np.zeros(table.num_rows, dtype=np.int64)
    names: list[list[str]] = []
    for column in IDENTITY_COLUMNS:
        codes = table.column(column)
        if not pa.types.is_dictionary(codes.type):
            codes = codes.dictionary_encode()
        codes = codes.unify_dictionaries().combine_chunks()
        names.append(codes.dictionary.to_pylist())
        combined *= max(len(names[-1]), 1)
        combined += codes.indices.to_numpy(zero_copy_only=False)
    schema = with_resolution(STORE_SCHEMA, resolution_of(table.schema))
    records = with_optional(table).select(schema.names).cast(schema)
    keys, first = np.unique(combined, return_index=True)
    for key in keys[np.argsort(first)]:
        rest, parts = int(key), []
        for column_names in reversed(names):
            rest, place = divmod(rest, max(len(column_names), 1))
            parts.append(column_names[place])
        lane = LaneKey(*reversed(parts))
        if len(keys) == 1:
            yield lane, records
        else:
            yield lane, records.filter(pa.array(combined == key))


def split_by_month(table: pa.Table) -> Iterator[tuple[np.datetime64, pa.Table]]:
    """The table's months in order, each with its first day; record order is kept."""
    months = times_ms(table).astype("datetime64[M]")
    for month in np.unique(months):
        chosen = months == month
        part = table if chosen.all() else table.filter(pa.array(chosen))
        yield month.astype("datetime64[D]"), part


def times_ms(table: pa.Table | pa.RecordBatch) -> np.ndarray:
    """The record times as ``datetime64[ms]``, shape (n,)."""
    column = table.column("time")
    whole = pc.cast(column, pa.int64())
    return (
        np.asarray(whole.to_numpy(zero_copy_only=False)).view("datetime64[ms]")
        if (isinstance(whole, pa.Array))
        else np.asarray(whole.to_numpy()).view("datetime64[ms]")
    )


def matrix(table: pa.Table | pa.RecordBatch, columns: tuple[str, ...]) -> np.ndarray:
    """Float columns side by side, shape (n, len(columns)), NaN where null."""
    out = np.empty((table.num_rows, len(columns)), dtype=np.float32)
    for place, name in enumerate(columns):
        column = table.column(name)
        if isinstance(column, pa.ChunkedArray):
            out[:, place] = column.to_numpy()
        else:
            out[:, place] = column.to_numpy(zero_copy_only=False)
    return out


def empty_batch(resolution: TimeResolution) -> pa.RecordBatch:
    """No records, in the readers' schema."""
    schema = with_resolution(RECORD_SCHEMA, resolution)
    return pa.RecordBatch.from_pylist([], schema=schema)
