"""Times down of lanes and what follows from them: availability with hours and causes.

Three sources tell of them: what people logged (:class:`~installs.models.DownSpell`),
sensors that failed and were not replaced yet, and gaps in the records, which the caller
brings as plain spells. :mod:`installs.calc.upkeep.downtime` adds them up.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Q

from installs.calc.types import EndReason
from installs.calc.upkeep.downtime import (
    Availability,
    Downtime,
    Spell,
    availability,
    lane_spells,
    merged,
)
from installs.calc.upkeep.types import DowntimeCause
from installs.models import (
    DownSpell,
    ElectricalTest,
    FailureReport,
    Installation,
    MaintenanceVisit,
)
from sites.models import Lane, Site
from wimprog.lib.errors import DomainError


@dataclass(frozen=True)
class LaneAvailability:
    """How long a lane gave usable data in a window.

    Attributes
    ----------
    figures
        None where nothing is known; ``why`` then says what is missing.
    times_down
        Merged, those that reach into the window.
    rests_on
        What is known of the lane in the window, in words.
    """

    lane: Lane
    figures: Availability | None
    times_down: tuple[Downtime, ...]
    rests_on: str
    why: str = ""


@dataclass(frozen=True)
class SiteAvailability:
    """Lane-hours of a site: of the lanes of which something is known.

    Attributes
    ----------
    share
        Of the lane-hours in service; None where nothing is known of any lane.
    hours_by_cause
        Lane-hours down, most first.
    """

    wim_site: Site
    lanes: tuple[LaneAvailability, ...]
    lane_hours: float
    down_hours: float
    hours_by_cause: tuple[tuple[DowntimeCause, float], ...]
    begin: dt.datetime
    end: dt.datetime

    @property
    def n_known(self) -> int:
        """Lanes of which something is known."""
        return sum(one.figures is not None for one in self.lanes)

    @property
    def share(self) -> float | None:
        """Share of the known lane-hours in which the lanes worked."""
        return 1.0 - self.down_hours / self.lane_hours if self.lane_hours > 0 else None


def lane_name(lane: Lane | int) -> str:
    """The name of a lane in spells: callers that bring gaps use it too."""
    return str(lane if isinstance(lane, int) else lane.pk)


def logged_spells(lanes: Sequence[Lane]) -> list[Spell]:
    """What people logged as down: lanes and single sensors."""
    rows = DownSpell.objects.filter(lane__in=lanes).select_related("installation")
    return [
        Spell(
            lane=lane_name(row.lane_id),
            sensor=row.installation.position if row.installation else "",
            begin=row.began_at,
            end=row.ended_at,
            cause=DowntimeCause(row.cause),
            evidence=f"logged: {row.note or row.cause}"
            + (f" ({row.installation.position})" if row.installation else ""),
        )
        for row in rows
    ]


def failure_spells(lanes: Sequence[Lane]) -> list[Spell]:
    """From each failure until its place, or the lane with another kind, was filled.

    A failure lasts until a sensor was installed in its position, or until the lane got
    a sensor of another technology (it was rebuilt another way). Where a person logged
    the time down of that very sensor, that stands in its place.
    """
    lives = list(
        Installation.objects.filter(lane__in=lanes)
        .select_related("lane__wim_site", "sensor__model")
        .order_by("installed_on", "pk")
    )
    logged = set(
        DownSpell.objects.filter(installation__in=lives).values_list(
            "installation_id", flat=True
        )
    )
    reports = {
        one.installation_id: one
        for one in FailureReport.objects.filter(installation__in=lives)
    }
    by_lane: dict[int, list[Installation]] = {}
    for life in lives:
        by_lane.setdefault(life.lane_id, []).append(life)
    return [
        _failure_spell(life, by_lane[life.lane_id], reports.get(life.pk))
        for life in lives
        if life.end_reason == EndReason.FAILED and life.pk not in logged
    ]


def _failure_spell(
    life: Installation, others: Sequence[Installation], report: FailureReport | None
) -> Spell:
    zone = ZoneInfo(life.lane.wim_site.time_zone)
    bad_on = life.ended_on or life.installed_on
    if report is not None:
        bad_on = min(bad_on, report.first_bad_on or report.found_on)
    uncertain = 0.0
    if report is not None and not report.day_is_known and report.last_good_on:
        uncertain = max((bad_on - report.last_good_on).days, 0) * 24.0
    filled = _filled_on(life, others)
    begin = _start_of(bad_on, zone)
    return Spell(
        lane=lane_name(life.lane_id),
        sensor=life.position,
        begin=begin,
        end=None if filled is None else max(_start_of(filled, zone), begin),
        cause=DowntimeCause.SENSOR_FAILURE,
        evidence=f"{life.position} failed ({life.failure_mode}), known on {bad_on}",
        begin_uncertain_hours=uncertain,
    )


def _filled_on(life: Installation, others: Sequence[Installation]) -> dt.date | None:
    """The day on which a failed sensor's place was filled; None: not yet."""
    ended = life.ended_on or life.installed_on
    later = [o for o in others if o.pk != life.pk and o.installed_on >= ended]
    same = [o.installed_on for o in later if o.position == life.position]
    kind = life.sensor.model.technology
    rebuilt = [o.installed_on for o in later if o.sensor.model.technology != kind]
    return min(same or rebuilt, default=None)


def _start_of(day: dt.date, zone: ZoneInfo) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), tzinfo=zone)


def lane_availability(
    lanes: Sequence[Lane],
    *,
    begin: dt.datetime,
    end: dt.datetime,
    gaps: Iterable[Spell] = (),
    lanes_with_records: Iterable[int] = (),
) -> list[LaneAvailability]:
    """Availability of each lane in a window, in a bounded number of queries.

    Parameters
    ----------
    lanes
        With their sites loaded.
    begin, end
        Window with time zones, cut to the time in which each lane was in service;
        ``end`` not after now.
    gaps
        Gaps in the records, each under :func:`lane_name` of its lane.
    lanes_with_records
        Keys of lanes whose records the caller has looked through in the window: they
        are known to have worked where there is no gap.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the window has no time zone or ends before it begins.
    """
    if begin.tzinfo is None or end.tzinfo is None or end < begin:
        raise DomainError("The window of availability must begin before it ends.")
    missing = list(gaps)
    spells = [*logged_spells(lanes), *failure_spells(lanes), *missing]
    with_records = set(lanes_with_records) | {int(one.lane) for one in missing}
    seen = _seen(lanes, begin, end)
    return [
        _of_lane(lane, spells, begin, end, seen[lane.pk], lane.pk in with_records)
        for lane in lanes
    ]


def _of_lane(
    lane: Lane,
    spells: Sequence[Spell],
    begin: dt.datetime,
    end: dt.datetime,
    seen: int,
    has_records: bool,
) -> LaneAvailability:
    zone = ZoneInfo(lane.wim_site.time_zone)
    first, last = _in_service(lane, begin, end, zone)
    if last <= first:
        return LaneAvailability(
            lane, None, (), "", "The lane was not in service in this time."
        )
    own = lane_spells(spells, lane_name(lane))
    times = tuple(one for one in merged(own, last) if one.end > first)
    if not times and not seen and not has_records:
        why = "Nothing is known: no visit, no electrical test, nothing logged as down."
        return LaneAvailability(lane, None, (), "", why)
    parts = [f"{len(times)} time{'' if len(times) == 1 else 's'} down"]
    if has_records:
        parts.append("its records")
    if seen:
        parts.append(f"{seen} visit{'' if seen == 1 else 's'} and tests")
    figures = availability(own, begin=first, end=last)
    return LaneAvailability(lane, figures, times, ", ".join(parts))


def _in_service(
    lane: Lane, begin: dt.datetime, end: dt.datetime, zone: ZoneInfo
) -> tuple[dt.datetime, dt.datetime]:
    wim_site = lane.wim_site
    opened = [d for d in (lane.opened_on, wim_site.in_service_on) if d is not None]
    closed = [
        d
        for d in (lane.closed_on, wim_site.suspended_on, wim_site.retired_on)
        if d is not None
    ]
    first = max([begin, *(_start_of(day, zone) for day in opened)])
    last = min([end, *(_start_of(day, zone) for day in closed)])
    return first, last


def _seen(
    lanes: Sequence[Lane], begin: dt.datetime, end: dt.datetime
) -> Mapping[int, int]:
    """How often somebody looked at each lane in a window."""
    by_site: dict[int, list[int]] = {}
    for lane in lanes:
        by_site.setdefault(lane.wim_site_id, []).append(lane.pk)
    seen = dict.fromkeys((lane.pk for lane in lanes), 0)
    visits = MaintenanceVisit.objects.filter(
        Q(lane__in=lanes) | Q(lane=None, wim_site__in=by_site),
        arrived_at__range=(begin, end),
    ).values_list("wim_site_id", "lane_id")
    for wim_site, lane_id in visits:
        for pk in [lane_id] if lane_id else by_site[wim_site]:
            seen[pk] += 1
    tests = ElectricalTest.objects.filter(
        installation__lane__in=lanes, visit=None, tested_at__range=(begin, end)
    ).values_list("installation__lane_id", flat=True)
    for pk in tests:
        seen[pk] += 1
    return seen


def site_availability(
    wim_site: Site,
    *,
    begin: dt.datetime,
    end: dt.datetime,
    gaps: Iterable[Spell] = (),
    lanes_with_records: Iterable[int] = (),
) -> SiteAvailability:
    """Availability of a site's lanes and of the site in lane-hours.

    Parameters are those of :func:`lane_availability`.
    """
    lanes = list(Lane.objects.filter(wim_site=wim_site).select_related("wim_site"))
    found = lane_availability(
        lanes, begin=begin, end=end, gaps=gaps, lanes_with_records=lanes_with_records
    )
    known = [one.figures for one in found if one.figures is not None]
    hours: dict[DowntimeCause, float] = {}
    for figures in known:
        for cause, down in figures.down_hours_by_cause:
            hours[cause] = hours.get(cause, 0.0) + down
    return SiteAvailability(
        wim_site=wim_site,
        lanes=tuple(found),
        lane_hours=sum(one.window_hours for one in known),
        down_hours=sum(one.down_hours for one in known),
        hours_by_cause=tuple(sorted(hours.items(), key=lambda one: -one[1])),
        begin=begin,
        end=end,
    )
