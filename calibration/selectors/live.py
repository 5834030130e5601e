"""What a session's runs show so far: after each run, for whoever stands at the road."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ObjectDoesNotExist

from calibration.calc.run_checks import is_unit_slip
from calibration.calc.types import Quantity
from calibration.models import CalibrationSession, RunStage, TruckRun
from calibration.selectors.judging import (
    JudgedStage,
    session_judged,
    session_runs,
    site_zone,
)
from calibration.selectors.references import reference_parts
from calibration.selectors.tabulated import StatisticRow, statistic_rows
from wimprog.lib import clock
from wimprog.lib.judgement import Interval, Judgement
from wimprog.lib.units import UnitSystem, format_number

if TYPE_CHECKING:
    from calibration.calc.outliers import OutlierAdvice
    from calibration.calc.reference_bias import ReferencePart
    from calibration.calc.run_counts import RunsWorthMaking

LIVE = (
    Quantity.GROSS_WEIGHT.value,
    Quantity.STEERING_AXLE.value,
    Quantity.AXLE_GROUP.value,
    Quantity.SPEED.value,
)
"""Quantities shown while runs are made."""


@dataclass(frozen=True)
class ReferenceInBias:
    """The reference's own uncertainty in the bias of gross weight.

    Attributes
    ----------
    u_pct
        Standard uncertainty [%] that the references add to the mean error.
    interval
        Interval of the bias with both; None for fewer than two runs.
    not_known
        Vehicles of whose reference no uncertainty is known.
    """

    u_pct: float
    interval: Interval | None
    not_known: tuple[str, ...]


@dataclass(frozen=True)
class Live:
    """One stage of a session as it stands.

    Attributes
    ----------
    overall
        The session's own verdict.
    rows
        Statistics of the quantities worth watching.
    worth
        How many more runs are worth making; None before two runs.
    outliers
        Advice; it sets nothing aside.
    reference
        The reference's part; None without runs.
    unit_question
        A question, where all weights look like another unit; empty else.
    why_no_verdict
        Where there is one run only.
    """

    stage: str
    title: str
    n: int
    overall: Judgement
    rows: tuple[StatisticRow, ...]
    worth: RunsWorthMaking | None
    outliers: OutlierAdvice
    reference: ReferenceInBias | None
    unit_question: str
    why_no_verdict: str

    @property
    def key(self) -> str:
        """The stage, fit for an id."""
        return self.stage.replace(" ", "-")


def last_run(session: CalibrationSession) -> TruckRun | None:
    """The run that was recorded last."""
    return session.runs.select_related("weighing__vehicle").order_by("-pk").first()


def time_of_next_run(session: CalibrationSession) -> dt.datetime | None:
    """Now, on the session's own day; None on any other."""
    zone = site_zone(session)
    now = clock.now()
    return now if now.astimezone(zone).date() == session.held_on else None


def wanted_half_width(session: CalibrationSession) -> float | None:
    """Half-width of the bias's interval [%] that the session's plan asks for."""
    try:
        return float(session.session_plan.bias_to_show_pct)
    except ObjectDoesNotExist:
        return None


def live_now(
    session: CalibrationSession, stage: str, *, system: UnitSystem | str
) -> Live:
    """One stage, judged by the session's own standard only."""
    runs = session_runs(session, RunStage(stage))
    judged = session_judged(session, stage, runs=runs, unit_system=system)
    return live_of(
        JudgedStage(stage, tuple(runs), judged),
        system=system,
        wanted=wanted_half_width(session),
    )


def live_of(
    stage: JudgedStage, *, system: UnitSystem | str, wanted: float | None = None
) -> Live:
    """What a judged stage shows so far. Asks the database nothing."""
    from calibration.calc.outliers import advise_on_outliers
    from calibration.calc.run_counts import runs_worth_making

    gross = stage.judged.errors[Quantity.GROSS_WEIGHT]
    found = stage.judged.statistics[0]
    reference = reference_in_bias(stage) if gross.n else None
    worth = None
    if found.mean is not None and found.sd is not None:
        worth = runs_worth_making(
            found.mean,
            found.sd,
            found.n,
            wanted=wanted,
            u_reference=reference.u_pct if reference else 0.0,
        )
    verdict = stage.judged.verdicts[0]
    return Live(
        stage=stage.stage,
        title=f"{verdict.title} {verdict.edition}, {verdict.judged_class}",
        n=stage.n_used,
        overall=verdict.overall,
        rows=tuple(
            row
            for row in statistic_rows(stage, system=system)
            if row.name in LIVE and row.n
        ),
        worth=worth,
        outliers=advise_on_outliers(gross),
        reference=reference,
        unit_question=unit_question(stage.runs),
        why_no_verdict=(
            "One run shows no spread: nothing can be said of the lane yet. Make more "
            "runs."
            if stage.n_used == 1
            else ""
        ),
    )


def unit_question(runs: Sequence[TruckRun]) -> str:
    """Whether the weights look like pounds for kilograms, as a question."""
    used = [run for run in runs if not run.excluded]
    slipped = [run for run in used if is_unit_slip(run.gvw_kg / run.weighing.gvw_kg)]
    if not slipped:
        return ""
    ratio = slipped[0].gvw_kg / slipped[0].weighing.gvw_kg
    return (
        f"{len(slipped)} of {len(used)} runs weigh about {format_number(ratio, 2)} "
        "times the static weight, the ratio of pounds and kilograms. Is the unit of "
        "the runs or of the weighing right?"
    )


def reference_in_bias(stage: JudgedStage) -> ReferenceInBias:
    """The references' part in the mean error of gross weight, and the wider interval.

    References: JCGM 100:2008 (GUM), G.4.
    """
    from calibration.calc.reference_bias import (
        ReferencePart,
        bias_with_reference,
        reference_part_of_mean,
    )

    gross, found = (
        stage.judged.errors[Quantity.GROSS_WEIGHT],
        stage.judged.statistics[0],
    )
    known = reference_parts(stage.runs)
    names = list(dict.fromkeys(gross.vehicles))
    nothing = ReferencePart(0.0, 0.0)
    parts: list[ReferencePart] = [known.get(name, nothing) for name in names]
    shares = [gross.vehicles.count(name) / gross.n for name in names]
    whole = reference_part_of_mean(parts, shares)
    interval = None
    if found.mean is not None and found.sd is not None:
        interval = bias_with_reference(
            found.mean,
            found.sd / found.n**0.5,
            whole.u_pct,
            df_runs=found.n - 1,
            df_ref=whole.df,
        )
    return ReferenceInBias(
        u_pct=whole.u_pct,
        interval=interval,
        not_known=tuple(name for name in names if name not in known),
    )
