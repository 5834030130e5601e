"""The layouts that are read: how each is known by its lines, and how it is read.

A new layout is one module with a :class:`RecordLayout`, named here in ``LAYOUTS`` and
given its name in :class:`quality.records.report.Layout`.

The guide's per-vehicle formats (2016, section 7.7; "individual vehicle record" in the
2022 edition) have their place here once their field positions are in hand. Until then
nothing is claimed of them, and such a file is not recognised.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import pyarrow as pa

from quality.records import w_layout as at
from quality.records.blocks import ByteSource
from quality.records.headed_csv import read_headed_csv
from quality.records.mapping import ColumnMapping
from quality.records.report import Layout, ReadReport
from quality.records.w_record import read_w_records


class Read(Protocol):
    """Reads a file of one layout."""

    def __call__(
        self,
        source: ByteSource,
        report: ReadReport,
        *,
        mapping: ColumnMapping,
        options: at.WOptions,
    ) -> Iterator[pa.RecordBatch]:
        """Batches in the readers' schema; what was refused goes into the report."""
        ...


@dataclass(frozen=True)
class RecordLayout:
    """One layout of vehicle records.

    Attributes
    ----------
    layout
        Its name.
    units
        Its units, for people; "" where the file declares them.
    declared
        Unit of mass and of spacing, where the layout itself settles them.
    is_it
        Whether the file's first lines (without line ends, none of them empty) are of
        this layout. The first layout in ``LAYOUTS`` that says so has it. None for a
        table with headings, which is looked for when no layout claims the lines.
    read
        Reads the file.
    """

    layout: Layout
    units: str
    is_it: Callable[[list[bytes]], bool] | None
    read: Read
    declared: tuple[str, str] | None = None


def _w_lines(lines: list[bytes]) -> list[bytes]:
    """The lines that begin with W, if most do and go on as a record does."""
    found = [line for line in lines if line[:1] == b"W"]
    heads = [line[1:11].replace(b"|", b"") for line in found]
    digits = sum(any(48 <= byte <= 57 for byte in head) for head in heads)
    return found if len(found) * 2 >= len(lines) and digits * 2 > len(found) else []


def _is_pipe(lines: list[bytes]) -> bool:
    found = _w_lines(lines)
    return sum(line[1:2] == b"|" for line in found) * 2 > len(found)


def _is_2001(lines: list[bytes]) -> bool:
    found = _w_lines(lines)
    as_2001 = sum(at.reads_as_2001(line) for line in found)
    return as_2001 > sum(at.reads_as_2016(line) for line in found)


def _is_fixed(lines: list[bytes]) -> bool:
    return bool(_w_lines(lines))


def _w_layout(
    layout: Layout,
    units: str,
    is_it: Callable[[list[bytes]], bool],
    declared: tuple[str, str],
) -> RecordLayout:
    def read(
        source: ByteSource,
        report: ReadReport,
        *,
        mapping: ColumnMapping,
        options: at.WOptions,
    ) -> Iterator[pa.RecordBatch]:
        return read_w_records(source, report, layout=layout, options=options)

    return RecordLayout(layout, units, is_it, read, declared)


def _read_table(
    source: ByteSource,
    report: ReadReport,
    *,
    mapping: ColumnMapping,
    options: at.WOptions,
) -> Iterator[pa.RecordBatch]:
    return read_headed_csv(source, report, mapping)


LAYOUTS = (
    _w_layout(Layout.W_PIPE, "pounds and tenths of a foot", _is_pipe, ("lb", "ft")),
    _w_layout(Layout.W_2001, "tenths of a tonne and of a metre", _is_2001, ("t", "m")),
    _w_layout(Layout.W_FIXED, "pounds and tenths of a foot", _is_fixed, ("lb", "ft")),
    RecordLayout(Layout.HEADED_CSV, "", None, _read_table),
)
BY_NAME = {one.layout: one for one in LAYOUTS}
READABLE = tuple(BY_NAME)


def layout_of(lines: list[bytes]) -> RecordLayout | None:
    """The layout that claims these lines; None when none does."""
    return next((one for one in LAYOUTS if one.is_it and one.is_it(lines)), None)
