"""The one door for files of vehicle records: told by content, never by name."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import pyarrow as pa

from quality.records import w_layout as at
from quality.records.blocks import BOM
from quality.records.containers import (
    SAMPLE_BYTES,
    Container,
    TextStream,
    container_of,
    open_text,
)
from quality.records.headed_csv import cells_of, read_header
from quality.records.layouts import BY_NAME, READABLE, layout_of
from quality.records.mapping import ColumnMapping, suggest_mapping
from quality.records.report import Layout, ReadReport
from quality.records.schema import TimeResolution, empty_batch
from quality.records.unit_check import UnitWatch
from quality.records.w_layout import OpenField, WOptions
from wimprog.lib.errors import UnreadableInput

Source = str | Path | BinaryIO


@dataclass(frozen=True)
class Detection:
    """What a file is.

    ``sentence`` says it for people, and for a layout that is not read what to do.
    ``mapping`` is a suggestion from the headings of a CSV, for a person to look over.
    """

    layout: Layout
    container: Container
    sentence: str
    remarks: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    mapping: ColumnMapping | None = None
    member: str = ""

    @property
    def is_readable(self) -> bool:
        """Whether :func:`open_records` takes it."""
        return self.layout in READABLE


def _opened(source: Source) -> tuple[BinaryIO, bool, str]:
    """A binary file at its start, whether we opened it, and its name."""
    if isinstance(source, str | Path):
        path = Path(source)
        try:
            return path.open("rb"), True, path.name
        except OSError as error:
            raise UnreadableInput(
                f"“{path}” cannot be opened: {error.strerror}."
            ) from None
    source.seek(0)
    return source, False, Path(str(getattr(source, "name", ""))).name


def detect(source: Source) -> Detection:
    """Tell a file's layout from its first 64 KiB.

    Raises
    ------
    UnreadableInput
        When it cannot be opened or unpacked at all.
    """
    file, ours, _ = _opened(source)
    try:
        stream, container, member = open_text(file)
        sample = stream.read(SAMPLE_BYTES)
    finally:
        if ours:
            file.close()
        else:
            file.seek(0)
    return _detect(sample, container, member)


def _detect(sample: bytes, container: Container, member: str) -> Detection:
    layout, sentence, remarks = _by_text(sample)
    header: tuple[str, ...] = ()
    mapping = None
    if layout is Layout.HEADED_CSV:
        line = sample.removeprefix(BOM).split(b"\n", 1)[0]
        delimiter = _delimiter(line) or ","
        header = tuple(read_header(line, delimiter))
        mapping = suggest_mapping(header, delimiter=delimiter)
        mapping = _with_marks(mapping, header, sample)
    if container is not Container.PLAIN:
        inside = f"“{member}” in a zip" if member else "a gzip file"
        sentence = f"{sentence} It comes as {inside}."
    return Detection(layout, container, sentence, remarks, header, mapping, member)


def _by_text(sample: bytes) -> tuple[Layout, str, tuple[str, ...]]:
    remarks: list[str] = []
    if sample[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return (
            Layout.BINARY,
            "This is UTF-16 text. Save it as plain ASCII or UTF-8 and send it again.",
            (),
        )
    if sample.startswith(BOM):
        remarks.append("It begins with a byte-order mark, which is skipped.")
        sample = sample.removeprefix(BOM)
    if not sample.strip():
        what = "The file is empty." if not sample else "The file holds only blanks."
        return Layout.EMPTY, f"{what} Nothing to take in.", tuple(remarks)
    if b"\0" in sample or container_of(sample) is not Container.PLAIN:
        what = "packed a second time" if sample[:2] == b"PK" else "not text"
        return (
            Layout.BINARY,
            f"The file is {what}; records come as text. If it is a spreadsheet, save "
            "it as CSV.",
            tuple(remarks),
        )
    if b"\r\n" in sample:
        remarks.append("Lines end with CR LF.")
    if not sample.isascii():
        remarks.append("It holds characters outside ASCII.")
    lines = [line.rstrip(b"\r") for line in sample.split(b"\n")]
    # the last line may be cut by the sample's end; it counts only when it stands alone
    whole = [line for line in lines[:-1] if line.strip()]
    lines = (whole or [line for line in lines if line.strip()])[:200]
    layout, sentence = _by_lines(lines)
    return layout, sentence, tuple(remarks)


def _by_lines(lines: list[bytes]) -> tuple[Layout, str]:
    first = lines[0]
    if sum(at.looks_like_station_record(line) for line in lines) * 2 > len(lines):
        return (
            Layout.STATION,
            "These look like station description records (S), which describe where "
            "traffic is recorded. They hold no vehicles; send the truck weight "
            "records (W) here.",
        )
    known = layout_of(lines)
    if known:
        return known.layout, f"This is the {known.layout.value} ({known.units})."
    delimiter = _delimiter(first)
    if delimiter:
        names = read_header(first, delimiter)
        titled = [name for name in names if name and not _is_number(name)]
        if len(names) >= 4 and len(titled) * 2 > len(names):
            return (
                Layout.HEADED_CSV,
                f"This is a table with {len(names)} headed columns; say which column "
                "holds what.",
            )
        return (
            Layout.UNKNOWN,
            "The file looks like a table without headings. Put a first line that "
            "names the columns.",
        )
    return (
        Layout.UNKNOWN,
        "The layout is not one that is known here. Known are: "
        + "; ".join(layout.value for layout in READABLE)
        + ".",
    )


def _delimiter(line: bytes) -> str:
    counts = {mark: line.count(mark.encode()) for mark in (",", ";", "\t")}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] >= 3 else ""


def _with_marks(
    mapping: ColumnMapping, header: tuple[str, ...], sample: bytes
) -> ColumnMapping:
    """The suggestion with decimal mark and order of the date, told from the cells.

    A date that could be either way round stays year first, so that reading it fails
    and asks, instead of guessing.
    """
    lines = sample.split(b"\n")[1:]
    rows = [cells_of(line, mapping.delimiter) for line in lines if line.strip()]
    cells = [cell.strip() for row in rows[:20] for cell in row]
    if mapping.delimiter != "," and any(
        cell.count(",") == 1 and cell.replace(",", "").isdigit() for cell in cells
    ):
        mapping = replace(mapping, decimal_mark=",")
    name = mapping.time or mapping.date
    if name in header:
        place = header.index(name)
        dates = [
            re.match(r"(\d+)[/.-](\d+)[/.-]\d{4}", row[place].strip())
            for row in rows
            if len(row) > place
        ]
        found = [(int(one[1]), int(one[2])) for one in dates if one]
        if any(first > 12 for first, _ in found):
            mapping = replace(mapping, date_order="dmy")
        elif any(second > 12 for _, second in found):
            mapping = replace(mapping, date_order="mdy")
    return mapping


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


class RecordReader:
    """A file of records being read: iterate for batches, look at ``report``.

    A context manager. The report is complete, its digest filled in and its complaints
    in line order, once the iteration has ended.
    """

    def __init__(
        self,
        source: Source,
        *,
        mapping: ColumnMapping | None,
        options: WOptions,
        progress: Callable[[int], None] | None,
    ) -> None:
        self._file, self._ours, name = _opened(source)
        try:
            self._stream, container, member = open_text(self._file)
            sample = self._stream.read(SAMPLE_BYTES)
            self.detection = _detect(sample, container, member)
            if not self.detection.is_readable:
                raise UnreadableInput(self.detection.sentence)
        except BaseException:
            self.close()
            raise
        self.mapping = mapping or self.detection.mapping
        self.options, self._progress, self._sample = options, progress, sample
        self.report = ReadReport(source_name=name, layout=self.detection.layout)
        for remark in self.detection.remarks:
            self.report.note(remark)

    def __enter__(self) -> RecordReader:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file if it was opened here."""
        if self._ours:
            self._file.close()

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        text = _Rejoined(self._sample, self._stream)
        batches = BY_NAME[self.detection.layout].read(
            text,
            self.report,
            mapping=self.mapping or ColumnMapping(),
            options=self.options,
        )
        watch = UnitWatch()
        for batch in batches:
            watch.see(batch)
            self.report.n_bytes = self._stream.n_bytes
            if self._progress:
                self._progress(self._file.tell())
            yield batch
        self.report.n_bytes = self._stream.n_bytes
        self.report.sha256 = self._stream.sha256
        self.report.complaints.sort(key=lambda complaint: complaint.row or 0)
        for suspicion in watch.suspicions(**self._declared()):
            self.report.note(suspicion)

    def _declared(self) -> dict[str, str]:
        """The units in which the file was read."""
        declared = BY_NAME[self.detection.layout].declared
        mapping = self.mapping or ColumnMapping()
        mass, spacing = declared or (mapping.mass_unit, mapping.spacing_unit)
        speed = mapping.speed_unit
        if declared:
            mph = self.options.open_field is OpenField.SPEED_MPH
            speed = "mph" if mph else "km/h"
        return {"mass_unit": mass, "spacing_unit": spacing, "speed_unit": speed}

    def read_all(self) -> pa.Table:
        """Every record in one table: for small files and tests."""
        batches = list(self)
        if not batches:
            batches = [empty_batch(self.report.resolution or TimeResolution.HOUR)]
        return pa.Table.from_batches(batches)


class _Rejoined(io.RawIOBase):
    """The sample that was looked at, then the rest of the stream."""

    def __init__(self, sample: bytes, rest: TextStream) -> None:
        super().__init__()
        self._sample, self._rest = sample, rest

    def read(self, size: int = -1, /) -> bytes:
        """The sample first, then what follows."""
        if self._sample:
            got, self._sample = self._sample, b""
            return got
        return self._rest.read(size)


def open_records(
    source: Source,
    mapping: ColumnMapping | None = None,
    *,
    options: WOptions = WOptions(),  # noqa: B008  (frozen)
    progress: Callable[[int], None] | None = None,
) -> RecordReader:
    """Open a file of vehicle records, whatever its layout and wrapping.

    Parameters
    ----------
    source
        Path, or seekable binary file.
    mapping
        For a CSV; without one the suggestion from its headings is used.
    options
        For truck weight records.
    progress
        Called after each batch with the bytes of ``source`` that have been used.

    Raises
    ------
    UnreadableInput
        When the layout is not one that is read, with what to do about it. Reading may
        raise it too, when a fault shows only later (mixed layouts, damaged packing).
    """
    return RecordReader(source, mapping=mapping, options=options, progress=progress)


def content_sha256(source: Source) -> str:
    """Digest of the unwrapped text, as :attr:`ReadReport.sha256` gives it."""
    file, ours, _ = _opened(source)
    try:
        stream, _, _ = open_text(file)
        while stream.read(1 << 20):
            pass
        return stream.sha256
    finally:
        if ours:
            file.close()
