"""What must hold of the readers whatever bytes they are given."""

from __future__ import annotations

import gzip
import io
import json
import zipfile

from quality.records.detect import content_sha256, detect, open_records
from quality.records.mapping import ColumnMapping
from quality.records.report import MAX_COMPLAINTS, Layout, ReadReport
from quality.records.s_record import read_station_records
from quality.records.w_layout import OpenField, WOptions
from wimprog.lib.errors import UnreadableInput


class Broken(Exception):
    """A reader did what no reader may."""


def _hold(is_so: bool, what: str) -> None:
    if not is_so:
        raise Broken(what)


def examine(
    raw: bytes,
    *,
    mapping: ColumnMapping | None = None,
    open_field: OpenField = OpenField.NOT_USED,
) -> str:
    """Read ``raw`` by every reader; says what became of it.

    Raises
    ------
    Broken
        When the counts do not add up, or a refusal has no words. Any exception but
        ``UnreadableInput`` passes through: that is a crash.
    """
    _station(raw)
    try:
        detect(io.BytesIO(raw))
        reader = open_records(
            io.BytesIO(raw), mapping, options=WOptions(open_field=open_field)
        )
        n = sum(batch.num_rows for batch in reader)
    except UnreadableInput as refusal:
        _hold(bool(refusal.message.strip()), "refused without a word")
        return "refused"
    report = reader.report
    _hold(n == report.n_kept, f"{n} records came, {report.n_kept} were counted")
    _counts(report)
    if content_sha256(io.BytesIO(raw)) != report.sha256:
        raise Broken("the digest is not that of the content")
    return report.layout.name


def _counts(report: ReadReport) -> None:
    counted = report.n_kept + report.n_refused + report.n_hour_mark_lines
    _hold(report.n_read == report.n_kept + report.n_refused, "kept + refused ≠ read")
    _hold(counted <= report.n_lines, f"{counted} of {report.n_lines} lines")
    _hold(sum(report.lanes.values()) == report.n_kept, "lanes do not add up")
    _hold(
        sum(report.refused_by_reason.values()) == report.n_refused,
        "reasons do not add up",
    )
    wanted = min(report.n_refused, MAX_COMPLAINTS)
    _hold(len(report.complaints) == wanted, "a refused line has no complaint")
    rows = [complaint.row or 0 for complaint in report.complaints]
    _hold(rows == sorted(rows), "complaints are out of order")
    _hold(all(row >= 1 for row in rows), "a line of no number")
    _hold(all(one.message.strip() for one in report.complaints), "no words")
    if report.layout is not Layout.HEADED_CSV:
        _hold(len(set(rows)) == len(rows), "a line refused twice")
        _hold(all(row <= report.n_lines for row in rows), "a line that is not there")
    json.dumps(report.as_dict())


def _station(raw: bytes) -> None:
    try:
        file = read_station_records(io.BytesIO(raw))
    except UnreadableInput as refusal:
        _hold(bool(refusal.message.strip()), "refused without a word")
        return
    _hold(
        len(file.records) + file.n_refused == file.n_lines,
        "station lines do not add up",
    )


def zipped(raw: bytes) -> bytes:
    """As a zip of one file."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("records", raw)
    return out.getvalue()


WRAPPINGS = {"plain": bytes, "gzip": gzip.compress, "zip": zipped}
