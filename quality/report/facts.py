"""What the year's report states, read once from the stores into plain values."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from calibration.models import SessionResult
from installs.calc.electrical import limit_words, reading_verdict
from installs.calc.types import ElectricalQuantity
from installs.models import Installation, MaintenanceVisit, Reading
from installs.selectors import limits_by_model, technologies_by_lane
from quality.models import (
    DayDecision,
    LaneDay,
    LaneWeek,
    RecordFile,
)
from quality.report.types import (
    CalibrationRow,
    DriftRow,
    ElectricalRow,
    FileTotals,
    LaneYear,
    SensorChange,
    SetAside,
    VisitRow,
    YearFacts,
)
from quality.selectors import lane_drifts, months_accepted
from sites.models import Lane, Program, Site, SiteState
from wimprog.lib.dates import add_months
from wimprog.lib.judgement import Verdict


def _expected_days(lane: Lane, first_on: dt.date, last_on: dt.date) -> int:
    """Days of the period on which the lane was there to record."""
    opened = max(lane.opened_on or first_on, first_on)
    closed = min(lane.closed_on or last_on, last_on)
    retired = lane.wim_site.retired_on
    if retired is not None:
        closed = min(closed, retired)
    return max((closed - opened).days + 1, 0)


def _lane_years(
    lanes: Sequence[Lane], first_on: dt.date, last_on: dt.date
) -> list[LaneYear]:
    ids = [lane.pk for lane in lanes]
    technologies = technologies_by_lane(ids)
    days: dict[int, list[tuple[int, int, str | None]]] = defaultdict(list)
    rows = LaneDay.objects.filter(
        lane_id__in=ids, date__gte=first_on, date__lte=last_on
    ).values_list("lane_id", "hours_seen", "n_vehicles", "review__decision")
    for lane_id, hours, n, decision in rows.iterator(chunk_size=5000):
        days[lane_id].append((hours, n, decision))
    shares: dict[int, dict[int, float | None]] = defaultdict(dict)
    accepted = months_accepted(ids, first_on=first_on, last_on=last_on)
    for lane_id, months in accepted.items():
        shares[lane_id] = {month.month: share for month, share in months}
    return [
        LaneYear(
            lane_id=lane.pk,
            site_code=lane.wim_site.code,
            name=str(lane),
            technologies=technologies.get(lane.pk, ()),
            expected_days=_expected_days(lane, first_on, last_on),
            recorded_days=len(days[lane.pk]),
            accepted_days=sum(d == DayDecision.ACCEPTED for _, _, d in days[lane.pk]),
            set_aside_days=sum(d == DayDecision.SET_ASIDE for _, _, d in days[lane.pk]),
            hours_seen=sum(int(hours).bit_count() for hours, _, _ in days[lane.pk]),
            n_vehicles=sum(n for _, n, _ in days[lane.pk]),
            months=tuple(shares[lane.pk].get(month) for month in range(1, 13)),
        )
        for lane in lanes
    ]


def _set_aside(
    ids: Sequence[int], names: Mapping[int, str], first_on: dt.date, last_on: dt.date
) -> list[SetAside]:
    """From the days themselves, so that a decision taken back is not reported."""
    groups: dict[int, list[dt.date]] = defaultdict(list)
    facts = {}
    rows = LaneDay.objects.filter(
        lane_id__in=ids,
        date__gte=first_on,
        date__lte=last_on,
        review__decision=DayDecision.SET_ASIDE,
    ).values_list(
        "review_id",
        "date",
        "lane_id",
        "review__reason",
        "review__decided_by__username",
        "review__decided_at",
    )
    for review_id, date, lane_id, reason, who, at in rows:
        groups[review_id].append(date)
        facts[review_id] = (lane_id, reason, who, at)
    found = [
        SetAside(
            lane=names[facts[key][0]],
            from_on=min(dates),
            to_on=max(dates),
            n_days=len(dates),
            reason=facts[key][1],
            decided_by=facts[key][2],
            decided_on=facts[key][3].date(),
        )
        for key, dates in groups.items()
    ]
    return sorted(found, key=lambda row: (row.lane, row.from_on))


def _calibrations(
    ids: Sequence[int], names: Mapping[int, str], first_on: dt.date, last_on: dt.date
) -> list[CalibrationRow]:
    rows = (
        SessionResult.objects.filter(
            session__lane_id__in=ids,
            session__held_on__gte=first_on,
            session__held_on__lte=last_on,
        )
        .select_related("session")
        .order_by("session__held_on", "session_id", "stage")
    )
    return [
        CalibrationRow(
            lane=names[row.session.lane_id],
            held_on=row.session.held_on,
            purpose=row.session.purpose,
            stage=row.stage,
            n_runs=row.n_runs,
            mean_pct=row.gvw_mean_pct,
            low_pct=row.gvw_low_pct,
            high_pct=row.gvw_high_pct,
            sd_pct=row.gvw_sd_pct,
            standard=row.session.standard,
            wanted_class=row.session.wanted_class,
            verdict=row.verdict_word,
            factor_before=row.session.factor_before,
            factor_after=row.session.factor_after,
        )
        for row in rows
    ]


def _drifts(
    ids: Sequence[int], names: Mapping[int, str], last_on: dt.date
) -> list[DriftRow]:
    since: dict[int, dt.date] = {}
    rows = SessionResult.objects.filter(
        session__lane_id__in=ids, session__held_on__lte=last_on
    ).values_list("session__lane_id", "session__held_on")
    for lane_id, held_on in rows:
        since[lane_id] = max(held_on, since.get(lane_id, held_on))
    drifts = lane_drifts(ids, since, today=last_on)
    found = []
    for lane_id in ids:
        drift = drifts.get(lane_id)
        found.append(
            DriftRow(
                lane=names[lane_id],
                since=since.get(lane_id),
                change_pct=drift.change_pct if drift else None,
                low_pct=drift.interval.low if drift and drift.interval else None,
                high_pct=drift.interval.high if drift and drift.interval else None,
                n_weeks=drift.n_weeks if drift else 0,
                n_trucks=drift.n_trucks if drift else 0,
                why_not=drift.judgement.sentence if drift else "never calibrated",
            )
        )
    return found


def _electrical(
    ids: Sequence[int], names: Mapping[int, str], first_on: dt.date, last_on: dt.date
) -> tuple[int, int, list[ElectricalRow]]:
    tests: set[int] = set()
    sensors: set[int] = set()
    missed = []
    rows = list(
        Reading.objects.filter(
            test__installation__lane_id__in=ids,
            test__tested_at__date__gte=first_on,
            test__tested_at__date__lte=last_on,
        ).select_related("test__installation__sensor__model")
    )
    limits = limits_by_model(row.test.installation.sensor.model_id for row in rows)
    for row in rows:
        test = row.test
        sensor = test.installation.sensor
        tests.add(test.pk)
        sensors.add(sensor.pk)
        limit = limits[sensor.model_id].get(row.quantity)
        verdict, _ = reading_verdict(row.value, limit, row.over_range)
        if limit is not None and verdict is Verdict.MISSES:
            missed.append(
                ElectricalRow(
                    lane=names[test.installation.lane_id],
                    sensor=f"{test.installation.position}: {sensor}",
                    tested_on=test.tested_at.date(),
                    quantity=row.quantity,
                    value=row.value,
                    limit=limit_words(ElectricalQuantity(row.quantity), limit),
                    source=limit.source,
                )
            )
    missed.sort(key=lambda one: (one.lane, one.tested_on, one.quantity))
    return len(tests), len(sensors), missed


def _changes(
    ids: Sequence[int], names: Mapping[int, str], first_on: dt.date, last_on: dt.date
) -> list[SensorChange]:
    found = []
    rows = Installation.objects.filter(lane_id__in=ids).select_related("sensor__model")
    for row in rows:
        technology = row.sensor.model.technology
        what = f"{row.position}: {row.sensor}"
        lane = names[row.lane_id]
        if first_on <= row.installed_on <= last_on:
            found.append(
                SensorChange(lane, row.installed_on, "installed", what, technology)
            )
        if row.ended_on is not None and first_on <= row.ended_on <= last_on:
            why = row.end_reason
            if row.failure_mode:
                why += f" ({row.failure_mode})"
            found.append(SensorChange(lane, row.ended_on, why, what, technology))
    return sorted(found, key=lambda one: (one.on, one.lane, one.sensor))


def _weeks(
    ids: Sequence[int], names: Mapping[int, str], first_on: dt.date, last_on: dt.date
) -> dict[str, tuple[tuple[dt.date, float], ...]]:
    found: dict[str, list[tuple[dt.date, float]]] = defaultdict(list)
    rows = LaneWeek.objects.filter(
        lane_id__in=ids, week_on__gte=first_on, week_on__lte=last_on
    ).order_by("lane_id", "week_on")
    for lane_id, week_on, mean in rows.values_list(
        "lane_id", "week_on", "steering_mean_kg"
    ):
        found[names[lane_id]].append((week_on, mean))
    return {name: tuple(rows) for name, rows in found.items()}


def _lanes(
    wim_sites: Iterable[Site], first_on: dt.date, last_on: dt.date
) -> list[Lane]:
    lanes = (
        Lane.objects.filter(wim_site__in=wim_sites)
        .exclude(wim_site__state=SiteState.PLANNED)
        .select_related("wim_site")
        .order_by("wim_site__code", "direction", "number")
    )
    return [lane for lane in lanes if _expected_days(lane, first_on, last_on) > 0]


def year_facts(
    *, program: Program, year: int, as_of: dt.date, wim_site: Site | None = None
) -> YearFacts:
    """The calendar year's facts of the program, or of one site.

    A year that is not over yet is counted up to ``as_of``.
    """
    first_on = dt.date(year, 1, 1)
    last_on = min(add_months(first_on, 12) - dt.timedelta(days=1), as_of)
    wim_sites = Site.objects.all() if wim_site is None else [wim_site]
    lanes = _lanes(wim_sites, first_on, last_on) if last_on >= first_on else []
    ids = [lane.pk for lane in lanes]
    names = {lane.pk: str(lane) for lane in lanes}
    period = (ids, names, first_on, last_on)
    n_tests, n_sensors, electrical = _electrical(*period)
    site_ids = {lane.wim_site_id for lane in lanes}
    files = RecordFile.objects.filter(
        lane_days__lane_id__in=ids,
        lane_days__date__gte=first_on,
        lane_days__date__lte=last_on,
    ).distinct()
    counts = list(files.values_list("n_read", "n_kept", "n_refused"))
    visits = MaintenanceVisit.objects.filter(
        wim_site_id__in=site_ids,
        arrived_at__date__gte=first_on,
        arrived_at__date__lte=last_on,
    ).select_related("wim_site")
    return YearFacts(
        agency=program.name,
        scope="all sites" if wim_site is None else f"site {wim_site.code}",
        year=year,
        first_on=first_on,
        last_on=last_on,
        as_of=as_of,
        n_sites=len(site_ids),
        lanes=tuple(_lane_years(lanes, first_on, last_on)),
        set_aside=tuple(_set_aside(*period)),
        calibrations=tuple(_calibrations(*period)),
        drifts=tuple(_drifts(ids, names, last_on)),
        n_tests=n_tests,
        n_sensors_tested=n_sensors,
        n_sensors_live=Installation.objects.live().filter(lane_id__in=ids).count(),
        electrical=tuple(electrical),
        changes=tuple(_changes(*period)),
        visits=tuple(
            VisitRow(
                visit.wim_site.code,
                visit.arrived_at.date(),
                visit.purpose,
                visit.people,
                visit.findings,
            )
            for visit in visits.order_by("arrived_at", "pk")
        ),
        files=FileTotals(
            n_files=len(counts),
            n_read=sum(c[0] for c in counts),
            n_kept=sum(c[1] for c in counts),
            n_refused=sum(c[2] for c in counts),
        ),
        calibration_interval_months=program.calibration_interval_months,
        watch_drift_pct=program.watch_drift_pct,
        act_drift_pct=program.act_drift_pct,
        weeks=_weeks(*period),
    )
