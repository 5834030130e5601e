"""When each lane is next due, and what is believed of its bias.

One function for every page: the due list, the lane's history and band, program health
and the calendar feed all ask :func:`lane_dues`, so they cannot disagree.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.core.cache import cache
from django.db.models import Avg

from calibration.calc.types import SessionPurpose
from calibration.models import (
    CalibrationSettings,
    FactorSet,
    RunStage,
    SessionResult,
    TruckRun,
)
from calibration.selectors.references import settings_get
from installs.calc.types import EndReason, Technology, VisitPurpose
from installs.models import Installation, MaintenanceVisit
from sites.models import Lane, Program, SiteState
from wimprog.lib.dates import add_months

if TYPE_CHECKING:
    from calibration.calc.bias_types import (
        BiasSession,
        BiasWalk,
        LaneBias,
        LaneSessions,
    )
    from calibration.calc.due import DueEntry, DueRules, LaneEvent

NO_TECHNOLOGY = "unknown technology"
SMALLEST_SE_PCT = 0.01
"""A standard error of nought cannot be; runs that agree to the last digit get this."""
AFTER_CHANGES = (
    SessionPurpose.INSTALLATION.value,
    SessionPurpose.AFTER_REPAIR.value,
    SessionPurpose.AFTER_PAVEMENT_WORK.value,
)
METHOD_VERSION = "1"


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


@dataclass(frozen=True)
class LaneDue:
    """When a lane is next due and why, and what is believed of its bias."""

    record: LaneRecord
    entry: DueEntry
    bias: LaneBias | None
    today: dt.date

    @property
    def lane(self) -> Lane:
        """The lane."""
        return self.record.lane

    @property
    def due_on(self) -> dt.date:
        """The last sensible day."""
        return self.entry.due_on

    @property
    def days_left(self) -> int:
        """Days from today; negative when overdue."""
        return (self.entry.due_on - self.today).days

    @property
    def word(self) -> str:
        """Condition word of the due state."""
        return str(self.entry.state.condition)


def due_rules(settings: CalibrationSettings, *, longest_days: int) -> DueRules:
    """The agency's rules of the due list.

    Raises
    ------
    DomainError
        When they contradict each other.
    """
    from calibration.calc.due import DueRules

    return DueRules(
        longest_days=longest_days,
        settling_hours=settings.settling_hours,
        weeks_after_installation=settings.weeks_after_installation,
        weeks_after_works=settings.weeks_after_works,
        soon_days=settings.soon_days,
    )


def longest_days_of(program: Program, since: dt.date) -> int:
    """The agency's longest interval in days, counted from a day."""
    return (add_months(since, program.calibration_interval_months) - since).days


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


def bias_walks(records: Sequence[LaneRecord]) -> dict[str, BiasWalk]:
    """How the bias wanders, fitted to all lanes of each technology."""
    from calibration.calc.bias_walk import fit_bias_walk

    by_technology: dict[str, list[LaneSessions]] = defaultdict(list)
    for record in records:
        by_technology[record.technology].append(record.sessions)
    return {
        name: kept_by_facts(
            "walk", (name, lanes), lambda n, ls: fit_bias_walk(ls, technology=n)
        )
        for name, lanes in by_technology.items()
    }


def lane_biases(
    records: Sequence[LaneRecord],
    walks: Mapping[str, BiasWalk],
    *,
    program: Program,
    settings: CalibrationSettings,
    today: dt.date,
    later_days: Sequence[int] = (),
) -> dict[int, LaneBias]:
    """What is believed of each lane's bias, by lane id.

    Lanes whose longest interval has one length are forecast together.
    """
    from calibration.calc.bias_forecast import forecast_bias

    groups: dict[tuple[str, int], list[str]] = defaultdict(list)
    for record in records:
        days = longest_days_of(program, record.last_session_on or today)
        groups[record.technology, days].append(record.key)
    found = {}
    for (technology, days), keys in groups.items():
        walk = walks[technology]
        wanted = set(keys)
        part = replace(walk, lanes=tuple(e for e in walk.lanes if e.key in wanted))
        for one in forecast_bias(
            part,
            today,
            tolerance_pct=settings.bias_tolerance_pct,
            level=settings.chance_level,
            longest_days=days,
            later_days=later_days,
        ):
            found[int(one.key)] = one
    return found


def lane_dues(program: Program, today: dt.date) -> dict[int, LaneDue]:
    """When each open lane of a site in service is next due, most urgent first.

    A fixed number of queries. By lane id; other lanes are not there.
    """
    settings = settings_get()
    records = lane_records(today)
    due = [record for record in records if record.is_due_ever]
    facts = [
        (one.technology, one.sessions, one.last_session_on, one.installed_on)
        for one in records
    ]
    biases = kept_by_facts(
        "biases",
        (
            facts,
            [one.key for one in due],
            today,
            program.calibration_interval_months,
            settings.bias_tolerance_pct,
            settings.chance_level,
        ),
        lambda *_: lane_biases(
            due, bias_walks(records), program=program, settings=settings, today=today
        ),
    )
    return _dues(due, biases, program=program, settings=settings, today=today)


def _dues(
    records: Iterable[LaneRecord],
    biases: Mapping[int, LaneBias],
    *,
    program: Program,
    settings: CalibrationSettings,
    today: dt.date,
) -> dict[int, LaneDue]:
    from calibration.calc.due import LaneFacts, due_entry

    rows = []
    for one in records:
        days = longest_days_of(program, one.last_session_on or today)
        bias = biases.get(one.lane.pk)
        entry = due_entry(
            LaneFacts(
                key=one.key,
                name=str(one.lane),
                last_session_on=one.last_session_on,
                installed_on=one.installed_on,
                events=one.events,
                bias=bias,
            ),
            today=today,
            rules=due_rules(settings, longest_days=days),
        )
        rows.append(LaneDue(one, entry, bias, today))

    def urgency(row: LaneDue) -> tuple[Any, ...]:
        chance = row.entry.chance_out
        return row.due_on, -(1.0 if chance is None else chance), row.entry.name

    return {row.lane.pk: row for row in sorted(rows, key=urgency)}


def lane_due(lane_id: int, program: Program, today: dt.date) -> LaneDue | None:
    """When one lane is next due; None where it is closed or its site not in service."""
    return lane_dues(program, today).get(lane_id)


def kept_by_facts(what: str, facts: tuple[Any, ...], compute: Any) -> Any:
    """What follows from facts, kept in the cache under a fingerprint of those facts."""
    text = repr((METHOD_VERSION, what, facts))
    key = f"calibration-{what}:{hashlib.sha256(text.encode()).hexdigest()[:32]}"
    found = cache.get(key)
    if found is None:
        found = compute(*facts)
        cache.set(key, found, 24 * 3600)
    return found
