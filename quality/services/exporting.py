"""Records and tables out of the program: CSV, XLSX, Parquet, truck weight records.

What is written is streamed, one stored part after the other: memory is bounded whatever
the period holds. The same records and decisions give the same bytes.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from django.conf import settings

from quality.selectors.using import (
    DAY,
    Asked,
    CountedDays,
    LaneCarried,
    counted_days,
    counted_parts,
    scaling,
)
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.tables import NO_DATA, XLSX, safe_cell

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from quality.records.report import Layout
    from quality.records.schema import LaneKey

ROWS_AT_ONCE = 65_536


class RecordForm(StrEnum):
    """How vehicle records are written out."""

    CSV = "csv"
    PARQUET = "parquet"
    W2016 = "w2016"
    W2016_PIPE = "w2016-pipe"

    @property
    def ending(self) -> str:
        """Of the file's name."""
        return {"w2016": "wgt", "w2016-pipe": "txt"}.get(self.value, self.value)

    @property
    def content_type(self) -> str:
        """For a browser."""
        kinds = {"csv": "text/csv; charset=utf-8",
                 "parquet": "application/vnd.apache.parquet"}  # fmt: skip
        return kinds.get(self.value, "text/plain; charset=us-ascii")

    @property
    def is_weight_record(self) -> bool:
        """Whether it is a truck weight record of the Traffic Monitoring Guide."""
        return self in (RecordForm.W2016, RecordForm.W2016_PIPE)


class _Drain(io.RawIOBase):
    """A file whose bytes are taken out as they come."""

    def __init__(self) -> None:
        super().__init__()
        self._chunks: list[bytes] = []
        self._at = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any, /) -> int:
        chunk = bytes(data)
        self._chunks.append(chunk)
        self._at += len(chunk)
        return len(chunk)

    def tell(self) -> int:
        return self._at

    def taken(self) -> bytes:
        """What was written since the last time."""
        out, self._chunks = b"".join(self._chunks), []
        return out


def records_out(asked: Asked, form: RecordForm) -> Iterator[bytes]:
    """The records behind a question, in a form, as they are read.

    Days set aside are never among them. A truck weight record has no place for a mark,
    so that it always carries the weights as recorded; the other forms have a column
    ``weights_scaled_by``, empty where the weights are as recorded.

    Raises
    ------
    DomainError
        At the call, when no day is counted or corrected truck weight records are asked
        for; while it runs, when a part cannot be read or a value does not fit.
    """
    if form.is_weight_record and asked.corrected:
        raise DomainError(
            "A truck weight record has no place to say that a weight was corrected. "
            "Take the weights as recorded, or take CSV or Parquet, which say so."
        )
    counted = counted_days(asked)
    if not counted.days.counted:
        raise DomainError(
            "There is no record to take out: no day of that period is accepted. Accept "
            "days in the review, or count those that nobody has judged."
        )
    writers: dict[RecordForm, Callable[..., Iterator[bytes]]] = {
        RecordForm.CSV: _as_csv,
        RecordForm.PARQUET: _as_parquet,
        RecordForm.W2016: _as_weight_records,
        RecordForm.W2016_PIPE: _as_weight_records,
    }
    return writers[form](asked, counted, form)


def _tables(asked: Asked, counted: CountedDays) -> Iterator[tuple[Lane, pa.Table]]:
    """Each part's records that are counted, as recorded, lane by lane in time order.

    Where a month holds several parts they are read together, so that the records stand
    in order of time, and within an hour as the sender had them.
    """
    from itertools import groupby
    from pathlib import PurePosixPath

    import numpy as np
    import pyarrow as pa

    from quality.calc.carried import CarriedRule
    from quality.records.schema import times_ms
    from quality.records.store import read_parts

    parts = counted_parts(asked)
    for lane in asked.lanes:
        days = counted.by_lane[lane.pk]
        if not days:
            continue
        rule = CarriedRule(np.array(sorted(days), dtype="datetime64[D]"))
        for _, paths in groupby(
            parts[lane.pk], key=lambda path: PurePosixPath(path).parent
        ):
            table = read_parts(settings.RECORD_STORE, paths)
            days_of = times_ms(table).astype("datetime64[D]").astype(np.int64)
            table = table.filter(pa.array(rule.lets_in(days_of)))
            order = np.argsort(times_ms(table), kind="stable")
            if table.num_rows:
                yield lane, table.take(pa.array(order))


def _as_weight_records(
    asked: Asked, counted: CountedDays, form: RecordForm
) -> Iterator[bytes]:
    """Each lane's records, then its hours that were recorded and held no vehicle."""
    from itertools import groupby

    import numpy as np

    from quality.records.report import Layout
    from quality.records.schema import times_ms
    from quality.records.w_write import write_w_records

    layout = Layout.W_FIXED if form is RecordForm.W2016 else Layout.W_PIPE
    for lane, pairs in groupby(_tables(asked, counted), key=lambda pair: pair[0]):
        busy: set[int] = set()
        for _, table in pairs:
            hours = times_ms(table).astype("datetime64[h]").astype(np.int64)
            busy.update(np.unique(hours).tolist())
            for start in range(0, table.num_rows, ROWS_AT_ONCE):
                sink = io.BytesIO()
                write_w_records(
                    table.slice(start, ROWS_AT_ONCE),
                    sink,
                    lane=lane_key(lane),
                    layout=layout,
                )
                yield sink.getvalue()
        yield _empty_hours(lane, counted, busy, layout)


def _empty_hours(
    lane: Lane, counted: CountedDays, busy: set[int], layout: Layout
) -> bytes:
    """A line for each hour that the sender said was recorded and held no vehicle."""
    import numpy as np

    from quality.records.report import HourMark, Layout
    from quality.records.w_write import write_hour_marks

    key = lane_key(lane)
    marks = []
    for day, (bits, _) in counted.by_lane[lane.pk].items():
        first = np.datetime64(day, "h")
        for hour in range(24):
            at = first + hour
            if bits >> hour & 1 and int(at.astype(np.int64)) not in busy:
                marks.append(HourMark(key, at, False))
    if layout is Layout.W_FIXED:
        sink = io.BytesIO()
        write_hour_marks(marks, sink)
        return sink.getvalue()
    lines = []
    for mark in sorted(marks, key=lambda one: one.hour):
        year, month, rest = str(mark.hour).split("-")
        day_text, hour_text = rest.split("T")
        lines.append("|".join(("W", *key, year, month, day_text, hour_text, "d\n")))
    return "".join(lines).encode("ascii")


def lane_key(lane: Lane) -> LaneKey:
    """What a record of the lane says of where it was taken."""
    from quality.records.schema import LaneKey

    wim_site = lane.wim_site
    return LaneKey(
        wim_site.state_code,
        wim_site.station_id,
        str(lane.direction),
        str(lane.number),
    )


def _marked(asked: Asked, counted: CountedDays) -> Iterator[pa.Table]:
    """Records with site and lane in front, weights corrected and marked where asked."""
    import pyarrow as pa

    from quality.calc.scaled_weights import scaled
    from quality.records.schema import STORE_SCHEMA
    from quality.selectors.corrections import corrections_in_force

    used = corrections_in_force(
        [lane.pk for lane in asked.lanes],
        first_on=asked.first_on,
        last_on=asked.last_on,
    ) if asked.corrected else []  # fmt: skip
    for lane, table in _tables(asked, counted):
        spans = [one for one in used if one.lane_id == lane.pk]
        for piece, correction in _split(table, spans):
            n = piece.num_rows
            if correction is not None:
                piece = scaled(piece, scaling(correction))
            mark = None if correction is None else correction.factor
            columns = {
                "site": pa.array([lane.wim_site.code] * n, pa.string()),
                "lane": pa.array([lane.label] * n, pa.string()),
                **{name: piece.column(name) for name in STORE_SCHEMA.names},
                "weights_scaled_by": pa.array([mark] * n, pa.float64()),
            }
            yield pa.table(columns)


def _split(table: pa.Table, spans: Iterable[Any]) -> Iterator[tuple[pa.Table, Any]]:
    """The table cut, in order of time, where corrections begin and end."""
    import numpy as np

    from quality.records.schema import times_ms

    days = times_ms(table).astype("datetime64[D]")
    at = 0
    for one in sorted(spans, key=lambda span: span.from_on):
        start = int(np.searchsorted(days, np.datetime64(one.from_on)))
        stop = int(np.searchsorted(days, np.datetime64(one.to_on + DAY)))
        if stop <= start:
            continue
        if start > at:
            yield table.slice(at, start - at), None
        yield table.slice(start, stop - start), one
        at = stop
    if at < table.num_rows:
        yield table.slice(at), None


def _as_parquet(
    asked: Asked, counted: CountedDays, form: RecordForm
) -> Iterator[bytes]:
    import pyarrow.parquet as pq

    sink = _Drain()
    writer: Any = None
    for table in _marked(asked, counted):
        if writer is None:
            writer = pq.ParquetWriter(sink, table.schema, compression="zstd")
        writer.write_table(table)
        yield sink.taken()
    if writer is not None:
        writer.close()
        yield sink.taken()


def _as_csv(asked: Asked, counted: CountedDays, form: RecordForm) -> Iterator[bytes]:
    import pyarrow.csv as pacsv

    is_first = True
    for table in _marked(asked, counted):
        sink = io.BytesIO()
        options = pacsv.WriteOptions(include_header=is_first, quoting_style="needed")
        pacsv.write_csv(table, sink, options)
        is_first = False
        yield sink.getvalue()


def table_csv(frame: pd.DataFrame) -> bytes:
    """A table as CSV; a missing value is an empty cell."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(frame.columns)
    writer.writerows(_rows(frame, missing=""))
    return buffer.getvalue().encode("utf-8-sig")


def table_parquet(frame: pd.DataFrame) -> bytes:
    """A table as Parquet; a missing value is a null."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    sink = io.BytesIO()
    table = pa.Table.from_pandas(frame, preserve_index=False)
    pq.write_table(table.replace_schema_metadata(None), sink, compression="zstd")
    return sink.getvalue()


def tables_xlsx(
    frames: Mapping[str, pd.DataFrame], *, notes: Iterable[str], as_of: dt.date
) -> bytes:
    """Tables as a workbook, a sheet each, with what they rest on in front."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    first = book.create_sheet("Read me first")
    for note in notes:
        first.append([safe_cell(note)])
    for name, frame in frames.items():
        sheet = book.create_sheet(name[:31])
        sheet.freeze_panes = "B2"
        sheet.append(list(frame.columns))
        for row in _rows(frame, missing=NO_DATA):
            sheet.append(row)
    book.properties.creator = "wimprog"
    book.properties.created = dt.datetime.combine(as_of, dt.time())
    raw = io.BytesIO()
    book.save(raw)
    return _without_clock(raw.getvalue(), as_of)


def _rows(frame: pd.DataFrame, *, missing: str) -> Iterator[list[Any]]:
    """A table's rows as plain values; days without a clock time are dates."""
    columns = []
    for name in frame.columns:
        column = frame[name]
        values: list[Any] = column.astype(object).where(column.notna(), None).tolist()
        if column.dtype.kind == "M":
            values = [None if one is None else one.to_pydatetime() for one in values]
            if name != "hour":
                values = [None if one is None else one.date() for one in values]
        elif column.dtype.kind == "f" and all(
            one is None or float(one).is_integer() for one in values
        ):
            values = [None if one is None else int(one) for one in values]
        columns.append([missing if one is None else safe_cell(one) for one in values])
    return (list(row) for row in zip(*columns, strict=True))


def _without_clock(content: bytes, as_of: dt.date) -> bytes:
    """A workbook that does not say when it was written, so that it may be repeated."""
    import re

    out = io.BytesIO()
    stamp = (max(as_of.year, 1980), as_of.month, as_of.day, 0, 0, 0)
    said = re.compile(rb"(<dcterms:modified[^>]*>)[^<]*")
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for info in old.infolist():
            body = old.read(info)
            if info.filename == "docProps/core.xml":
                body = said.sub(rb"\g<1>" + f"{as_of}T00:00:00Z".encode(), body)
            entry = zipfile.ZipInfo(info.filename, date_time=stamp)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, body)
    return out.getvalue()


def notes_of(answer: LaneCarried) -> list[str]:
    """What tables rest on, line by line, for a workbook's first sheet."""
    asked, days = answer.asked, answer.days
    lines = [
        "What was carried: " + ", ".join(str(lane) for lane in asked.lanes),
        f"{asked.first_on} to {asked.last_on}",
        f"{days.counted:,} of {days.n:,} lane-days are counted: {days.accepted:,} "
        f"accepted, {days.undecided:,} not judged, {days.set_aside:,} set aside, "
        f"{days.unrecorded:,} without a record.",
        answer.rule,
        f"Loads: {answer.flexible.text}; {answer.rigid.text} (AASHTO 1993).",
        "A missing value is no data.",
    ]
    for one in answer.corrections:
        lines.append(
            f"{one.lane}, {one.from_on} to {one.to_on}: weights times {one.factor:.4f} "
            f"({one.factor_low:.4f} to {one.factor_high:.4f}, 95 % interval)."
        )
    return lines


__all__ = [
    "XLSX",
    "RecordForm",
    "lane_key",
    "notes_of",
    "records_out",
    "table_csv",
    "table_parquet",
    "tables_xlsx",
]
