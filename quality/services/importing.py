"""Taking a file of vehicle records into the program: all of it or nothing.

Records are written aside while the file is read; when everything has been checked the
parts are moved into place and then one transaction makes them exist (the manifest) with
their summaries. A crash before the transaction leaves files that no row names, which
nobody reads and ``sweep_store`` removes.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import IntegrityError, connection, transaction

from quality.models import RecordFile, RecordPart, RefusedLine
from quality.selectors.limits import check_limits
from quality.services.day_rows import days_store as _store_days
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
from quality.services.replacing import (
    KEEP,
    REPLACE,
    HeldDays,
    Overlap,
    Replacing,
    decisions_kept,
    part_row,
    replacement_store,
    replacing_plan,
    without_days,
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
    plans: list[Replacing] = []
    written: list[tuple[str, str, Part]] = []
    placed: list[tuple[str, str, Part]] = []
    try:
        with (
            PartWriter(root, sha256) as writer,
            PartWriter(root, _of_held_days(sha256)) as over,
            HeldDays(options) as held_days,
            reader_for(path, options, progress) as reader,
        ):
            for batch in reader:
                for key, table in split_by_lane(batch):
                    if key not in names:
                        check_named(key)
                        names[key] = planned_name(key, site_codes([key]))
                    free, taken = held_days.split(key, table)
                    writer.add(*names[key], free)
                    if held_days.replaces(key):
                        over.add(*names[key], taken)
                    gathered.take(key, table)
            report = reader.report
            dailies = dict(gathered.lanes(report))
            _refuse_obstacles(source_name, report, options, dailies)
            dates = {key: dates_of(daily) for key, daily in dailies.items()}
            overlaps = held_days.overlaps(dates)
            dailies = _without_kept(dailies, held_days)
            written = writer.commit()
            placed = over.commit()
        plans += _plans(overlaps, sha256)
        return _store(
            source_name, path, report, dailies, names, written, placed, plans,
            overlaps, options, by=by, why=why or f"taken in from {source_name}",
        )  # fmt: skip
    except IntegrityError:
        return _held_meanwhile(source_name, sha256)
    finally:
        paths = [part.path for _, _, part in (*written, *placed)]
        _remove_unnamed(root, [*paths, *(p for plan in plans for p in plan.paths)])


def _of_held_days(sha256: str) -> str:
    """What names the parts with a file's records of days that are held."""
    return hashlib.sha256(f"held days {sha256}".encode()).hexdigest()


def _without_kept(
    dailies: Mapping[LaneKey, Daily], held_days: HeldDays
) -> dict[LaneKey, Daily]:
    """The file's sums without the held days that stay as they are."""
    found = {}
    for key, daily in dailies.items():
        held = held_days.dates_in(key, dates_of(daily))
        kept = held and not held_days.replaces(key)
        found[key] = without_days(daily, held) if kept else daily
    return found


def _plans(overlaps: Sequence[Overlap], sha256: str) -> Iterator[Replacing]:
    for overlap in overlaps:
        if overlap.choice == REPLACE:
            yield replacing_plan(overlap, sha256)


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
    placed: Sequence[tuple[str, str, Part]],
    plans: Sequence[Replacing],
    overlaps: Sequence[Overlap],
    options: ImportOptions,
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
        notes=[*report.notes, *_told(overlaps)],
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
    replaced = {
        plan.lane.pk: replacement_store(
            plan, new_file=record_file, reason=options.held_reason, by=by
        )
        for plan in plans
    }
    RecordPart.objects.bulk_create(
        [
            part_row(record_file, by_name[code, label], part)
            for code, label, part in parts
        ]
        + [
            part_row(
                record_file, by_name[code, label], part,
                made_by=replaced[by_name[code, label].pk],
            )
            for code, label, part in placed
        ]
    )  # fmt: skip
    for key, daily in dailies.items():
        _store_days(lanes[key], record_file, daily)
    for replacement in replaced.values():
        decisions_kept(replacement)
    days_refresh({lanes[key]: days for key, days in dates.items() if days})
    return record_file


def _told(overlaps: Sequence[Overlap]) -> list[str]:
    """What was done about held days, for the file's page."""
    words = {KEEP: "left as they were", REPLACE: "replaced by this file's"}
    return [
        f"{one.lane_name}: {len(one.days)} days from {one.days[0].date} to "
        f"{one.days[-1].date} were held already and were {words[one.choice]}."
        for one in overlaps
    ]


def days_refresh(changed: Mapping[Lane, Sequence[dt.date]]) -> None:
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
