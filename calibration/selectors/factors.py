"""Factors of a session: those that were set, those that its runs ask for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from calibration.calc.types import Quantity
from calibration.models import CalibrationSession, FactorSet, RunStage
from calibration.selectors.judging import (
    JudgedStage,
    conditions_of,
    session_judged,
    session_runs,
)
from calibration.selectors.references import reference_parts
from calibration.selectors.session_page import before_after
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.before_after import BeforeAfter
    from calibration.calc.factor_types import (
        AdjustmentAdvice,
        FactorEstimate,
        Prediction,
        SeparateFactors,
    )
    from calibration.calc.types import QuantityErrors, RunErrors
    from wimprog.lib.judgement import Judgement


@dataclass(frozen=True)
class NewFactor:
    """An estimate with the factor in use and the one it makes."""

    estimate: FactorEstimate
    old: float | None
    speed_kmh: float | None = None

    @property
    def new(self) -> float | None:
        """Factor in use times the ratio."""
        return None if self.old is None else self.old * self.estimate.ratio


@dataclass(frozen=True)
class Expected:
    """A prediction, and what the session's standard would say of it."""

    prediction: Prediction
    verdict: Judgement


@dataclass(frozen=True, eq=False)
class FactorProposals:
    """What the runs of one stage ask for.

    Attributes
    ----------
    stage
        Stage of the runs; their factors are the ones in use.
    n
        Runs in use.
    advice
        Whether to adjust, how, and why.
    by_method
        One factor for all by each method, weighted by what each weighing is worth.
    by_axle, by_side
        Separate factors, and whether they differ; ``by_side`` None without wheels.
    by_speed
        One for each speed point; empty where speed is not shown to matter.
    expected
        Errors by leaving each run out, and the verdict on them.
    not_known
        Vehicles of whose reference no uncertainty is known: they count in full.
    """

    stage: str
    n: int
    advice: AdjustmentAdvice
    by_method: tuple[NewFactor, ...]
    by_axle: SeparateFactors
    by_side: SeparateFactors | None
    by_speed: tuple[NewFactor, ...]
    expected: tuple[Expected, ...]
    not_known: tuple[str, ...]

    @property
    def is_left_alone(self) -> bool:
        """Is the change within its noise?"""
        return self.advice.adjustment.value == "leave it alone"

    @property
    def overall(self) -> NewFactor:
        """The one factor, by the ratio of sums."""
        return self.by_method[0]


@dataclass(frozen=True, eq=False)
class FactorPage:
    """A session's factors: set and proposed."""

    found: FactorSet | None
    left: FactorSet | None
    proposals: FactorProposals | None
    before_after: BeforeAfter | None
    why_none: str = ""


def factor_sets(session: CalibrationSession) -> dict[str, FactorSet]:
    """The factors that were set, by stage."""
    return {one.stage: one for one in session.factor_sets.all()}


def factor_page(session: CalibrationSession, *, system: UnitSystem | str) -> FactorPage:
    """Proposals from the as-found runs; from the as-left ones where there are no such.

    Reads the runs once and the factor sets once.
    """
    sets = factor_sets(session)
    runs = session_runs(session)
    stages = []
    for name in RunStage.values:
        own = tuple(run for run in runs if run.stage == name)
        if own:
            judged = session_judged(session, name, runs=own, unit_system=system)
            stages.append(JudgedStage(name, own, judged))
    used = [one for one in stages if one.n_used]
    proposals = (
        _proposals(session, used[0], sets.get(used[0].stage), UnitSystem(system))
        if used
        else None
    )
    return FactorPage(
        found=sets.get(RunStage.AS_FOUND),
        left=sets.get(RunStage.AS_LEFT),
        proposals=proposals,
        before_after=before_after(session, stages),
        why_none="" if used else "There is no run in use to compute a factor from.",
    )


def old_factor(
    session: CalibrationSession, stage: str, kept: FactorSet | None
) -> float | None:
    """The one factor that the runs of a stage were made with."""
    if kept is not None and kept.overall:
        return float(kept.overall)
    own = session.factor_before
    if stage == RunStage.AS_LEFT:
        own = session.factor_after or session.factor_before
    return own


def _old_at(
    speed_kmh: float, kept: FactorSet | None, old: float | None
) -> float | None:
    """The factor in use at a speed: between the set points by straight lines."""
    pairs = sorted(kept.by_speed) if kept is not None else []
    if not pairs:
        return old
    speeds, factors = zip(*pairs, strict=True)
    return float(np.interp(speed_kmh, speeds, factors))


def _proposals(
    session: CalibrationSession,
    stage: JudgedStage,
    kept: FactorSet | None,
    system: UnitSystem,
) -> FactorProposals:
    from calibration.calc.effect_types import run_table
    from calibration.calc.factor_parts import factors_by_axle
    from calibration.calc.factor_prediction import advise_adjustment
    from calibration.calc.factor_types import FactorMethod
    from calibration.calc.factors import estimate_factor

    errors = stage.judged.errors
    gross = errors[Quantity.GROSS_WEIGHT]
    references = reference_parts(stage.runs)
    points = [pair[0] for pair in sorted(kept.by_speed)] if kept else []
    advice = advise_adjustment(
        gross,
        run_table(errors).speed_kmh,
        points_kmh=points or None,
        references=references,
        unit_system=system,
    )
    old = old_factor(session, stage.stage, kept)
    return FactorProposals(
        stage=stage.stage,
        n=gross.n,
        advice=advice,
        by_method=tuple(
            NewFactor(estimate_factor(gross, method=one, references=references), old)
            for one in FactorMethod
        ),
        by_axle=factors_by_axle(errors),
        by_side=_by_side(errors),
        by_speed=tuple(
            NewFactor(
                point.estimate, _old_at(point.speed_kmh, kept, old), point.speed_kmh
            )
            for point in advice.by_speed.points
        ),
        expected=tuple(_expected(session, errors, gross, advice, system)),
        not_known=tuple(
            name for name in dict.fromkeys(gross.vehicles) if name not in references
        ),
    )


def _by_side(errors: RunErrors) -> SeparateFactors | None:
    from calibration.calc.factor_parts import factors_by_side

    return factors_by_side(errors) if errors[Quantity.WHEEL].n else None


def _expected(
    session: CalibrationSession,
    errors: RunErrors,
    gross: QuantityErrors,
    advice: AdjustmentAdvice,
    system: UnitSystem,
) -> Sequence[Expected]:
    """Each prediction judged by the session's standard, as if they were its runs."""
    from calibration.calc.factor_prediction import errors_after
    from calibration.calc.standards import find_standard

    standard = find_standard(session.standard)
    conditions = replace(conditions_of(session, system), is_calibration_sample=True)
    return [
        Expected(
            one,
            standard.judge(
                errors_after(errors, gross, one),
                wanted_class=session.wanted_class,
                conditions=conditions,
            ).overall,
        )
        for one in advice.predictions
    ]


def predicted_facts(proposals: FactorProposals) -> dict[str, Any]:
    """The proposal as it is kept beside the factors that were set."""
    advice = proposals.advice
    chosen = next(
        (
            one
            for one in advice.predictions
            if one.label in (advice.adjustment.value, "one factor", "as it is")
        ),
        advice.predictions[0],
    )
    best = min(advice.predictions, key=lambda one: one.rms)
    told = chosen if proposals.is_left_alone else best
    return {
        "advice": advice.adjustment.value,
        "n": proposals.n,
        "overall": proposals.overall.new,
        "ratio": proposals.overall.estimate.ratio,
        "se": proposals.overall.estimate.se_runs,
        "prediction": told.label,
        "mean_pct": told.mean,
        "sd_pct": told.sd,
        "rms_pct": told.rms,
    }
