"""What the search for drift reads: weeks, calibrations, tests and work, by lane."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q

from calibration.models import CalibrationSession
from installs.calc.types import VisitPurpose
from installs.models import Installation, MaintenanceVisit
from installs.selectors import installation_tests
from quality.models import LaneWeek
from quality.selectors.weeks import calibration_days
from sites.models import Lane
from wimprog.lib.judgement import Verdict

if TYPE_CHECKING:
    from quality.calc.drift_cause import CauseFacts, TestFact, WorkFact
    from quality.calc.drift_scope import LaneSeries
    from quality.calc.week_series import WeekSeries
    from quality.calc.week_spread import SpreadPrior


def week_series(
    lane_ids: Iterable[int], *, until: dt.date = dt.date.max
) -> dict[int, WeekSeries]:
    """Weekly steering-axle means of lanes, whole weeks up to ``until``; one query."""
    import numpy as np

    from quality.calc.week_series import WeekSeries

    last = until - dt.timedelta(days=6) if until < dt.date.max else until
    rows = (
        LaneWeek.objects.filter(lane_id__in=list(lane_ids), week_on__lte=last)
        .order_by("lane_id", "week_on")
        .values_list("lane_id", "week_on", "steering_mean_kg", "n_vehicles")
    )
    found: dict[int, list[tuple[dt.date, float, int]]] = defaultdict(list)
    for lane_id, week_on, mean_kg, n in rows:
        found[lane_id].append((week_on, mean_kg if mean_kg > 0 else np.nan, n))
    return {
        lane_id: WeekSeries(
            np.array([row[0] for row in own], dtype="datetime64[D]"),
            np.array([row[1] for row in own], dtype=float),
            np.array([row[2] for row in own], dtype=np.int64),
        )
        for lane_id, own in found.items()
    }


def lane_series(*, until: dt.date = dt.date.max) -> dict[int, LaneSeries]:
    """Every lane of the program with its weeks and calibrations, in three queries.

    Lanes of one climate region are one region; where a site's is not stated, those of
    the program that have none either.
    """
    from quality.calc.drift_scope import LaneSeries

    lanes = Lane.objects.select_related("wim_site").in_bulk()
    weeks = week_series(lanes, until=until)
    calibrated = calibration_days(lanes, until=until)
    return {
        pk: LaneSeries(
            str(lanes[pk]),
            lanes[pk].wim_site.code,
            str(getattr(lanes[pk].wim_site, "climate", "") or ""),
            series,
            tuple(calibrated.get(pk, ())),
        )
        for pk, series in weeks.items()
    }


def pooled_prior(series: Iterable[WeekSeries], *, least_trucks: int = 0) -> SpreadPrior:
    """What the program's lanes show together of week-to-week spread."""
    import numpy as np

    from quality.calc.week_spread import pool_spreads

    logs = [np.log(one.usable(least_trucks).mean_kg) for one in series]
    return pool_spreads([100.0 * (log - np.median(log)) for log in logs if log.size])


WORK_WORDS = {
    VisitPurpose.CALIBRATION: "calibration",
    VisitPurpose.REPAIR: "repair",
    VisitPurpose.INSTALLATION: "repair",
    VisitPurpose.REMOVAL: "repair",
    VisitPurpose.CABINET_WORK: "settings",
}


def cause_facts(lane: Lane) -> CauseFacts:
    """Dated facts of a lane that may bear on a shift of what it weighs.

    ``lane`` comes with its site loaded.
    """
    from quality.calc.drift_cause import CauseFacts

    return CauseFacts(tests=_tests(lane), work=_work(lane))


def _tests(lane: Lane) -> list[TestFact]:
    from quality.calc.drift_cause import TestFact

    zone = ZoneInfo(lane.wim_site.time_zone)
    rows = Installation.objects.filter(
        lane=lane, electrical_tests__isnull=False
    ).select_related("sensor__model", "lane__wim_site")
    found = []
    for installation in rows.distinct():
        for row in installation_tests(installation).rows:
            missed = [
                str(quantity)
                for quantity, _, judged in row.named
                if judged is not None and judged.verdict == Verdict.MISSES
            ]
            on = row.test.tested_at.astimezone(zone).date()
            found.append(
                TestFact(on, installation.position, bool(missed), ", ".join(missed))
            )
    return found


def _work(lane: Lane) -> list[WorkFact]:
    from quality.calc.drift_cause import Work, WorkFact

    zone = ZoneInfo(lane.wim_site.time_zone)
    here = Q(lane=lane) | Q(lane__isnull=True, wim_site=lane.wim_site_id)
    visits = MaintenanceVisit.objects.filter(here).exclude(
        purpose=VisitPurpose.ROUTINE_CHECK
    )
    found = [
        WorkFact(
            visit.arrived_at.astimezone(zone).date(),
            Work(WORK_WORDS.get(VisitPurpose(visit.purpose), Work.OTHER.value)),
            visit.actions[:120],
        )
        for visit in visits
    ]
    told = {fact.on for fact in found if fact.work is Work.CALIBRATION}
    sessions = CalibrationSession.objects.filter(lane=lane).exclude(held_on__in=told)
    found.extend(
        WorkFact(session.held_on, Work.CALIBRATION, session.purpose)
        for session in sessions
    )
    return found


def week_points(
    lane_id: int, *, first_on: dt.date, last_on: dt.date
) -> Sequence[tuple[dt.date, int, float, float | None]]:
    """Weeks of a lane: Monday, trucks, mean and spread of the steering axle [kg]."""
    rows = LaneWeek.objects.filter(
        lane_id=lane_id, week_on__range=(first_on, last_on)
    ).order_by("week_on")
    columns = ("week_on", "n_vehicles", "steering_mean_kg", "steering_sd_kg")
    return list(rows.values_list(*columns))
