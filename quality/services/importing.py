"""Taking a file of vehicle records into the program: all of it or nothing.

Records are written aside while the file is read; when everything has been checked the
parts are moved into place and then one transaction makes them exist (the manifest) with
their summaries. A crash before the transaction leaves files that no row names, which
nobody reads and ``sweep_store`` removes.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import connection, transaction

from quality.models import (
    DailySummary,
    LaneDay,
    RecordFile,
    RecordPart,
    RefusedLine,
)
from quality.services.deriving import derived_refresh
from sites.models import Lane, Site
from sites.selectors import program_get
from sites.services import lane_save, site_from_records
from wimprog.lib.errors import Complaint, DomainError, UnreadableInput
from wimprog.lib.models import save_with_reason

if TYPE_CHECKING:
    import numpy as np

    from quality.calc.daily import Daily
    from quality.records.detect import RecordReader
    from quality.records.report import ReadReport
    from quality.records.schema import LaneKey
    from quality.records.store import Part

KEPT_COMPLAINTS = 1000
SHOWN_OVERLAPS = 10
MOST_IN_AN_HOUR = 65_535

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ImportOptions:
    """How a file is to be taken.

    Attributes
    ----------
    mapping
        Column mapping of a headed CSV, as JSON-ready values; suggested when absent.
    site_code, direction
        For files that carry no station: whose they are.
    new_sites
        Whether a station or lane that the program does not know is made from the file.
    refused_share_limit
        Largest share of refused lines with which a long file is still taken.
    open_field
        What the record's open columns hold; the guide leaves that to the State.
    """

    mapping: Mapping[str, Any] | None = None
    site_code: str = ""
    direction: str = ""
    new_sites: bool = True
    refused_share_limit: float = 0.05
    open_field: str = "not used"

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ImportOptions:
        """From stored values; unknown names are left out."""
        names = cls.__dataclass_fields__
        return cls(**{k: v for k, v in data.items() if k in names})


@dataclass(frozen=True)
class LaneMatch:
    """A lane that a file speaks of, and the program's lane for it, if any."""

    state_code: str
    station_id: str
    direction_code: str
    lane_code: str
    n_records: int
    lane_id: int | None
    name: str
    is_new_site: bool
    first_on: dt.date | None = None
    last_on: dt.date | None = None


@dataclass(frozen=True)
class Preview:
    """What taking a file would do, before anything is done."""

    source_name: str
    sha256: str
    layout: str
    sentence: str
    n_read: int
    n_kept: int
    n_refused: int
    first_on: dt.date | None
    last_on: dt.date | None
    lanes: tuple[LaneMatch, ...]
    complaints: tuple[Complaint, ...]
    notes: tuple[str, ...] = ()
    obstacles: tuple[str, ...] = ()
    already_in: int | None = None
    mapping: Mapping[str, Any] | None = None
    headings: tuple[str, ...] = ()
    report: Mapping[str, Any] = field(default_factory=dict)

    @property
    def would_be_taken(self) -> bool:
        """Whether nothing stands in the way."""
        return not self.obstacles and self.already_in is None

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        data = asdict(self)
        data.pop("report")
        data["complaints"] = [c.as_dict() for c in self.complaints]
        data["lanes"] = [
            {
                **asdict(lane),
                "first_on": _iso(lane.first_on),
                "last_on": _iso(lane.last_on),
            }
            for lane in self.lanes
        ]
        data["first_on"] = _iso(self.first_on)
        data["last_on"] = _iso(self.last_on)
        data["would_be_taken"] = self.would_be_taken
        return data


def _iso(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _date(moment: np.datetime64 | None) -> dt.date | None:
    return None if moment is None else moment.astype("datetime64[D]").astype(dt.date)


def _station_of(options: ImportOptions) -> tuple[str, str]:
    """State code and station of the site that a file without them belongs to."""
    wim_site = Site.objects.filter(code=options.site_code).first()
    if wim_site is not None:
        return wim_site.state_code, wim_site.station_id
    state_code, _, station_id = options.site_code.partition("-")
    if options.new_sites and re.fullmatch(
        r"[0-9]{2}-[A-Za-z0-9]{6}", options.site_code
    ):
        return state_code, station_id
    raise UnreadableInput(
        f"There is no site {options.site_code} in the program. Write the code of a "
        "site that is there, or a new station as state and identifier (99-000014)."
    )


def _reader(
    path: Path, options: ImportOptions, progress: Progress | None
) -> RecordReader:
    from quality.records.detect import detect, open_records
    from quality.records.mapping import ColumnMapping
    from quality.records.report import Layout
    from quality.records.w_layout import OpenField, WOptions

    mapping = None
    if options.mapping:
        mapping = ColumnMapping.from_dict(options.mapping)
    if options.site_code:
        state_code, station_id = _station_of(options)
        found = detect(path)
        if found.layout is Layout.HEADED_CSV:
            base = mapping or found.mapping or ColumnMapping()
            mapping = replace(
                base,
                state="",
                station="",
                state_code=state_code,
                station_id=station_id,
                direction_code=options.direction or base.direction_code,
            )
    total = path.stat().st_size
    return open_records(
        path,
        mapping,
        options=WOptions(open_field=OpenField(options.open_field)),
        progress=(lambda done: progress(done, total)) if progress else None,
    )


# --- what a file says, lane by lane ---------------------------------------------------


class _Gathered:
    """Daily sums of each lane of a file, gathered while it is read."""

    def __init__(self, legal_gross_kg: float) -> None:
        self.legal_gross_kg = legal_gross_kg
        self.parts: dict[LaneKey, list[Daily]] = {}

    def take(self, key: LaneKey, table: Any) -> None:
        from quality.calc.daily import daily_sums

        if key not in self.parts:
            _check_named(key)
        self.parts.setdefault(key, []).append(
            daily_sums(table, legal_gross_kg=self.legal_gross_kg)
        )

    def lanes(self, report: ReadReport) -> Iterator[tuple[LaneKey, Daily]]:
        """Each lane's sums with the file's hour marks."""
        from quality.calc.daily import combine, with_hour_marks

        keys = dict.fromkeys([*self.parts, *(m.lane for m in report.hour_marks)])
        for key in keys:
            marks = [mark for mark in report.hour_marks if mark.lane == key]
            parts = self.parts.get(key, [])
            daily = parts[0] if len(parts) == 1 else combine(parts)
            yield key, with_hour_marks(daily, marks)


def _known_lanes(keys: Iterable[LaneKey]) -> dict[LaneKey, Lane]:
    keys = list(keys)
    stations = {key.station_id for key in keys}
    lanes = Lane.objects.select_related("wim_site").filter(
        wim_site__station_id__in=stations
    )
    by_codes = {
        (
            lane.wim_site.state_code,
            lane.wim_site.station_id,
            str(lane.direction),
            str(lane.number),
        ): lane
        for lane in lanes
    }
    found: dict[LaneKey, Lane] = {}
    for key in keys:
        state, station, direction, lane = key
        if (state, station, direction, lane) in by_codes:
            found[key] = by_codes[state, station, direction, lane]
    return found


def _check_named(key: LaneKey) -> None:
    """Refuse records that do not say where they were taken."""
    digits = key.direction_code.isdigit() and key.lane_code.isdigit()
    if key.state_code and key.station_id and digits:
        return
    raise UnreadableInput(
        "The file does not say which station, direction and lane its records are of "
        f"(found: {key}). Name the columns that hold them, or give the site and the "
        "direction with the file (--site and --direction)."
    )


def _planned_name(
    key: LaneKey, sites_by_station: Mapping[tuple[str, str], str]
) -> tuple[str, str]:
    """Site code and lane label of a lane that does not exist yet."""
    code = sites_by_station.get(
        (key.state_code, key.station_id), f"{key.state_code}-{key.station_id}"
    )
    unsaved = Lane(number=int(key.lane_code), direction=int(key.direction_code))
    return code, unsaved.label


def _site_codes(keys: Iterable[LaneKey]) -> dict[tuple[str, str], str]:
    stations = {key.station_id for key in keys}
    return {
        (state, station): code
        for state, station, code in Site.objects.filter(
            station_id__in=stations
        ).values_list("state_code", "station_id", "code")
    }


def _overlaps(
    known: Mapping[LaneKey, Lane], dates: Mapping[LaneKey, Sequence[dt.date]]
) -> list[str]:
    """Sentences on lane-days that another file holds already."""
    found = []
    for key, lane in known.items():
        days = dates.get(key, [])
        if not days:
            continue
        held = list(
            LaneDay.objects.filter(
                lane=lane, date__range=(min(days), max(days))
            ).values_list("date", "record_file__source_name")
        )
        wanted = set(days)
        both = sorted((date, name) for date, name in held if date in wanted)
        if both:
            names = sorted({name for _, name in both})
            found.append(
                f"{lane}: {len(both)} days from {both[0][0]} to {both[-1][0]} are held "
                f"already, from {', '.join(names[:3])}."
            )
    return found


def _obstacles(
    report: ReadReport,
    options: ImportOptions,
    known: Mapping[LaneKey, Lane],
    dates: Mapping[LaneKey, Sequence[dt.date]],
) -> list[str]:
    found = []
    if report.n_kept == 0 and not report.hour_marks:
        found.append("No line could be kept.")
    elif not report.acceptable(options.refused_share_limit):
        found.append(
            f"{report.n_refused:,} of {report.n_read:,} lines are refused "
            f"({100 * report.share_refused:.1f} %), more than "
            f"{100 * options.refused_share_limit:g} %: the file may be of another "
            "layout or damaged. Mend it, or ask for it again."
        )
    missing = [key for key in dates if key not in known]
    if missing and not options.new_sites:
        names = "; ".join(str(key) for key in missing[:5])
        found.append(
            f"{len(missing)} lanes are not in the program ({names}). Add them, or let "
            "them be made from the file."
        )
    overlaps = _overlaps(known, dates)
    if overlaps:
        shown = " ".join(overlaps[:SHOWN_OVERLAPS])
        rest = len(overlaps) - SHOWN_OVERLAPS
        more = f" And {rest} lanes more." if rest > 0 else ""
        found.append(
            f"Days of this file are held already, and nothing is replaced unasked. "
            f"{shown}{more} Take in a file without those days."
        )
    return found


def _dates_of(daily: Daily) -> list[dt.date]:
    return [date.date() for date in daily.by_day["date"]]


def _headings(reader: RecordReader) -> tuple[str, ...]:
    return tuple(getattr(reader.detection, "header", ()) or ())


def records_preview(
    path: Path | str,
    *,
    source_name: str = "",
    options: ImportOptions | None = None,
    progress: Progress | None = None,
) -> Preview:
    """Read a file to its end and say what taking it would do. Stores nothing.

    Raises
    ------
    UnreadableInput
        When the file cannot be read at all, with the reason and the remedy.
    """
    from quality.records.schema import split_by_lane

    path = Path(path)
    options = options or ImportOptions()
    gathered = _Gathered(program_get().legal_gross_kg)
    with _reader(path, options, progress) as reader:
        for batch in reader:
            for key, table in split_by_lane(batch):
                gathered.take(key, table)
        report, mapping = reader.report, reader.mapping
        headings = _headings(reader)
        layout, sentence = reader.detection.layout, reader.detection.sentence
    dates = {key: _dates_of(daily) for key, daily in gathered.lanes(report)}
    known = _known_lanes(dates)
    codes = _site_codes(dates)
    lanes = []
    for key, days in dates.items():
        lane = known.get(key)
        code, label = _planned_name(key, codes)
        lanes.append(
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
    held = RecordFile.objects.filter(sha256=report.sha256).first()
    obstacles = [] if held else _obstacles(report, options, known, dates)
    return Preview(
        source_name=source_name or path.name,
        sha256=report.sha256,
        layout=layout.value,
        sentence=f"{sentence} {report.sentence()}",
        n_read=report.n_read,
        n_kept=report.n_kept,
        n_refused=report.n_refused,
        first_on=_date(report.first_at),
        last_on=_date(report.last_at),
        lanes=tuple(sorted(lanes, key=lambda one: one.name)),
        complaints=tuple(report.complaints[:KEPT_COMPLAINTS]),
        notes=tuple(report.notes),
        obstacles=tuple(obstacles),
        already_in=held.pk if held else None,
        mapping=mapping.as_dict() if mapping else None,
        headings=headings,
        report=report.as_dict(),
    )


# --- taking it in --------------------------------------------------------------------


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
    gathered = _Gathered(program_get().legal_gross_kg)
    root = Path(settings.RECORD_STORE)
    names: dict[LaneKey, tuple[str, str]] = {}
    with (
        PartWriter(root, sha256) as writer,
        _reader(path, options, progress) as reader,
    ):
        for batch in reader:
            for key, table in split_by_lane(batch):
                if key not in names:
                    _check_named(key)
                    names[key] = _planned_name(key, _site_codes([key]))
                writer.add(*names[key], table)
                gathered.take(key, table)
        report = reader.report
        dailies = dict(gathered.lanes(report))
        dates = {key: _dates_of(daily) for key, daily in dailies.items()}
        obstacles = _obstacles(report, options, _known_lanes(dates), dates)
        if obstacles:
            raise UnreadableInput(
                f"{source_name} was not taken in. {' '.join(obstacles)}",
                tuple(report.complaints[:KEPT_COMPLAINTS]),
            )
        parts = writer.commit()
    try:
        return _store(
            source_name, path, report, dailies, names, parts, by=by,
            why=why or f"taken in from {source_name}",
        )  # fmt: skip
    except BaseException:
        for _, _, part in parts:
            (root / part.path).unlink(missing_ok=True)
        raise


def _lanes_for(
    keys: Sequence[LaneKey],
    dates: Mapping[LaneKey, Sequence[dt.date]],
    *,
    source_name: str,
    by: Any,
) -> dict[LaneKey, Lane]:
    """The program's lanes of a file; those that are missing are made."""
    lanes = _known_lanes(keys)
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
    return _known_lanes(keys)


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
    dates = {key: _dates_of(daily) for key, daily in dailies.items()}
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
        days = dates[key]
        if days:
            derived_refresh(lane=lanes[key], first_on=min(days), last_on=max(days))
    return record_file


def _store_days(lane: Lane, record_file: RecordFile, daily: Daily) -> None:
    import numpy as np

    from quality.calc.daily import HOUR_COLUMNS, METHOD_VERSION

    by_day: Any = daily.by_day
    by_class: Any = daily.by_class
    hourly = by_day[list(HOUR_COLUMNS)].to_numpy(dtype=np.int64)
    packed = np.minimum(hourly, MOST_IN_AN_HOUR).astype("<u2")
    _insert(
        LaneDay,
        ("lane_id", "date", "record_file_id", "hours_seen", "n_vehicles",
         "n_unclassified", "n_implausible", "hourly", "findings", "method_version"),
        [
            (lane.pk, day.date.date(), record_file.pk, int(day.hours_seen),
             int(day.n_vehicles), int(day.n_unclassified), int(day.n_implausible),
             packed[place].tobytes(), json.dumps([]), METHOD_VERSION)
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


__all__ = [
    "DomainError",
    "ImportOptions",
    "LaneMatch",
    "Preview",
    "records_import",
    "records_preview",
]
