"""What a file on its way in says of itself, and what stands in its way.

Shared by the preview and the taking-in, so that neither can promise what the other
does not keep. Nothing here writes.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quality.models import LaneDay
from sites.models import Lane, Site
from wimprog.lib.errors import Complaint, UnreadableInput

if TYPE_CHECKING:
    from quality.calc.daily import Daily
    from quality.records.detect import RecordReader
    from quality.records.mapping import ColumnMapping
    from quality.records.report import ReadReport
    from quality.records.schema import LaneKey

KEPT_COMPLAINTS = 1000
SHOWN_OVERLAPS = 10
FOLD_AFTER = 16
"""Pieces of a lane's daily sums that wait before they are added up."""

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
    held_days
        What becomes of days that are held already: "keep" them, "replace" them, or
        nothing said.
    held_lanes
        The same for single lanes, by their number in the program.
    held_reason
        Why days are replaced.
    """

    mapping: Mapping[str, Any] | None = None
    site_code: str = ""
    direction: str = ""
    new_sites: bool = True
    refused_share_limit: float = 0.05
    open_field: str = "not used"
    held_days: str = ""
    held_lanes: Mapping[str, str] = field(default_factory=dict)
    held_reason: str = ""

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
    overlaps: tuple[Mapping[str, Any], ...] = ()

    @property
    def would_be_taken(self) -> bool:
        """Whether nothing stands in the way."""
        return not self.obstacles and self.already_in is None

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        data = asdict(self)
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


def _with_identity(mapping: ColumnMapping, options: ImportOptions) -> ColumnMapping:
    """The mapping with the site and the direction that were given with the file."""
    if options.site_code:
        state_code, station_id = _station_of(options)
        mapping = replace(
            mapping, state="", station="", state_code=state_code, station_id=station_id
        )
    if options.direction:
        mapping = replace(mapping, direction_code=options.direction)
    return mapping


def reader_for(
    path: Path, options: ImportOptions, progress: Progress | None
) -> RecordReader:
    """Open a file as the options say; ``progress`` gets bytes done and in all."""
    from quality.records.detect import detect, open_records
    from quality.records.mapping import ColumnMapping
    from quality.records.report import Layout
    from quality.records.w_layout import OpenField, WOptions

    mapping = None
    if options.mapping:
        mapping = ColumnMapping.from_dict(options.mapping)
    if options.site_code or options.direction:
        found = detect(path)
        if found.layout is Layout.HEADED_CSV:
            base = mapping or found.mapping or ColumnMapping()
            mapping = _with_identity(base, options)
    total = path.stat().st_size
    return open_records(
        path,
        mapping,
        options=WOptions(open_field=OpenField(options.open_field)),
        progress=(lambda done: progress(done, total)) if progress else None,
    )


# --- what a file says, lane by lane ---------------------------------------------------


class Gathered:
    """Daily sums of each lane of a file, gathered while it is read."""

    def __init__(
        self, legal_gross_kg: float, limits: Mapping[str, float] | None = None
    ) -> None:
        self.legal_gross_kg = legal_gross_kg
        self.limits = limits or {}
        self.parts: dict[LaneKey, list[Daily]] = {}

    def take(self, key: LaneKey, table: Any) -> None:
        """Add a lane's records; what is gathered grows with its days, not with them."""
        from quality.calc.daily import combine, daily_sums

        if key not in self.parts:
            check_named(key)
        parts = self.parts.setdefault(key, [])
        parts.append(
            daily_sums(table, legal_gross_kg=self.legal_gross_kg, limits=self.limits)
        )
        if len(parts) >= FOLD_AFTER:
            self.parts[key] = [combine(parts)]

    def lanes(self, report: ReadReport) -> Iterator[tuple[LaneKey, Daily]]:
        """Each lane's sums with the file's hour marks."""
        from quality.calc.daily import combine, with_hour_marks

        keys = dict.fromkeys([*self.parts, *(m.lane for m in report.hour_marks)])
        for key in keys:
            marks = [mark for mark in report.hour_marks if mark.lane == key]
            parts = self.parts.get(key, [])
            daily = parts[0] if len(parts) == 1 else combine(parts)
            yield key, with_hour_marks(daily, marks)


def known_lanes(keys: Iterable[LaneKey]) -> dict[LaneKey, Lane]:
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


def check_named(key: LaneKey) -> None:
    """Refuse records that do not say where they were taken.

    Raises
    ------
    UnreadableInput
        With what is missing and how to give it.
    """
    missing = [
        word
        for word, is_there in (
            ("state code", bool(key.state_code)),
            ("station", bool(key.station_id)),
            ("direction", key.direction_code.isdigit()),
            ("lane", key.lane_code.isdigit()),
        )
        if not is_there
    ]
    if missing:
        raise UnreadableInput(
            f"The file does not say which {', '.join(missing)} its records are of "
            f"(found: {key}). Name the column that holds it, or give the site and the "
            "direction with the file (on the command line --site and --direction)."
        )


def planned_name(
    key: LaneKey, sites_by_station: Mapping[tuple[str, str], str]
) -> tuple[str, str]:
    """Site code and lane label of a lane that does not exist yet."""
    code = sites_by_station.get(
        (key.state_code, key.station_id), f"{key.state_code}-{key.station_id}"
    )
    unsaved = Lane(number=int(key.lane_code), direction=int(key.direction_code))
    return code, unsaved.label


def site_codes(keys: Iterable[LaneKey]) -> dict[tuple[str, str], str]:
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
            first, last = both[0][0], both[-1][0]
            days_held = (
                f"{first} is"
                if len(both) == 1
                else f"{len(both)} days from {first} to {last} are"
            )
            found.append(
                f"{lane}: {days_held} held already, from {', '.join(names[:3])}."
            )
    return found


def obstacles_of(
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
    undecided = {
        key: lane
        for key, lane in known.items()
        if not options.held_lanes.get(str(lane.pk), options.held_days)
    }
    overlaps = _overlaps(undecided, dates)
    if overlaps:
        shown = " ".join(overlaps[:SHOWN_OVERLAPS])
        rest = len(overlaps) - SHOWN_OVERLAPS
        more = f" And {rest} lanes more." if rest > 0 else ""
        found.append(
            f"Days of this file are held already, and nothing is replaced unasked. "
            f"{shown}{more} Say whether the held days stay or are replaced."
        )
    if _wants_reason(options):
        found.append("Give the reason why the held days are replaced.")
    return found


def _wants_reason(options: ImportOptions) -> bool:
    said = {options.held_days, *options.held_lanes.values()}
    return "replace" in said and not options.held_reason.strip()


def dates_of(daily: Daily) -> list[dt.date]:
    return [date.date() for date in daily.by_day["date"]]
