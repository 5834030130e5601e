"""Which lane each row of a headed file is of."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from quality.records.csv_checks import words_of
from quality.records.mapping import ColumnMapping
from quality.records.report import MAX_LANES, too_many_lanes
from quality.records.schema import LaneKey

FEW_CODES = 1 << 16


def lanes_of(
    table: pa.Table, mapping: ColumnMapping, kept: np.ndarray
) -> tuple[np.ndarray, list[LaneKey]]:
    """Each kept row's place in the list of lanes, and that list."""
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
