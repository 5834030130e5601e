"""A file as blocks of whole lines, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wimprog.lib.errors import UnreadableInput

BLOCK_BYTES = 2 << 20
BLOCK_LINES = 1 << 17
"""So that a file of nothing but line ends stays small in memory too."""
LONGEST_LINE = 1 << 20
BOM = b"\xef\xbb\xbf"


class ByteSource(Protocol):
    """Anything that gives bytes as a binary file does."""

    def read(self, size: int, /) -> bytes:
        """Up to ``size`` bytes; none at the end."""
        ...


@dataclass(frozen=True)
class Block:
    """Whole lines: ``data`` holds their bytes, a line is ``data[start:stop]``.

    ``first_line`` is the number of the first, from 1. ``cut`` says that the last line
    is the file's last and has no line end.
    """

    data: np.ndarray
    starts: np.ndarray
    stops: np.ndarray
    first_line: int
    cut: bool

    def line(self, place: int | np.integer) -> bytes:
        """The bytes of one line without its end."""
        return self.data[self.starts[place] : self.stops[place]].tobytes()

    def only(self, places: np.ndarray) -> Block:
        """These lines alone; their numbers are lost."""
        starts, stops = self.starts[places], self.stops[places]
        return Block(self.data, starts, stops, 0, cut=False)

    def bytes_at(self, places: np.ndarray, width: int) -> np.ndarray:
        """``width`` bytes from each place on, shape (len(places), width).

        Where the block ends before, the bytes are those of its end.
        """
        if len(self.data) < width:
            return np.zeros((len(places), width), dtype=np.uint8)
        windows: np.ndarray = np.ndarray(
            (len(self.data) - width + 1,), f"V{width}", self.data, strides=(1,)
        )
        taken = windows[np.minimum(places, len(windows) - 1)]
        return taken.view(np.uint8).reshape(len(places), width)


def raw_blocks(
    source: ByteSource, *, block_bytes: int = BLOCK_BYTES
) -> Iterator[tuple[bytes, bool]]:
    """Bytes that end with a line end, and whether the file's end was met instead.

    A byte-order mark in front is dropped.

    Raises
    ------
    UnreadableInput
        When no line ends within a mebibyte: this is not a file of records.
    """
    rest, fresh = b"", True
    while True:
        got = source.read(block_bytes)
        if fresh and got:
            while len(got) < len(BOM) and (more := source.read(len(BOM) - len(got))):
                got += more
            got, fresh = got.removeprefix(BOM), False
        if not got:
            if rest:
                yield rest, True
            return
        end = got.rfind(b"\n") + 1
        if end == 0:
            rest += got
        else:
            yield rest + got[:end], False
            rest = got[end:]
        if len(rest) > LONGEST_LINE + block_bytes:
            raise UnreadableInput(
                f"No line ends within {LONGEST_LINE:,} bytes. This is not a file of "
                "records, or its line ends are those of a very old system; write it "
                "out again with ordinary line ends."
            )


def few_lines(raw: bytes) -> Iterator[bytes]:
    """The bytes in pieces of whole lines, none of more than :data:`BLOCK_LINES`."""
    start = 0
    if raw.count(b"\n") > BLOCK_LINES:
        ends = np.flatnonzero(np.frombuffer(raw, dtype=np.uint8) == 10)
        for end in ends[BLOCK_LINES - 1 :: BLOCK_LINES].tolist():
            yield raw[start : end + 1]
            start = end + 1
    if start < len(raw):
        yield raw[start:]


def line_blocks(
    source: ByteSource, *, block_bytes: int = BLOCK_BYTES
) -> Iterator[Block]:
    """Blocks of lines. CRLF and LF both end a line."""
    first_line = 1
    for raw, at_end in raw_blocks(source, block_bytes=block_bytes):
        data = np.frombuffer(raw, dtype=np.uint8)
        ends = np.flatnonzero(data == 10)
        if at_end and (len(ends) == 0 or ends[-1] != len(data) - 1):
            ends = np.append(ends, len(data))
        starts = np.empty_like(ends)
        starts[0], starts[1:] = 0, ends[:-1] + 1
        stops = ends.copy()
        before = data[np.maximum(ends - 1, 0)]
        stops[(before == 13) & (ends > starts)] -= 1
        for begin in range(0, len(ends), BLOCK_LINES):
            chosen = slice(begin, begin + BLOCK_LINES)
            last = begin + BLOCK_LINES >= len(ends)
            yield Block(
                data, starts[chosen], stops[chosen], first_line, at_end and last
            )
            first_line += len(ends[chosen])
