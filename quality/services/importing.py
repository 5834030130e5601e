"""Taking a file of vehicle records into the program: all of it or nothing.

Records are written aside while the file is read; when everything has been checked the
parts are moved into place and then one transaction makes them exist (the manifest) with
their summaries. A crash before the transaction leaves files that no row names, which
nobody reads and ``sweep_store`` removes.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import IntegrityError, connection, transaction

from quality.models import (
    DailySummary,
    LaneDay,
    RecordFile,
    RecordPart,
    RefusedLine,
)
from quality.selectors.limits import check_limits
from quality.services.deriving import derived_refresh, lanes_beside
from quality.services.incoming import (
    KEPT_COMPLAINTS,
    Gathered,
    ImportOptions,
    Progress,
    check_named,
    dates_of,
    known_lanes,
    obstacles_of,
    planned_name,
    reader_for,
    site_codes,
)
from sites.models import Lane, Site
from sites.selectors import program_get
from sites.services import lane_save, site_from_records
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.models import save_with_reason

if TYPE_CHECKING:
    from quality.calc.daily import Daily
    from quality.records.report import ReadReport
    from quality.records.schema import LaneKey
    from quality.records.store import Part

MOST_IN_AN_HOUR = 65_535


def records_import(
    path: Path | str,
    *,
    source_name: str = "",
    options: ImportOptions | None = None,
    by: Any,
    why: str = "",
    progress: Progress | None = None,
) -> RecordFile:
    """Take a file of vehicle records in: all of it or nothing.

    A file whose content is held already is recognised, and the stored one is returned.

    Raises
    ------
    UnreadableInput
        When the file cannot be read, or too much of it is refused.
    DomainError
        When days of it are held already from another file, or its lanes are unknown
        and may not be made.
    """
    from quality.records.detect import content_sha256
    from quality.records.schema import split_by_lane
    from quality.records.store import PartWriter

    path = Path(path)
    options = options or ImportOptions()
    source_name = source_name or path.name
    sha256 = content_sha256(path)
    held = RecordFile.objects.filter(sha256=sha256).first()
    if held is not None:
        return held
    gathered = Gathered(program_get().legal_gross_kg, check_limits().values)
    root = Path(settings.RECORD_STORE)
    names: dict[LaneKey, tuple[str, str]] = {}
    with (
        PartWriter(root, sha256) as writer,
        reader_for(path, options, progress) as reader,
    ):
        for batch in reader:
            for key, table in split_by_lane(batch):
                if key not in names:
                    check_named(key)
                    names[key] = planned_name(key, site_codes([key]))
                writer.add(*names[key], table)
                gathered.take(key, table)
        report = reader.report
        dailies = dict(gathered.lanes(report))
        _refuse_obstacles(source_name, report, options, dailies)
        parts = writer.commit()
    try:
        return _store(
            source_name, path, report, dailies, names, parts, by=by,
            why=why or f"taken in from {source_name}",
        )  # fmt: skip
    except IntegrityError:
        return _held_meanwhile(source_name, sha256)
    finally:
        _remove_unnamed(root, [part.path for _, _, part in parts])


def _refuse_obstacles(
    source_name: str,
    report: ReadReport,
    options: ImportOptions,
    dailies: Mapping[LaneKey, Daily],
) -> None:
    dates = {key: dates_of(daily) for key, daily in dailies.items()}
    obstacles = obstacles_of(report, options, known_lanes(dates), dates)
    if obstacles:
        raise UnreadableInput(
            f"{source_name} was not taken in. {' '.join(obstacles)}",
            tuple(report.complaints[:KEPT_COMPLAINTS]),
        )


def _held_meanwhile(source_name: str, sha256: str) -> RecordFile:
    """What another import of the same records has stored while this one was reading.

    Raises
    ------
    DomainError
        When it was another file with some of the same days.
    """
    held = RecordFile.objects.filter(sha256=sha256).first()
    if held is None:
        raise DomainError(
            f"{source_name} was not taken in: another import stored some of the same "
            "days, sites or lanes at the same moment. Look at the list of files, then "
            "import it again."
        )
    return held


def _remove_unnamed(root: Path, paths: Sequence[str]) -> None:
    """Remove parts that the manifest does not name (the import did not go through).

    A part's name is made from its content, so the same part may meanwhile belong to
    another import of the same file: the manifest decides.
    """
    if connection.in_atomic_block and connection.needs_rollback:
        return
    named = set(
        RecordPart.objects.filter(path__in=paths).values_list("path", flat=True)
    )
    for path in set(paths) - named:
        (root / path).unlink(missing_ok=True)


def _lanes_for(
    keys: Sequence[LaneKey],
    dates: Mapping[LaneKey, Sequence[dt.date]],
    *,
    source_name: str,
    by: Any,
) -> dict[LaneKey, Lane]:
    """The program's lanes of a file; those that are missing are made."""
    lanes = known_lanes(keys)
    missing: dict[tuple[str, str], list[LaneKey]] = {}
    for key in keys:
        if key not in lanes:
            missing.setdefault((key.state_code, key.station_id), []).append(key)
    for (state_code, station_id), wanted in missing.items():
        first_on = min((day for key in wanted for day in dates[key]), default=None)
        pairs = [(int(key.direction_code), int(key.lane_code)) for key in wanted]
        wim_site = Site.objects.filter(
            state_code=state_code, station_id=station_id
        ).first()
        if wim_site is None:
            site_from_records(
                state_code=state_code, station_id=station_id, lanes=pairs,
                first_on=first_on, by=by, source_name=source_name,
            )  # fmt: skip
        else:
            for direction, number in pairs:
                lane = Lane(
                    wim_site=wim_site, direction=direction, number=number,
                    opened_on=first_on,
                )  # fmt: skip
                lane_save(lane=lane, by=by, why=f"first seen in {source_name}")
    return known_lanes(keys)


@transaction.atomic
def _store(
    source_name: str,
    path: Path,
    report: ReadReport,
    dailies: Mapping[LaneKey, Daily],
    names: Mapping[LaneKey, tuple[str, str]],
    parts: Sequence[tuple[str, str, Part]],
    *,
    by: Any,
    why: str,
) -> RecordFile:
    """The one transaction that makes a file's records exist."""
    dates = {key: dates_of(daily) for key, daily in dailies.items()}
    lanes = _lanes_for(list(dailies), dates, source_name=source_name, by=by)
    record_file = RecordFile(
        source_name=source_name[:255],
        sha256=report.sha256,
        layout=report.layout.value,
        size_bytes=path.stat().st_size,
        first_on=min((day for days in dates.values() for day in days), default=None),
        last_on=max((day for days in dates.values() for day in days), default=None),
        n_read=report.n_read,
        n_kept=report.n_kept,
        n_refused=report.n_refused,
        imported_by=by,
    )
    save_with_reason(record_file, by=by, why=why)
    RefusedLine.objects.bulk_create(
        [
            RefusedLine(
                record_file=record_file,
                line=complaint.row or 0,
                field=complaint.field[:60],
                value=complaint.value[:200],
                message=complaint.message,
                expected=complaint.expected[:200],
                remedy=complaint.remedy,
            )
            for complaint in report.complaints[:KEPT_COMPLAINTS]
        ]
    )
    by_name = {names[key]: lanes[key] for key in names}
    RecordPart.objects.bulk_create(
        [
            RecordPart(
                record_file=record_file,
                lane=by_name[code, label],
                month=part.month.astype(dt.date),
                path=part.path,
                n_records=part.n_records,
                size_bytes=part.n_bytes,
                first_at=part.first_at.astype(dt.datetime).replace(tzinfo=dt.UTC),
                last_at=part.last_at.astype(dt.datetime).replace(tzinfo=dt.UTC),
            )
            for code, label, part in parts
        ]
    )
    for key, daily in dailies.items():
        _store_days(lanes[key], record_file, daily)
    _refresh({lanes[key]: days for key, days in dates.items() if days})
    return record_file


def _refresh(changed: Mapping[Lane, Sequence[dt.date]]) -> None:
    """Derived rows of the lanes whose days changed, and findings of those beside them.

    After all days are stored: lanes are held against each other.
    """
    beside: dict[Lane, list[dt.date]] = {}
    for lane, days in changed.items():
        derived_refresh(lane=lane, first_on=min(days), last_on=max(days))
        for other in lanes_beside(lane):
            if other not in changed:
                beside.setdefault(other, []).extend(days)
    for other, days in beside.items():
        derived_refresh(lane=other, first_on=min(days), last_on=max(days))


def _store_days(lane: Lane, record_file: RecordFile, daily: Daily) -> None:
    import numpy as np

    from quality.calc.daily import METHOD_VERSION
    from quality.calc.days import HOUR_COLUMNS

    by_day: Any = daily.by_day
    by_class: Any = daily.by_class
    hourly = by_day[list(HOUR_COLUMNS)].to_numpy(dtype=np.int64)
    packed = np.minimum(hourly, MOST_IN_AN_HOUR).astype("<u2")
    _insert(
        LaneDay,
        ("lane_id", "date", "record_file_id", "hours_seen", "n_vehicles",
         "n_unclassified", "n_implausible", "hourly", "findings", "figures",
         "method_version"),
        [
            (lane.pk, day.date.date(), record_file.pk, int(day.hours_seen),
             int(day.n_vehicles), int(day.n_unclassified), int(day.n_implausible),
             packed[place].tobytes(), json.dumps([]),
             json.dumps(day.figures, separators=(",", ":")), METHOD_VERSION)
            for place, day in enumerate(by_day.itertuples(index=False))
        ],
    )  # fmt: skip
    _insert(
        DailySummary,
        ("lane_id", "date", "vehicle_class", "n_vehicles", "gvw_sum_kg",
         "steering_sum_kg", "steering_sum_sq_kg2", "n_over_gross"),
        [
            (lane.pk, row.date.date(), int(row.vehicle_class), int(row.n_vehicles),
             float(row.gvw_sum_kg), float(row.steering_sum_kg),
             float(row.steering_sum_sq_kg2), int(row.n_over_gross))
            for row in by_class.itertuples(index=False)
        ],
    )  # fmt: skip


def _insert(
    model: Any, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """Plain inserts of derived rows: a file has thousands, and none is a fact."""
    if not rows:
        return
    quote = connection.ops.quote_name
    names = ", ".join(quote(name) for name in columns)
    marks = ", ".join(["%s"] * len(columns))
    table = quote(model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608
            rows,
        )
