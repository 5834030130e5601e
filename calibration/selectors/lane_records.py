"""What a lane's due day rests on: its sessions, its sensors, repairs and works."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import Avg

from calibration.calc.types import SessionPurpose
from calibration.models import FactorSet, RunStage, SessionResult, TruckRun
from installs.calc.types import EndReason, Technology, VisitPurpose
from installs.models import Installation, MaintenanceVisit
from sites.models import Lane, SiteState

if TYPE_CHECKING:
    from calibration.calc.bias_types import BiasSession, LaneSessions
    from calibration.calc.due import LaneEvent

NO_TECHNOLOGY = "unknown technology"
SMALLEST_SE_PCT = 0.01
"""A standard error of nought cannot be; runs that agree to the last digit get this."""
AFTER_CHANGES = (
    SessionPurpose.INSTALLATION.value,
    SessionPurpose.AFTER_REPAIR.value,
    SessionPurpose.AFTER_PAVEMENT_WORK.value,
)


@dataclass(frozen=True)
class LaneRecord:
    """What a lane's due day rests on.

    Attributes
    ----------
    lane
        With its site.
    technology
        Of its weighing sensors in the road, or of the last ones there were.
    sessions
        Its sessions as the model of the bias takes them.
    last_session_on
        Day of its last session with runs.
    installed_on
        Day of the latest installation among the weighing sensors in the road.
    events
        Repairs of the lane, and pavement works that ended a sensor.
    """

    lane: Lane
    technology: str
    sessions: LaneSessions
    last_session_on: dt.date | None
    installed_on: dt.date | None
    events: tuple[LaneEvent, ...]

    @property
    def is_due_ever(self) -> bool:
        """Is the lane open, at a site in service?"""
        in_service = self.lane.wim_site.state == SiteState.IN_SERVICE
        return in_service and self.lane.closed_on is None

    @property
    def key(self) -> str:
        """What the computation knows the lane by."""
        return str(self.lane.pk)


def lane_records(today: dt.date) -> list[LaneRecord]:
    """Every lane with what its due day rests on, in a fixed number of queries.

    Lanes without sessions are among them; sessions after ``today`` are left out.
    """
    from calibration.calc.bias_types import LaneSessions

    lanes = list(Lane.objects.select_related("wim_site"))
    results = _results(today)
    temps, factors = _temperatures(), _factors()
    installs = _installations(today)
    visits = _repairs(today)
    records = []
    for lane in lanes:
        own = results.get(lane.pk, {})
        sensors = installs.get(lane.pk, [])
        live = [one for one in sensors if one.ended_on is None or one.ended_on > today]
        broken = {one.installed_on for one in sensors}
        broken |= {
            rows[0].session.held_on
            for rows in own.values()
            if rows[0].session.purpose in AFTER_CHANGES
        }
        events = [*_works(sensors), *visits.get(lane.pk, [])]
        records.append(
            LaneRecord(
                lane=lane,
                technology=(live or sensors)[-1].sensor.model.technology
                if sensors
                else NO_TECHNOLOGY,
                sessions=LaneSessions(
                    str(lane.pk),
                    _joined(
                        _bias_session(rows, temps, factors) for rows in own.values()
                    ),
                    tuple(sorted(broken | {one.day for one in events})),
                ),
                last_session_on=max(
                    (rows[0].session.held_on for rows in own.values()), default=None
                ),
                installed_on=max((one.installed_on for one in live), default=None),
                events=tuple(sorted(events, key=lambda one: one.day)),
            )
        )
    return records


def _results(today: dt.date) -> dict[int, dict[int, list[SessionResult]]]:
    """Results by lane and session, oldest session first."""
    found: dict[int, dict[int, list[SessionResult]]] = defaultdict(dict)
    rows = (
        SessionResult.objects.filter(session__held_on__lte=today)
        .select_related("session")
        .order_by("session__held_on", "session_id", "stage")
        .defer("verdict")
    )
    for row in rows:
        found[row.session.lane_id].setdefault(row.session_id, []).append(row)
    return found


def _temperatures() -> dict[tuple[int, str], float]:
    """Mean pavement temperature [°C] of the runs in use, by session and stage."""
    rows = (
        TruckRun.objects.filter(excluded=False, pavement_temp_c__isnull=False)
        .order_by()
        .values_list("session_id", "stage")
        .annotate(mean=Avg("pavement_temp_c"))
    )
    return {(session, stage): mean for session, stage, mean in rows}


def _factors() -> dict[int, dict[str, tuple[Any, ...]]]:
    found: dict[int, dict[str, tuple[Any, ...]]] = defaultdict(dict)
    rows = FactorSet.objects.order_by().values_list(
        "session_id", "stage", "overall", "by_speed", "by_sensor"
    )
    for session, stage, *factors in rows:
        found[session][stage] = tuple(factors)
    return found


def _installations(today: dt.date) -> dict[int, list[Installation]]:
    """Weighing sensors of each lane, oldest first."""
    found: dict[int, list[Installation]] = defaultdict(list)
    weighing = [one.value for one in Technology if one.weighs]
    rows = (
        Installation.objects.filter(
            installed_on__lte=today, sensor__model__technology__in=weighing
        )
        .select_related("sensor__model")
        .order_by("installed_on", "pk")
    )
    for row in rows:
        found[row.lane_id].append(row)
    return found


def _works(sensors: Iterable[Installation]) -> list[LaneEvent]:
    from calibration.calc.due import LaneEvent

    days = {
        one.ended_on
        for one in sensors
        if one.ended_on and one.end_reason == EndReason.PAVEMENT_WORKS
    }
    return [LaneEvent(day, "pavement works") for day in days]


def _repairs(today: dt.date) -> dict[int, list[LaneEvent]]:
    """Repair visits to a lane; those to a whole site say nothing of one lane."""
    from calibration.calc.due import LaneEvent

    found: dict[int, list[LaneEvent]] = defaultdict(list)
    rows = MaintenanceVisit.objects.filter(
        purpose=VisitPurpose.REPAIR.value, lane__isnull=False
    ).values_list("lane_id", "arrived_at")
    for lane_id, arrived_at in rows:
        if arrived_at.date() <= today:
            found[lane_id].append(LaneEvent(arrived_at.date(), "repaired"))
    return found


def _bias_session(
    rows: Sequence[SessionResult],
    temps: Mapping[tuple[int, str], float],
    factors: Mapping[int, Mapping[str, tuple[Any, ...]]],
) -> BiasSession:
    from calibration.calc.bias_types import BiasSession

    session = rows[0].session
    by_stage = {row.stage: row for row in rows}
    found, left = by_stage.get(RunStage.AS_FOUND), by_stage.get(RunStage.AS_LEFT)
    found_pct, found_se = _mean_and_se(found)
    left_pct, left_se = _mean_and_se(left)
    sets = factors.get(session.pk, {})
    if RunStage.AS_FOUND in sets and RunStage.AS_LEFT in sets:
        adjusted = sets[RunStage.AS_FOUND] != sets[RunStage.AS_LEFT]
    elif session.factor_before is not None and session.factor_after is not None:
        adjusted = session.factor_before != session.factor_after
    else:
        adjusted = left is not None
    return BiasSession(
        held_on=session.held_on,
        found_pct=found_pct,
        found_se_pct=found_se,
        left_pct=left_pct,
        left_se_pct=left_se,
        adjusted=adjusted,
        found_temp_c=temps.get((session.pk, RunStage.AS_FOUND.value)),
        left_temp_c=temps.get((session.pk, RunStage.AS_LEFT.value)),
    )


def _mean_and_se(result: SessionResult | None) -> tuple[float | None, float | None]:
    """Mean error and its standard error; none from fewer than two runs."""
    if result is None or result.gvw_mean_pct is None or result.gvw_sd_pct is None:
        return None, None
    return result.gvw_mean_pct, max(
        result.gvw_sd_pct / result.n_runs**0.5, SMALLEST_SE_PCT
    )


def _joined(sessions: Iterable[BiasSession]) -> tuple[BiasSession, ...]:
    """Sessions of one day as one: found by the first, left by the last."""
    by_day: dict[dt.date, BiasSession] = {}
    for one in sessions:
        before = by_day.get(one.held_on)
        if before is None:
            by_day[one.held_on] = one
            continue
        has_found = before.found_pct is not None
        has_left = one.left_pct is not None
        by_day[one.held_on] = replace(
            one,
            found_pct=before.found_pct if has_found else one.found_pct,
            found_se_pct=before.found_se_pct if has_found else one.found_se_pct,
            found_temp_c=before.found_temp_c if has_found else one.found_temp_c,
            left_pct=one.left_pct if has_left else before.left_pct,
            left_se_pct=one.left_se_pct if has_left else before.left_se_pct,
            left_temp_c=one.left_temp_c if has_left else before.left_temp_c,
            adjusted=before.adjusted or one.adjusted,
        )
    return tuple(by_day.values())
