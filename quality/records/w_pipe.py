"""Pipe-delimited records set out as fixed columns, and who each record is from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records import w_layout as at
from quality.records.blocks import Block
from quality.records.schema import MAX_AXLES, LaneKey

IDENTITY_LENGTH = 10
BLANK, ZERO, PIPE = np.uint8(32), np.uint8(48), np.uint8(ord("|"))
WORD = 8
WIDEST_STATION = 30


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

    @classmethod
    def merged(
        cls, fixed: np.ndarray, parts: list[tuple[np.ndarray, Identity]]
    ) -> Identity:
        """Those of the ten ``fixed`` columns, and others at the places of ``parts``."""
        if not parts:
            return cls(fixed)
        width = max(part.columns.shape[1] for _, part in parts)
        wide = np.full((len(fixed), width), BLANK, dtype=np.uint8)
        for places, columns in (
            (np.arange(len(fixed)), fixed),
            *((places, part.columns) for places, part in parts),
        ):
            wide[places, :2] = columns[:, :2]
            wide[places, 2 : width - columns.shape[1] + 2] = BLANK
            wide[places, width - columns.shape[1] + 2 :] = columns[:, 2:]
        return cls(wide)


def _lane(raw: bytes) -> LaneKey:
    text = raw.decode("ascii", errors="replace")
    return LaneKey(
        text[:2].strip().zfill(2), text[2:-2].strip().zfill(6), text[-2], text[-1]
    )


def fixed_identity(block: Block) -> Identity:
    """Columns 2–11 of each line; lines too short for them hold whatever follows."""
    return Identity(block.bytes_at(block.starts + 1, IDENTITY_LENGTH))


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
    n = len(block.starts)
    low, high = (int(block.starts[0]), int(block.stops[-1])) if n else (0, 0)
    data, starts, stops = block.data[low:high], block.starts - low, block.stops - low
    if len(data) == 0:
        data = np.full(1, BLANK, dtype=np.uint8)
    pipes = np.flatnonzero(data == PIPE)
    first = np.searchsorted(pipes, starts)
    n_pipes = np.searchsorted(pipes, stops) - first
    padded = np.append(pipes, len(data))
    words = _words(data)
    rows = np.full((n, at.RECORD_LENGTH), BLANK, dtype=np.uint8)
    too_long = n_pipes >= len(at.ALL_FIELDS)
    station = np.full((n, at.STATION.width), BLANK, dtype=np.uint8)
    for number, field in enumerate(at.ALL_FIELDS):
        has = np.flatnonzero(n_pipes >= number)
        if len(has) == 0:
            break
        begin = padded[first[has] + number - 1] + 1 if number else starts[has]
        end = padded[np.minimum(first[has] + number, len(padded) - 1)]
        is_last = n_pipes[has] == number
        if is_last.any():
            end = np.where(is_last, stops[has], end)
        begin, end = _trimmed(data, begin, end, field.width)
        over = (end - begin) > field.width
        if field is at.STATION:
            widest = min(int((end - begin).max(initial=0)), WIDEST_STATION)
            station = np.full((n, max(widest, field.width)), BLANK, dtype=np.uint8)
            station[has] = _right_justified(data, begin, end, station.shape[1])
            over = (end - begin) > station.shape[1]
        too_long[has[over]] = True
        justified = _last_bytes(words, begin, end, field.width)
        if len(has) == n:
            rows[:, field.start : field.stop] = justified
        else:
            rows[has, field.start : field.stop] = justified
    blank = station[:, -at.STATION.width :] == BLANK
    rows[:, at.STATION.start : at.STATION.stop] = np.where(
        blank, ZERO, station[:, -at.STATION.width :]
    )
    rows[blank.all(axis=1), at.STATION.stop - 1] = BLANK
    return (
        rows,
        Identity(np.hstack([rows[:, 1:3], station, rows[:, 9:11]])),
        too_long,
    )


def _trimmed(
    data: np.ndarray, begin: np.ndarray, end: np.ndarray, width: int
) -> tuple[np.ndarray, np.ndarray]:
    """Field limits without blanks behind, nor in front where they make it too wide."""
    end = np.maximum(end, begin)
    top = len(data) - 1
    loose = ((end - begin) > width) | (data[np.clip(end - 1, 0, top)] == BLANK)
    chosen = np.flatnonzero(loose & (end > begin))
    if len(chosen) == 0:
        return begin, end
    begin, end = begin.copy(), end.copy()
    left, right = begin[chosen], end[chosen]
    for _ in range(64):
        lead = (left < right) & (data[np.minimum(left, top)] == BLANK)
        trail = (right > left) & (data[np.clip(right - 1, 0, top)] == BLANK) & ~lead
        if not (lead.any() or trail.any()):
            break
        left += lead
        right -= trail
    begin[chosen], end[chosen] = left, right
    return begin, end


def _words(data: np.ndarray) -> np.ndarray:
    """For each place the eight bytes that end before it, as one number."""
    spaced = np.concatenate([np.full(WORD, BLANK, dtype=np.uint8), data])
    return np.ndarray((len(data) + 1,), "<u8", spaced, strides=(1,))


_KEEP = np.array(
    [0] + [(2 ** (8 * n) - 1) << (8 * (WORD - n)) for n in range(1, WORD + 1)],
    dtype="<u8",
)
"""Mask of a word's last n bytes."""
_BLANKS = np.full(WORD, BLANK, dtype=np.uint8).view("<u8")[0]


def _last_bytes(
    words: np.ndarray, begin: np.ndarray, end: np.ndarray, width: int
) -> np.ndarray:
    """Bytes of each field, shape (n, width), blanks in front; ``width`` at most 8."""
    keep = _KEEP[np.minimum(end - begin, WORD)]
    got = (words[end] & keep) | (_BLANKS & ~keep)
    return got.view(np.uint8).reshape(len(got), WORD)[:, WORD - width :]


def _right_justified(
    data: np.ndarray, begin: np.ndarray, end: np.ndarray, width: int
) -> np.ndarray:
    """Bytes of each field, shape (n, width), blanks in front; any width."""
    places = end[:, None] + np.arange(-width, 0)
    outside = places < begin[:, None]
    got = data[np.clip(places, 0, len(data) - 1)]
    got[outside] = BLANK
    return got


@dataclass(frozen=True)
class FullWidth:
    """A delimited line of one axle count whose every field is as wide as it may be."""

    pipes: np.ndarray
    others: np.ndarray

    def columns(self, lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The fixed columns of such lines, shape (n, length), and which are such.

        Returns
        -------
        columns : uint8, shape (fixed length, number that are such)
        such : bool, shape (n,)
        """
        by_column = np.ascontiguousarray(lines.T)
        columns = by_column[self.others]
        off = (by_column[self.pipes] ^ PIPE).max(axis=0)
        such = np.asarray(off == 0)
        for field in (at.STATION, at.OPEN):
            such &= (columns[field.start : field.stop] != PIPE).all(axis=0)
        such &= columns[at.STATION.start] != BLANK
        return columns if such.all() else columns[:, such], such


def _full_widths() -> dict[int, FullWidth]:
    """By line length."""
    found = {}
    for n_axles in range(2, MAX_AXLES + 1):
        fields = at.ALL_FIELDS[: 12 + 2 * n_axles]
        pipes = [field.stop + number for number, field in enumerate(fields[:-1])]
        length = fields[-1].stop + len(pipes)
        others = np.setdiff1d(np.arange(length), pipes)
        found[length] = FullWidth(np.array(pipes), others)
    return found


FULL_WIDTHS = _full_widths()
