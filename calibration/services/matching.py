"""Runs from the controller's vehicle records: matched, shown, corrected, then kept.

Nothing is written before a person has seen the matches. All runs are added or none; a
record that is stored already is recognised, so a sheet can be given again.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from calibration.calc.matching_types import (
    ControllerRecord,
    DrivenPass,
    Match,
    MatchResult,
    MatchSettings,
)
from calibration.calc.types import LanePosition, ReferenceVehicle
from calibration.models import (
    CalibrationSession,
    RunStage,
    StaticWeighing,
    TruckRun,
)
from calibration.selectors import (
    as_reference_vehicle,
    settings_get,
    site_zone,
    weighings_near,
)
from calibration.services.controller_sheet import KeptRecord, read_controller_sheet
from calibration.services.matching_given import MatchGiven
from calibration.services.matching_plan import MatchPlan, MatchRow, Offer
from calibration.services.passes import Noted, NotedStretch, read_passes
from calibration.services.questions import questions
from calibration.services.runs import refuse_if_closed, run_faults, runs_add
from wimprog.lib.errors import Complaint, DomainError, UnreadableInput
from wimprog.lib.units import Kind, Typed, UnitSystem, format_number, shown_unit

SAME_KG = 0.01
"""Two weights that differ by less are the same weight written in two units."""

N_OFFERED = 6
"""Most other records offered for a pass."""

OFFERED_WITHIN_S = 600.0
"""Records offered by hand lie this near to the pass, clocks set against each other."""


def match_read(
    *,
    session: CalibrationSession,
    content: bytes,
    name: str,
    passes_text: str,
    stage: str,
    system: UnitSystem | str,
    pavement_temp: Typed | None = None,
) -> MatchGiven:
    """Read a sheet of records and a list of passes. Writes nothing.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        With every complaint about the sheet or the list.
    wimprog.lib.errors.DomainError
        When the session is closed or no vehicle was weighed.
    """
    refuse_if_closed(session)
    zone = site_zone(session)
    sheet = read_controller_sheet(content, zone=zone, name=name)
    noted = _noted(session, passes_text, system)
    weighed = _weighings(session)
    axles = {weighed[vehicle][0].vehicle.n_axles for vehicle in noted.vehicles}
    records = [one for one in sheet.records if len(one.record.axle_weights_kg) in axles]
    if records and not any(one.record.axle_spacings_m for one in records):
        raise UnreadableInput(
            "The records have no axle spacings. Nothing was stored.",
            (
                Complaint(
                    "A test vehicle is told from other traffic by its axle spacings.",
                    row=1,
                    field="spacing_1_ft",
                    expected="columns such as spacing_1_ft or s1_ft, with their unit",
                    remedy="Export the records with their spacings.",
                ),
            ),
        )
    return MatchGiven(
        records=tuple(records),
        name=name,
        n_rows=sheet.n_rows,
        n_without_axles=sheet.n_without_axles,
        n_copies=sheet.n_copies,
        passes_text=passes_text,
        stage=RunStage(stage).value,
        pavement_temp=(pavement_temp.text, pavement_temp.unit)
        if pavement_temp
        else None,
    )


def match_plan(
    *, session: CalibrationSession, given: MatchGiven, system: UnitSystem | str
) -> MatchPlan:
    """Match, and say what keeping it would add. Writes nothing.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the session is closed, or corrections contradict each other.
    """
    refuse_if_closed(session)
    return _Matching(session, given, UnitSystem(system)).plan()


@transaction.atomic
def match_keep(
    *, session: CalibrationSession, plan: MatchPlan, by: Any, units_are_right: bool
) -> list[TruckRun]:
    """Add the runs of a plan, all or none.

    Raises
    ------
    wimprog.lib.errors.DomainError
        With every fault, and with questions that nobody answered.
    """
    if not plan.runs_new:
        return []
    return runs_add(
        session=session,
        runs=plan.runs_new,
        by=by,
        why=f"matched with records of {plan.given.name}",
        units_are_right=units_are_right,
    )


def _weighings(session: CalibrationSession) -> dict[str, list[StaticWeighing]]:
    """Weighings near the session by vehicle, the latest first."""
    found: dict[str, list[StaticWeighing]] = {}
    for one in weighings_near(session.held_on):
        found.setdefault(one.vehicle.name, []).append(one)
    if not found:
        raise DomainError(
            "No test vehicle was weighed near the day of this session. Weigh it first; "
            "a run is held against that weight."
        )
    return found


def _noted(session: CalibrationSession, text: str, system: UnitSystem | str) -> Noted:
    return read_passes(
        text,
        day=session.held_on,
        zone=site_zone(session),
        vehicles=list(_weighings(session)),
        speed_unit=shown_unit(Kind.SPEED, UnitSystem(system)),
    )


def _weighing_at(own: Sequence[StaticWeighing], at: dt.datetime) -> StaticWeighing:
    """The latest weighing before; the earliest where all are later (complained of)."""
    return next((one for one in own if one.weighed_at <= at), own[-1])


class _Matching:
    """One matching: typed passes first, then stretches of time from what is left."""

    def __init__(
        self, session: CalibrationSession, given: MatchGiven, system: UnitSystem
    ) -> None:
        self.session, self.given, self.system = session, given, system
        self.by_key = {one.record.key: one for one in given.records}
        self.weighed = _weighings(session)
        self.noted = _noted(session, given.passes_text, system)
        self.settings = MatchSettings(window_s=settings_get().match_window_s)
        self.there = list(session.runs.select_related("weighing__vehicle"))

    def plan(self) -> MatchPlan:
        passes = [
            DrivenPass(one.key, one.vehicle, one.time, one.speed_kmh)
            for one in self.noted.passes
            if one.key not in self.given.left_out
        ]
        records = [one.record for one in self.given.records]
        typed = self._match(passes, records)
        taken = {one.record for one in typed.matches} if typed else set()
        stretched, spans = self._stretches(records, taken)
        offset = (typed.clock_offset_s if typed else None) or 0.0
        rows = [
            self._row(one, typed, offset, is_stretch=False) for one in passes if typed
        ]
        rows += [
            self._row(one, spans, offset, is_stretch=True)
            for one in stretched
            if spans and self._is_its_vehicle(spans.of_pass(one.key))
        ]
        used = {row.record.record.key for row in rows if row.record}
        alike = self._look_alikes([typed, spans], used)
        new = [row.run for row in rows if row.run is not None and not row.is_known]
        free = max((run.number for run in self.there), default=0) + 1
        for number, run in enumerate(new, start=free):
            run.number = number
        faults = [one for run in new for one in run_faults(run)]
        return MatchPlan(
            given=self.given,
            rows=tuple(rows),
            look_alikes=tuple(alike),
            n_other=max(self.given.n_rows - len(used) - len(alike), 0),
            clock_offset_s=typed.clock_offset_s if typed else None,
            clock_spread_s=typed.clock_spread_s if typed else None,
            notes=tuple(self._notes(typed, spans)),
            complaints=tuple(faults),
            questions=tuple([] if faults else questions(new, self.there)),
        )

    def _match(
        self,
        passes: Sequence[DrivenPass],
        records: Sequence[ControllerRecord],
        *,
        clock_offset_s: float | None = None,
    ) -> MatchResult | None:
        from calibration.calc.matching import match_passes

        if not passes:
            return None
        keys = {one.key for one in passes}
        return match_passes(
            passes,
            records,
            self._vehicles(passes),
            pinned=[pair for pair in self.given.pinned.items() if pair[0] in keys],
            forbidden=[pair for pair in self.given.forbidden if pair[0] in keys],
            clock_offset_s=clock_offset_s,
            settings=self.settings,
            unit_system=self.system,
        )

    def _vehicles(self, passes: Sequence[DrivenPass]) -> dict[str, ReferenceVehicle]:
        first = {one.vehicle: one.time for one in reversed(passes)}
        return {
            name: as_reference_vehicle(_weighing_at(self.weighed[name], at))
            for name, at in first.items()
        }

    def _stretches(
        self, records: Sequence[ControllerRecord], taken: set[str]
    ) -> tuple[list[DrivenPass], MatchResult | None]:
        """One pass for each record of a stretch that could be its vehicle."""
        left = [one for one in records if one.key not in taken]
        found: dict[str, DrivenPass] = {}
        for stretch in self.noted.stretches:
            for one in self._passes_of(stretch, left):
                found.setdefault(one.key, one)
        passes = [one for k, one in found.items() if k not in self.given.left_out]
        return passes, self._match(passes, left, clock_offset_s=0.0)

    def _passes_of(
        self, stretch: NotedStretch, records: Sequence[ControllerRecord]
    ) -> list[DrivenPass]:
        n_axles = self.weighed[stretch.vehicle][0].vehicle.n_axles
        return [
            DrivenPass(f"{stretch.line}: {one.key}", stretch.vehicle, one.time)
            for one in records
            if stretch.start <= one.time <= stretch.end
            and len(one.axle_weights_kg) == n_axles
        ]

    @staticmethod
    def _is_its_vehicle(match: Match | None) -> bool:
        """Nobody noted the pass, so every part of the match lies within its limit."""
        return match is not None and (
            match.is_pinned or all(part.share < 1.0 for part in match.parts)
        )

    def _row(
        self,
        driven: DrivenPass,
        result: MatchResult,
        offset: float,
        *,
        is_stretch: bool,
    ) -> MatchRow:
        match = result.of_pass(driven.key)
        record = self.by_key[match.record] if match else None
        why = dict(result.unmatched_passes).get(driven.key, "")
        run, is_known = None, False
        if match is not None and record is not None:
            run = self._run(driven, match, record, offset)
            stored = self._stored(run)
            run, is_known = stored or run, stored is not None
        return MatchRow(
            key=driven.key,
            vehicle=driven.vehicle,
            noted_at=None if is_stretch else driven.time,
            match=match,
            record=record,
            why_none=why,
            run=run,
            is_known=is_known,
            offers=() if is_stretch else tuple(self._offers(driven, match, offset)),
        )

    def _run(
        self, driven: DrivenPass, match: Match, record: KeptRecord, offset: float
    ) -> TruckRun:
        seen = record.record
        run_at = seen.time - dt.timedelta(seconds=offset)
        typed = dict(record.typed)
        temp = None
        if self.given.pavement_temp is not None:
            text, unit = self.given.pavement_temp
            temp = Typed(text, unit).value_si
            typed["pavement_temp_c"] = [text, unit]
        return TruckRun(
            weighing=_weighing_at(self.weighed[driven.vehicle], run_at),
            stage=self.given.stage,
            run_at=run_at,
            speed_kmh=seen.speed_kmh,
            pavement_temp_c=temp,
            lane_position=LanePosition.CENTRE.value,
            axle_weights_kg=list(seen.axle_weights_kg),
            axle_spacings_m=list(seen.axle_spacings_m) or None,
            left_wheel_weights_kg=list(record.left_kg) or None,
            right_wheel_weights_kg=list(record.right_kg) or None,
            controller_record=_told(record, match, offset),
            as_typed=typed,
        )

    def _stored(self, run: TruckRun) -> TruckRun | None:
        """The stored run that this one is, if any."""
        own_time = _time_told(run.controller_record)
        for other in self.there:
            is_same = (
                other.weighing.vehicle_id == run.weighing.vehicle_id
                and len(other.axle_weights_kg) == len(run.axle_weights_kg)
                and all(
                    abs(a - b) <= SAME_KG
                    for a, b in zip(
                        other.axle_weights_kg, run.axle_weights_kg, strict=True
                    )
                )
            )
            near = abs((other.run_at - run.run_at).total_seconds())
            told = _time_told(other.controller_record)
            if is_same and (
                told == own_time if told else near <= 2 * self.settings.window_s
            ):
                return other
        return None

    def _offers(
        self, driven: DrivenPass, match: Match | None, offset: float
    ) -> list[Offer]:
        """Alternatives of the match, then records of that time with its axles."""
        own = match.record if match else ""
        found = {
            one.record: Offer(self.by_key[one.record], one)
            for one in (match.alternatives if match else ())
        }
        n_axles = self.weighed[driven.vehicle][0].vehicle.n_axles
        near = []
        for one in self.given.records:
            late = (one.record.time - driven.time).total_seconds() - offset
            if (
                len(one.record.axle_weights_kg) == n_axles
                and abs(late) <= OFFERED_WITHIN_S
            ):
                near.append((abs(late), one))
        near.sort(key=lambda pair: pair[0])
        for _, one in near:
            key = one.record.key
            if key != own and key not in found and len(found) < N_OFFERED:
                found[key] = Offer(one, None)
        return list(found.values())

    def _look_alikes(
        self, results: Sequence[MatchResult | None], used: set[str]
    ) -> list[tuple[KeptRecord, str]]:
        found: dict[str, str] = {}
        for result in results:
            for key, vehicle in result.look_alikes if result else ():
                if key not in used:
                    found.setdefault(key, vehicle)
        pairs = [(self.by_key[key], vehicle) for key, vehicle in found.items()]
        return sorted(pairs, key=lambda pair: pair[0].record.time)

    def _notes(self, typed: MatchResult | None, spans: MatchResult | None) -> list[str]:
        notes = list(typed.notes if typed else ())
        if spans is not None:
            n = sum(self._is_its_vehicle(one) for one in spans.matches)
            left = len(spans.matches) + len(spans.unmatched_passes) - n
            notes.append(
                f"{n} records of the stretches of time look like their vehicle; "
                f"{left} others with as many axles do not. Other traffic can look "
                "like a test vehicle: look at every one, and leave out what was not it."
            )
        if self.given.left_out:
            notes.append(f"Left out by you: {len(self.given.left_out)}.")
        return notes


def _told(record: KeptRecord, match: Match, offset: float) -> str:
    """What is kept of the record and of how it was matched, at most 200 characters."""
    seen = record.record
    how = "chosen by hand" if match.is_pinned else "matched"
    text = (
        f"{seen.time.isoformat()} {seen.key}; {how}, distance "
        f"{format_number(match.distance, 2)}, controller’s clock "
        f"{format_number(offset, 0)} s off"
    )
    if seen.vehicle_class is not None:
        text += f"; classed {seen.vehicle_class}"
    return text[:200]


def _time_told(controller_record: str) -> str:
    """The controller's time in what was kept of its record; empty where none is."""
    return controller_record.partition(" ")[0]
