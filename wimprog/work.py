"""What asks for work, gathered from every app and kept on the one work list.

Drift and silence are seen in the records, due days in the calibrations, and the rest in
the roadside's own facts. Safe to repeat; it closes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from calibration import selectors as calibration_reads
from calibration.calc.due import DueState
from installs.calc.upkeep.findings import Evidence, WorkFinding
from installs.calc.upkeep.types import ScheduleTrigger, WorkSource
from installs.models import PreventiveRule
from installs.selectors.work_findings import (
    REGISTER_DAYS,
    electrical_work,
    empty_position_work,
    inspection_work,
    lane_evidence,
)
from installs.selectors.work_schedule import schedule_work
from installs.services.work_findings import FoundWork, findings_keep
from quality.calc.condition import drift_is_shown, drift_sentence
from quality.models import DriftEpisode
from sites.models import Lane, Program
from sites.selectors import lanes_in_service
from wimprog.lib.units import format_number
from wimprog.selectors import LaneHealth, ProgramHealth, program_health

LOOKED_AT = (
    WorkSource.DRIFT,
    WorkSource.ELECTRICAL_LIMIT,
    WorkSource.SENSOR_FAILURE,
    WorkSource.CALIBRATION_DUE,
    WorkSource.INSPECTION_DUE,
    WorkSource.FAILED_COMMUNICATION,
    WorkSource.SCHEDULE,
)
#: Days after work on a drifting lane by which its weeks should show it.
DRIFT_DAYS = 28
_DUE = (DueState.OVERDUE, DueState.DUE_NOW, DueState.DUE_SOON)


@transaction.atomic
def find_work(program: Program, today: dt.date, by: Any = None) -> FoundWork:
    """Look everywhere and bring the work list up to date.

    Parameters
    ----------
    by
        Who asked for it; None where the program looks by itself.
    """
    # one look at a time, so that two raise nothing twice
    Program.objects.select_for_update().filter(pk=program.pk).first()
    return findings_keep(
        findings(program, today), looked_at=LOOKED_AT, today=today, by=by
    )


def findings(program: Program, today: dt.date) -> list[WorkFinding]:
    """Everything that asks for work today, in a fixed number of queries."""
    lanes = list(lanes_in_service())
    health = program_health(program, today)
    by_rule = PreventiveRule.objects.filter(
        is_in_use=True, trigger=ScheduleTrigger.CALENDAR.value
    ).exclude(technology="")
    return [
        *drift_work(lanes, health, program),
        *electrical_work(lanes, today),
        *empty_position_work(lanes, today),
        *calibration_work(lanes, program, today),
        *inspection_work(
            lanes, today, tested_by_rule=by_rule.values_list("technology", flat=True)
        ),
        *silent_work(lanes, health, program, today),
        *schedule_work(today),
    ]


# --- drift -------------------------------------------------------------------------


def drift_work(
    lanes: Sequence[Lane], health: ProgramHealth, program: Program
) -> list[WorkFinding]:
    """Drift that was found and not explained: episodes; without any, the health page's.

    Of a lane's episodes the greatest is told, if it reaches the limit from which the
    agency watches. Its size in steps of the "act" limit is part of the evidence, so a
    drift that was let be comes back when it has grown.
    """
    if DriftEpisode.objects.exists():
        by_pk = {lane.pk: lane for lane in lanes}
        greatest: dict[int, DriftEpisode] = {}
        for one in DriftEpisode.objects.filter(state="open", lane_id__in=by_pk):
            before = greatest.get(one.lane_id)
            if before is None or abs(one.size_pct) > abs(before.size_pct):
                greatest[one.lane_id] = one
        return [
            _episode(one, by_pk[pk], program)
            for pk, one in greatest.items()
            if abs(one.size_pct) >= program.watch_drift_pct
        ]
    found = []
    for lane in lanes:
        row = health.of_lane(lane.pk)
        if row is not None and drift_is_shown(row.evidence, program.act_drift_pct):
            found.append(_drift(lane, row, program, health.as_of))
    return found


def _steps(size_pct: float, program: Program) -> int:
    return int(abs(size_pct) // program.act_drift_pct)


def _episode(one: DriftEpisode, lane: Lane, program: Program) -> WorkFinding:
    way = "heavy" if one.size_pct > 0 else "light"
    size = format_number(abs(one.size_pct), 1)
    low, high = sorted((abs(one.size_low_pct), abs(one.size_high_pct)))
    reason = (
        f"The lane reads {size} % {way} ({format_number(low, 1)} to "
        f"{format_number(high, 1)} %) since about {one.onset_on}, by its {one.measure} "
        f"over {one.n_weeks} weeks ({one.n_trucks} trucks); it concerns {one.scope}."
    )
    if one.size_low_pct * one.size_high_pct <= 0:  # the interval holds zero
        reason = (
            f"The lane may read {size} % {way} since about {one.onset_on}, by its "
            f"{one.measure} over {one.n_weeks} weeks; the interval "
            f"({format_number(one.size_low_pct, 1)} to "
            f"{format_number(one.size_high_pct, 1)} %) holds zero."
        )
    return WorkFinding(
        key=f"drift:{one.lane_id}:{one.pk}",
        evidence_key=f"episode {one.pk}, {_steps(one.size_pct, program)} steps",
        source=WorkSource.DRIFT,
        wim_site_id=lane.wim_site_id,
        lane_id=lane.pk,
        cause="drift",
        reason=reason,
        since_on=one.found_on,
        evidence=(
            Evidence(f"Drift since {one.onset_on}", ("quality:drift-detail", one.pk)),
            lane_evidence(lane),
        ),
        spoils_data=abs(one.size_pct) >= program.act_drift_pct,
        again_after_days=DRIFT_DAYS,
    )


def _drift(
    lane: Lane, row: LaneHealth, program: Program, as_of: dt.date
) -> WorkFinding:
    facts = row.evidence
    return WorkFinding(
        key=f"drift:{lane.pk}",
        evidence_key=f"since the calibration of {facts.last_calibrated_on}, "
        f"{_steps(facts.drift_pct or 0.0, program)} steps",
        source=WorkSource.DRIFT,
        wim_site_id=lane.wim_site_id,
        lane_id=lane.pk,
        cause="drift",
        reason=drift_sentence(facts),
        since_on=facts.drift_since or facts.last_data_on or as_of,
        evidence=(lane_evidence(lane),),
        spoils_data=True,
        again_after_days=DRIFT_DAYS,
    )


# --- silence -----------------------------------------------------------------------


def silent_work(
    lanes: Sequence[Lane], health: ProgramHealth, program: Program, today: dt.date
) -> list[WorkFinding]:
    """Lanes in service without records for longer than the agency allows.

    A lane that never sent any counts only where another lane of its site does: records
    that nobody imports yet are no failed communication.
    """
    last = {row.lane_id: row.evidence.last_data_on for row in health.lanes}
    sending = {lane.wim_site_id for lane in lanes if last.get(lane.pk)}
    found = []
    for lane in lanes:
        seen = last.get(lane.pk)
        start = seen or lane.opened_on
        if start is None or (seen is None and lane.wim_site_id not in sending):
            continue
        silent_on = start + dt.timedelta(days=program.silent_days)
        if silent_on < today:
            found.append(_silent(lane, seen, silent_on, program))
    return found


def _silent(
    lane: Lane, seen: dt.date | None, silent_on: dt.date, program: Program
) -> WorkFinding:
    since = f"since {seen}" if seen else f"ever, though it opened on {lane.opened_on}"
    return WorkFinding(
        key=f"silent:{lane.pk}",
        evidence_key=f"last record {seen or 'never'}",
        source=WorkSource.FAILED_COMMUNICATION,
        wim_site_id=lane.wim_site_id,
        lane_id=lane.pk,
        cause="no records",
        reason=f"No record of lane {lane.label} {since}; the agency allows "
        f"{program.silent_days} days. Look at power, modem and controller, or at the "
        "import of its files.",
        since_on=silent_on,
        evidence=(
            lane_evidence(lane),
            Evidence("Imported record files", ("quality:record-list",)),
        ),
        again_after_days=program.silent_days,
    )


# --- calibration -------------------------------------------------------------------


def calibration_work(
    lanes: Sequence[Lane], program: Program, today: dt.date
) -> list[WorkFinding]:
    """Lanes whose calibration is due soon, due now or overdue."""
    by_pk = {lane.pk: lane for lane in lanes}
    found = []
    for pk, due in calibration_reads.lane_dues(program, today).items():
        if pk not in by_pk or due.entry.state not in _DUE:
            continue
        lane, last = by_pk[pk], due.record.last_session_on
        found.append(
            WorkFinding(
                key=f"calibration:{pk}",
                evidence_key=f"{due.entry.reason}, last session {last or 'never'}",
                source=WorkSource.CALIBRATION_DUE,
                wim_site_id=lane.wim_site_id,
                lane_id=pk,
                cause="calibration",
                reason=f"Calibrate lane {lane.label} by {due.due_on} "
                f"({due.entry.reason}); last session {last or 'never'}.",
                since_on=due.due_on,
                due_on=due.due_on,
                evidence=(
                    Evidence("Its calibrations", ("calibration:lane-years", pk)),
                    Evidence("The due list", ("calibration:due-list",)),
                ),
                again_after_days=REGISTER_DAYS,
            )
        )
    return found
