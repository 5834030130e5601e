"""What taking a file would do, told before anything is done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quality.models import RecordFile
from quality.selectors.limits import check_limits
from quality.services.incoming import (
    KEPT_COMPLAINTS,
    Gathered,
    ImportOptions,
    LaneMatch,
    Preview,
    Progress,
    dates_of,
    known_lanes,
    obstacles_of,
    planned_name,
    reader_for,
    site_codes,
)
from quality.services.questioning import questions_of
from quality.services.replacing import HeldDays
from sites.selectors import program_get
from wimprog.lib.errors import UnreadableInput

if TYPE_CHECKING:
    import numpy as np

    from quality.records.detect import RecordReader
    from quality.records.report import ReadReport
    from quality.records.schema import LaneKey


def records_preview(
    path: Path | str,
    *,
    source_name: str = "",
    options: ImportOptions | None = None,
    progress: Progress | None = None,
) -> Preview:
    """Read a file to its end and say what taking it would do. Stores nothing.

    A headed CSV whose columns cannot be made out has a preview all the same: it names
    the obstacle, and holds the headings and the mapping that was tried, to be mended.

    Raises
    ------
    UnreadableInput
        When the file cannot be read at all, with the reason and the remedy.
    """
    from quality.records.report import Layout
    from quality.records.schema import split_by_lane

    path = Path(path)
    source_name = source_name or path.name
    options = options or ImportOptions()
    gathered = Gathered(program_get().legal_gross_kg, check_limits().values)
    with (
        HeldDays(options) as held_days,
        reader_for(path, options, progress) as reader,
    ):
        try:
            for batch in reader:
                for key, table in split_by_lane(batch):
                    gathered.take(key, table)
                    held_days.split(key, table)
            dailies = dict(gathered.lanes(reader.report))
        except UnreadableInput as error:
            if reader.detection.layout is not Layout.HEADED_CSV:
                raise
            return _to_be_mapped(path, source_name, reader, error)
        report = reader.report
        dates = {key: dates_of(daily) for key, daily in dailies.items()}
        held = RecordFile.objects.filter(sha256=report.sha256).first()
        overlaps = [] if held else held_days.overlaps(dates)
    lanes = known_lanes(dates)
    obstacles = [] if held else obstacles_of(report, options, lanes, dates)
    questions = [] if held else questions_of(source_name, dailies, lanes)
    return Preview(
        source_name=source_name,
        sha256=report.sha256,
        layout=reader.detection.layout.value,
        sentence=f"{reader.detection.sentence} {report.sentence()}",
        n_read=report.n_read,
        n_kept=report.n_kept,
        n_refused=report.n_refused,
        first_on=_date(report.first_at),
        last_on=_date(report.last_at),
        lanes=_matches(report, dates),
        complaints=tuple(report.complaints[:KEPT_COMPLAINTS]),
        notes=(*report.notes, *questions),
        obstacles=tuple(obstacles),
        already_in=held.pk if held else None,
        mapping=reader.mapping.as_dict() if reader.mapping else None,
        headings=tuple(reader.detection.header),
        overlaps=tuple(overlap.as_dict() for overlap in overlaps),
    )


def _date(moment: np.datetime64 | None) -> dt.date | None:
    return None if moment is None else moment.astype("datetime64[D]").astype(dt.date)


def _matches(
    report: ReadReport, dates: Mapping[LaneKey, Sequence[dt.date]]
) -> tuple[LaneMatch, ...]:
    """The file's lanes beside the program's."""
    known, codes = known_lanes(dates), site_codes(dates)
    found = []
    for key, days in dates.items():
        lane = known.get(key)
        code, label = planned_name(key, codes)
        found.append(
            LaneMatch(
                **key._asdict(),
                n_records=report.lanes.get(key, 0),
                lane_id=lane.pk if lane else None,
                name=str(lane) if lane else f"{code} lane {label}",
                is_new_site=(key.state_code, key.station_id) not in codes,
                first_on=min(days, default=None),
                last_on=max(days, default=None),
            )
        )
    return tuple(sorted(found, key=lambda one: one.name))


def _to_be_mapped(
    path: Path, source_name: str, reader: RecordReader, error: UnreadableInput
) -> Preview:
    """The preview of a CSV that its mapping does not fit."""
    from quality.records.detect import content_sha256

    return Preview(
        source_name=source_name,
        sha256=content_sha256(path),
        layout=reader.detection.layout.value,
        sentence=reader.detection.sentence,
        n_read=0,
        n_kept=0,
        n_refused=0,
        first_on=None,
        last_on=None,
        lanes=(),
        complaints=error.complaints,
        notes=tuple(reader.report.notes),
        obstacles=(error.message,),
        mapping=reader.mapping.as_dict() if reader.mapping else None,
        headings=tuple(reader.detection.header),
    )
