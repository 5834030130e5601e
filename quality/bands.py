"""History bands of lanes, gathered from all that is stored, in few queries."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from calibration.models import RunStage, SessionResult
from calibration.selectors import LaneDue, lane_dues
from installs.calc.electrical import reading_verdict
from installs.calc.survival import weibull_survival
from installs.calc.types import WeibullFit
from installs.models import Installation, Reading
from installs.selectors import fits_by_technology, limits_by_model
from quality.calc.drift_line import drift_line
from quality.models import LaneWeek
from quality.selectors import months_accepted
from sites.models import Lane, Program
from wimprog.lib.band import (
    Band,
    CalibrationMark,
    DriftPoint,
    DueFlag,
    EndKind,
    MonthShare,
    SensorBar,
    SurvivalPoint,
    TestTick,
)
from wimprog.lib.dates import add_months
from wimprog.lib.judgement import Verdict

YEARS_BACK = 6
YEARS_AHEAD = 3
SURVIVAL_STEPS = 13


def _first_of_month(day: dt.date) -> dt.date:
    return day.replace(day=1)


def _sensors(lane_ids: Sequence[int]) -> dict[int, list[Installation]]:
    found: dict[int, list[Installation]] = defaultdict(list)
    rows = (
        Installation.objects.filter(lane_id__in=lane_ids)
        .select_related("sensor__model")
        .order_by("position", "installed_on")
    )
    for row in rows:
        found[row.lane_id].append(row)
    return found


def _bars(installations: Iterable[Installation]) -> list[SensorBar]:
    rows: dict[str, int] = {}
    bars = []
    for one in installations:
        kind: EndKind = "in service"
        if one.ended_on is not None:
            kind = "failed" if one.end_reason == "failed" else "removed"
        bars.append(
            SensorBar(
                label=f"{one.position}: {one.sensor}",
                technology=one.sensor.model.technology,
                start=one.installed_on,
                end=one.ended_on,
                end_kind=kind,
                row=rows.setdefault(one.position, len(rows)),
            )
        )
    return bars


def _ticks(lane_ids: Sequence[int], since: dt.date) -> dict[int, list[TestTick]]:
    """One tick a lane and day: False when any reading of that day misses a limit."""
    days: dict[tuple[int, dt.date], bool | None] = {}
    rows = list(
        Reading.objects.filter(
            test__installation__lane_id__in=lane_ids, test__tested_at__date__gte=since
        ).values_list(
            "test__installation__lane_id",
            "test__tested_at",
            "test__installation__sensor__model_id",
            "quantity",
            "value",
            "over_range",
        )
    )
    limits = limits_by_model(row[2] for row in rows)
    for lane_id, at, model_id, quantity, value, over in rows:
        key = (lane_id, at.date())
        verdict, _ = reading_verdict(value, limits[model_id].get(quantity), over)
        ok = None if verdict is Verdict.CANNOT_SAY else verdict is Verdict.MEETS
        before = days.get(key)
        if key not in days or before is None:
            days[key] = ok
        elif ok is not None:
            days[key] = before and ok
    found: dict[int, list[TestTick]] = defaultdict(list)
    for (lane_id, day), ok in sorted(days.items()):
        found[lane_id].append(TestTick(day, ok))
    return found


def _calibrations(lane_ids: Sequence[int]) -> dict[int, dict[dt.date, SessionResult]]:
    """By lane and day, the as-found result if there is one, else as left."""
    found: dict[int, dict[dt.date, SessionResult]] = defaultdict(dict)
    rows = SessionResult.objects.filter(session__lane_id__in=lane_ids).select_related(
        "session"
    )
    for row in rows:
        days = found[row.session.lane_id]
        if row.stage == RunStage.AS_FOUND or row.session.held_on not in days:
            days[row.session.held_on] = row
    return found


def _drift(
    lane_ids: Sequence[int], calibrated: dict[int, dict[dt.date, SessionResult]]
) -> dict[int, list[DriftPoint]]:
    weeks: dict[int, list[tuple[dt.date, float, int]]] = defaultdict(list)
    rows = (
        LaneWeek.objects.filter(lane_id__in=lane_ids)
        .order_by("lane_id", "week_on")
        .values_list("lane_id", "week_on", "steering_mean_kg", "n_vehicles")
    )
    for lane_id, week_on, mean, n in rows:
        weeks[lane_id].append((week_on, mean, n))
    return {
        lane_id: [
            DriftPoint(day, change)
            for day, change in drift_line(
                [w[0] for w in series],
                [w[1] for w in series],
                [w[2] for w in series],
                list(calibrated.get(lane_id, {})),
            )
        ]
        for lane_id, series in weeks.items()
    }


def _months(
    lanes: Iterable[Lane], start: dt.date, today: dt.date
) -> dict[int, list[MonthShare]]:
    lanes = list(lanes)
    accepted = months_accepted(
        [lane.pk for lane in lanes], first_on=_first_of_month(start)
    )
    found = {}
    for lane in lanes:
        months = dict(accepted.get(lane.pk, []))
        first = min(months, default=None)
        if lane.opened_on is not None:
            opened = _first_of_month(lane.opened_on)
            first = opened if first is None else min(first, opened)
        if first is None:
            continue
        month = max(first, _first_of_month(start))
        last = _first_of_month(min(today, lane.closed_on or today))
        shares = []
        while month <= last:
            shares.append(MonthShare(month, months.get(month)))
            month = add_months(month, 1)
        found[lane.pk] = shares
    return found


def _survival(
    live: Sequence[Installation],
    fits: Mapping[str, WeibullFit],
    today: dt.date,
    end: dt.date,
) -> tuple[list[SurvivalPoint], float | None]:
    """Chance that all live sensors of a lane still work; and that one fails in 2 y."""
    known = [one for one in live if one.sensor.model.technology in fits]
    if not known:
        return [], None
    span_years = (end - today).days / 365.25
    ahead = np.linspace(0.0, span_years, SURVIVAL_STEPS)
    grid = np.append(ahead, 2.0)
    together = np.ones_like(grid)
    for one in known:
        fit = fits[one.sensor.model.technology]
        age = max((today - one.installed_on).days, 0) / 365.25
        now = float(weibull_survival(fit, np.array([age]))[0])
        if now > 0:
            together *= weibull_survival(fit, age + grid) / now
    points = [
        SurvivalPoint(today + dt.timedelta(days=round(365.25 * years)), float(chance))
        for years, chance in zip(ahead, together[:-1], strict=True)
    ]
    return points, 100.0 * (1.0 - float(together[-1]))


def _due_flags(
    due: LaneDue | None, today: dt.date, end: dt.date
) -> tuple[DueFlag, ...]:
    """The flag of the next calibration, by the same rules as the due list."""
    if due is None or due.due_on > end:
        return ()
    if due.due_on < today:
        return (DueFlag(today, "calibration overdue"),)
    return (DueFlag(due.due_on, "calibration"),)


def lane_bands(
    lane_ids: Sequence[int],
    *,
    program: Program,
    today: dt.date,
    years_back: int = YEARS_BACK,
    years_ahead: int = YEARS_AHEAD,
) -> dict[int, Band]:
    """The history band of each lane, by lane id.

    A fixed number of queries, however many the lanes.
    """
    lanes = list(Lane.objects.filter(pk__in=lane_ids))
    start = add_months(_first_of_month(today), -12 * years_back)
    end = add_months(_first_of_month(today), 12 * years_ahead)
    sensors = _sensors(lane_ids)
    ticks = _ticks(lane_ids, start)
    calibrated = _calibrations(lane_ids)
    drift = _drift(lane_ids, calibrated)
    months = _months(lanes, start, today)
    fits = fits_by_technology(today)
    dues = lane_dues(program, today)
    bands = {}
    for lane in lanes:
        bars = [
            bar
            for bar in _bars(sensors[lane.pk])
            if bar.end is None or bar.end >= start
        ]
        live = [one for one in sensors[lane.pk] if one.ended_on is None]
        survival, chance = _survival(live, fits, today, end)
        results = calibrated.get(lane.pk, {})
        bands[lane.pk] = Band(
            today=today,
            start=start,
            end=end,
            tolerance_pct=program.act_drift_pct,
            sensors=tuple(bars),
            tests=tuple(ticks[lane.pk]),
            calibrations=tuple(
                CalibrationMark(
                    day,
                    result.gvw_mean_pct,
                    result.gvw_low_pct,
                    result.gvw_high_pct,
                    result.n_runs,
                )
                for day, result in sorted(results.items())
                if day >= start
            ),
            drift=tuple(p for p in drift.get(lane.pk, []) if p.day >= start),
            months=tuple(months.get(lane.pk, [])),
            survival=tuple(survival),
            due=_due_flags(dues.get(lane.pk), today, end),
            chance_pct=chance,
            chance_years=2,
        )
    return bands
