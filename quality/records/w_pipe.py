"""Pipe-delimited records set out as fixed columns, and who each record is from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records import w_layout as at
from quality.records.blocks import Block
from quality.records.schema import LaneKey

HEAD = 11
BLANK = np.uint8(32)


@dataclass(frozen=True)
class Identity:
    """State, station, direction and lane of each line, as bytes side by side.

    ``columns`` is uint8, shape (n, 2 + station width + 2).
    """

    columns: np.ndarray

    def lanes(self, rows: np.ndarray) -> tuple[np.ndarray, list[LaneKey]]:
        """Each row's place in the list of lanes, and that list."""
        width = self.columns.shape[1]
        every = len(rows) == len(self.columns)
        chosen = np.ascontiguousarray(self.columns if every else self.columns[rows])
        if (chosen == chosen[0]).all():
            return np.zeros(len(rows), dtype=np.int64), [_lane(chosen[0].tobytes())]
        packed = pa.FixedSizeBinaryArray.from_buffers(
            pa.binary(width), len(chosen), [None, pa.py_buffer(chosen)]
        )
        encoded = pc.dictionary_encode(packed)
        keys = [_lane(raw) for raw in encoded.dictionary.to_pylist()]
        # blanks and zeros in front are one and the same identity
        lanes = list(dict.fromkeys(keys))
        place = {lane: i for i, lane in enumerate(lanes)}
        lookup = np.array([place[key] for key in keys], dtype=np.int64)
        return lookup[encoded.indices.to_numpy()], lanes


def _lane(raw: bytes) -> LaneKey:
    text = raw.decode("ascii", errors="replace")
    return LaneKey(
        text[:2].strip().zfill(2), text[2:-2].strip().zfill(6), text[-2], text[-1]
    )


def fixed_identity(block: Block) -> Identity:
    """Columns 2–11 of each line; lines too short for them hold whatever follows."""
    return Identity(block.bytes_at(block.starts + 1, HEAD - 1))


def pipe_rows(block: Block) -> tuple[np.ndarray, Identity, np.ndarray]:
    """Set each line's fields right-justified into the 147 fixed columns.

    Returns
    -------
    rows : uint8, shape (n, 147)
        What is not in the line is blank.
    identity
        With the station as wide as the file has it (more than six characters are
        allowed when delimited).
    too_long : bool, shape (n,)
        Lines with more fields than the layout, or a field wider than its columns.
    """
    data = block.data
    n = len(block.starts)
    pipes = np.flatnonzero(data == ord("|"))
    first = np.searchsorted(pipes, block.starts)
    n_pipes = np.searchsorted(pipes, block.stops) - first
    rows = np.full((n, at.RECORD_LENGTH), BLANK, dtype=np.uint8)
    too_long = n_pipes >= len(at.ALL_FIELDS)
    station = np.full((n, at.STATION.width), BLANK, dtype=np.uint8)
    padded = np.append(pipes, len(data))
    for number, field in enumerate(at.ALL_FIELDS):
        has = np.flatnonzero(n_pipes >= number)
        if len(has) == 0:
            break
        begin = padded[first[has] + number - 1] + 1 if number else block.starts[has]
        is_last = n_pipes[has] == number
        end = np.where(
            is_last,
            block.stops[has],
            padded[np.minimum(first[has] + number, len(padded) - 1)],
        )
        begin, end = _trimmed(data, begin, end)
        over = (end - begin) > field.width
        if field is at.STATION:
            widest = min(int((end - begin).max(initial=0)), 30)
            station = np.full((n, max(widest, field.width)), BLANK, dtype=np.uint8)
            station[has] = _right_justified(data, begin, end, station.shape[1])
            over = (end - begin) > station.shape[1]
        too_long[has[over]] = True
        rows[has, field.start : field.stop] = _right_justified(
            data, begin, end, field.width
        )
    blank = station[:, -at.STATION.width :] == BLANK
    rows[:, at.STATION.start : at.STATION.stop] = np.where(
        blank, ord("0"), station[:, -at.STATION.width :]
    )
    rows[blank.all(axis=1), at.STATION.stop - 1] = BLANK
    return (
        rows,
        Identity(np.hstack([rows[:, 1:3], station, rows[:, 9:11]])),
        too_long,
    )


def _trimmed(
    data: np.ndarray, begin: np.ndarray, end: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Field limits without blanks at either end."""
    begin, end = begin.copy(), np.maximum(end, begin)
    top = len(data) - 1
    for _ in range(64):
        lead = (begin < end) & (data[np.minimum(begin, top)] == 32)
        trail = (end > begin) & (data[np.clip(end - 1, 0, top)] == 32) & ~lead
        if not (lead.any() or trail.any()):
            break
        begin += lead
        end -= trail
    return begin, end


def _right_justified(
    data: np.ndarray, begin: np.ndarray, end: np.ndarray, width: int
) -> np.ndarray:
    """Bytes of each field, shape (n, width), blanks in front."""
    places = end[:, None] + np.arange(-width, 0)
    outside = places < begin[:, None]
    got = data[np.clip(places, 0, len(data) - 1)]
    got[outside] = BLANK
    return got
