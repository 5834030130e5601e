"""The whole of a session for its record: what was found, by what, and who signed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from calibration.calc.types import Quantity
from calibration.models import (
    CalibrationSession,
    FactorSet,
    RunStage,
    SessionSignature,
    StaticWeighing,
    TruckRun,
)
from calibration.selectors.judging import JudgedStage, session_stages, site_zone
from calibration.selectors.live import ReferenceInBias, reference_in_bias
from calibration.selectors.references import (
    certificate_word,
    reference_of,
    reference_parts,
)
from calibration.selectors.session_page import before_after
from calibration.selectors.sessions import weighings_for
from calibration.selectors.standards import agency_values
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.before_after import BeforeAfter
    from calibration.calc.effect_types import Effects
    from calibration.calc.factor_types import AdjustmentAdvice
    from calibration.calc.outliers import OutlierAdvice
    from calibration.calc.reference_types import VehicleReference
    from calibration.calc.standards.base import StandardVerdict


@dataclass(frozen=True, eq=False)
class RecordStage:
    """As found or as left, with all that was looked for in its runs.

    Attributes
    ----------
    judged
        The runs, their errors, statistics and verdicts.
    outliers, effects
        Advice; neither sets anything aside.
    advice
        Whether and how to adjust by these runs; None without any.
    reference
        The static weighings' part in the bias; None without runs in use.
    """

    judged: JudgedStage
    outliers: OutlierAdvice
    effects: Effects
    advice: AdjustmentAdvice | None
    reference: ReferenceInBias | None

    @property
    def name(self) -> str:
        """As found, or as left."""
        return self.judged.stage

    @property
    def own_verdict(self) -> StandardVerdict:
        """By the session's own standard, against the class that it asks for."""
        return self.judged.judged.verdicts[0]


@dataclass(frozen=True, eq=False)
class RecordWeighing:
    """A static weighing with its reference weights, or why there are none."""

    weighing: StaticWeighing
    reference: VehicleReference | None
    why_none: str
    certificate_word: str


@dataclass(frozen=True)
class RunCorrection:
    """A run that was changed after it was recorded."""

    run: int
    at: Any
    who: str
    why: str


@dataclass(frozen=True, eq=False)
class SessionRecord:
    """A session as its record shows it."""

    session: CalibrationSession
    system: UnitSystem
    zone: ZoneInfo
    stages: tuple[RecordStage, ...]
    weighings: tuple[RecordWeighing, ...]
    factor_sets: tuple[FactorSet, ...]
    signatures: tuple[SessionSignature, ...]
    corrections: tuple[RunCorrection, ...]
    agency_values: dict[str, dict[str, Any]]
    before_after: BeforeAfter | None

    @property
    def deciding(self) -> RecordStage | None:
        """The stage that speaks for the lane: as left, or else as found."""
        used = {one.name: one for one in self.stages if one.judged.n_used}
        return used.get(RunStage.AS_LEFT) or used.get(RunStage.AS_FOUND)

    @property
    def runs(self) -> list[TruckRun]:
        """All runs, as found before as left."""
        return [run for stage in self.stages for run in stage.judged.runs]

    @property
    def is_adjusted_unproved(self) -> bool:
        """Was the factor changed, and no run made since?"""
        before, after = self.session.factor_before, self.session.factor_after
        last = self.deciding
        return (
            before is not None
            and after is not None
            and before != after
            and (last is None or last.name == RunStage.AS_FOUND)
        )


def session_record(
    session: CalibrationSession, *, unit_system: UnitSystem | str
) -> SessionRecord:
    """Everything that the record of a session tells, in a bounded number of queries."""
    system = UnitSystem(unit_system)
    judged = session_stages(session, unit_system=system)
    return SessionRecord(
        session=session,
        system=system,
        zone=site_zone(session),
        stages=tuple(_stage(one, system) for one in judged),
        weighings=tuple(_weighing(one) for one in weighings_for(session)),
        factor_sets=tuple(session.factor_sets.order_by("stage")),
        signatures=tuple(session.signatures.select_related("signed_by").order_by("pk")),
        corrections=tuple(_corrections(session)),
        agency_values=agency_values(),
        before_after=before_after(session, judged),
    )


def _stage(judged: JudgedStage, system: UnitSystem) -> RecordStage:
    from calibration.calc.effect_types import run_table
    from calibration.calc.effects import find_effects
    from calibration.calc.factor_prediction import advise_adjustment
    from calibration.calc.outliers import advise_on_outliers

    errors = judged.judged.errors
    gross = errors[Quantity.GROSS_WEIGHT]
    table = run_table(errors)
    advice = None
    if gross.n:
        advice = advise_adjustment(
            gross,
            table.speed_kmh,
            references=reference_parts(judged.runs),
            unit_system=system,
        )
    return RecordStage(
        judged=judged,
        outliers=advise_on_outliers(gross),
        effects=find_effects(table, unit_system=system),
        advice=advice,
        reference=reference_in_bias(judged) if gross.n else None,
    )


def _weighing(weighing: StaticWeighing) -> RecordWeighing:
    found, why = None, ""
    try:
        found = reference_of(weighing)
    except DomainError as error:
        why = " ".join([error.message, *(str(one) for one in error.complaints)])
    return RecordWeighing(weighing, found, why, certificate_word(weighing))


def _corrections(session: CalibrationSession) -> list[RunCorrection]:
    """Changes of runs after they were recorded, oldest first, in one query."""
    rows = (
        TruckRun.history.filter(session_id=session.pk, history_type="~")
        .select_related("history_user")
        .order_by("history_date", "history_id")
    )
    return [
        RunCorrection(
            run=row.number,
            at=row.history_date,
            who=(row.history_user.get_full_name() or row.history_user.get_username())
            if row.history_user
            else "–",
            why=row.history_change_reason or "",
        )
        for row in rows
    ]
