"""Everything that a session's page shows of a stage, beyond its verdicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration.calc.types import Quantity
from calibration.models import CalibrationSession, RunStage
from calibration.selectors.judging import JudgedStage, session_stages
from calibration.selectors.live import Live, live_of, wanted_half_width
from calibration.selectors.tabulated import (
    RunRow,
    StatisticRow,
    run_rows,
    statistic_rows,
)
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.before_after import BeforeAfter
    from calibration.calc.effect_types import Effects
    from calibration.calc.judging import JudgedRuns
    from calibration.calc.left_right import SideDifference


@dataclass(frozen=True, eq=False)
class StagePage:
    """One stage on the session's page.

    Attributes
    ----------
    name, key
        The stage, and the same fit for an id.
    judged
        Errors, statistics, verdicts.
    live
        How it stands.
    rows
        Runs with their errors.
    statistics
        Statistics of every quantity.
    effects
        What speed, temperature, place and vehicle do to the gross weight's error.
    sides
        Left against right; None where no wheels were compared.
    flagged
        Labels of runs that stand out.
    """

    name: str
    key: str
    judged: JudgedRuns
    live: Live
    rows: tuple[RunRow, ...]
    statistics: tuple[StatisticRow, ...]
    effects: Effects
    sides: SideDifference | None
    flagged: tuple[str, ...]


def session_page(
    session: CalibrationSession, *, system: UnitSystem | str
) -> tuple[list[StagePage], BeforeAfter | None]:
    """The stages that have runs, and as found against as left where both have."""
    wanted = wanted_half_width(session)
    stages = session_stages(session, unit_system=system)
    pages = [_stage_page(one, system=system, wanted=wanted) for one in stages]
    return pages, before_after(session, stages)


def _stage_page(
    stage: JudgedStage, *, system: UnitSystem | str, wanted: float | None
) -> StagePage:
    from calibration.calc.effect_types import run_table
    from calibration.calc.effects import find_effects
    from calibration.calc.left_right import side_difference

    errors = stage.judged.errors
    live = live_of(stage, system=system, wanted=wanted)
    return StagePage(
        name=stage.stage,
        key=stage.stage.replace(" ", "-"),
        judged=stage.judged,
        live=live,
        rows=tuple(run_rows(stage.runs, errors)),
        statistics=tuple(statistic_rows(stage, system=system)),
        effects=find_effects(run_table(errors), unit_system=UnitSystem(system)),
        sides=side_difference(errors),
        flagged=tuple(flag.run for flag in live.outliers.flags),
    )


def before_after(
    session: CalibrationSession, stages: Sequence[JudgedStage]
) -> BeforeAfter | None:
    """Whether the adjustment worked; None without runs of both stages."""
    from calibration.calc.before_after import compare_before_after

    by_name = {one.stage: one for one in stages}
    found, left = by_name.get(RunStage.AS_FOUND), by_name.get(RunStage.AS_LEFT)
    if found is None or left is None:
        return None
    ratio = None
    if session.factor_before and session.factor_after:
        ratio = session.factor_after / session.factor_before
    gross = Quantity.GROSS_WEIGHT
    return compare_before_after(
        found.judged.errors[gross], left.judged.errors[gross], applied_ratio=ratio
    )
