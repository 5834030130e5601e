"""How long the lane is closed: crew hours by step, and the chain that takes longest.

Every step waits for the steps before it and for nothing else (the critical path
method); the cure is a step without a crew. People are not shared out between steps that
could run at once, so a small crew takes longer than this tells.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from installs.calc.layout.cure import LEAST_CURE_MIN
from installs.calc.layout.types import (
    COMMON_PRACTICE,
    ArrayLayout,
    ClosurePlan,
    Driver,
    ElementKind,
    QuantityLine,
    ScheduledStep,
    StepPlan,
    Takeoff,
    WorkFigures,
    WorkStep,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import format_number

_S = WorkStep
#: Crew hours and order of the steps. Common practice, no source: the agency's own
#: hours replace them (``WorkFigures.step_hours``).
USUAL_STEPS: tuple[StepPlan, ...] = (
    StepPlan(_S.TRAFFIC_SET_UP, 2.0, 0.0, Driver.ARRAY, 4, ()),
    StepPlan(_S.LAYOUT, 1.0, 0.2, Driver.SENSOR, 2, (_S.TRAFFIC_SET_UP,)),
    StepPlan(_S.EXIT_HOLE, 0.5, 0.75, Driver.HOLE, 2, (_S.LAYOUT,)),
    StepPlan(_S.SAW_CUTTING, 0.5, 0.0, Driver.SAW_M, 2, (_S.LAYOUT,)),
    StepPlan(_S.CLEANING, 0.5, 0.5, Driver.SENSOR, 2, (_S.SAW_CUTTING,)),
    StepPlan(_S.PREPARATION, 0.5, 0.5, Driver.SENSOR, 2, (), holds_lane=False),
    StepPlan(
        _S.SETTING, 0.0, 1.0, Driver.SENSOR, 2,
        (_S.CLEANING, _S.PREPARATION, _S.EXIT_HOLE),
    ),
    StepPlan(_S.POURING, 0.0, 1.0, Driver.SENSOR, 3, (_S.SETTING,)),
    StepPlan(_S.CURING, 0.0, 0.0, Driver.ARRAY, 1, (_S.POURING,)),
    StepPlan(_S.GRINDING, 0.5, 0.5, Driver.SENSOR, 2, (_S.CURING,)),
    StepPlan(_S.LEAD_IN, 0.5, 0.5, Driver.LEAD, 2, (_S.SETTING,)),
    StepPlan(_S.FINAL_TEST, 0.0, 0.25, Driver.LEAD, 1, (_S.LEAD_IN, _S.CURING)),
    StepPlan(
        _S.TRAFFIC_TAKE_DOWN, 2.0, 0.0, Driver.ARRAY, 4,
        (_S.GRINDING, _S.FINAL_TEST),
    ),
)  # fmt: skip

RULE = "longest chain of steps that wait for each other, the cure among them"


def closure_plan(
    layout: ArrayLayout,
    quantities: Takeoff,
    figures: WorkFigures | None = None,
    *,
    cure_min: float = LEAST_CURE_MIN,
    allowed_h: float | None = None,
    allowed_by: str = "the traffic control plan",
    steps: Sequence[StepPlan] = USUAL_STEPS,
) -> ClosurePlan:
    """Crew hours by step and the time that the lane is closed.

    Parameters
    ----------
    layout, quantities, figures
        The array, its :func:`installs.calc.layout.quantities.takeoff`, and what to
        reckon with.
    cure_min
        From :func:`installs.calc.layout.cure.required_cure` [min].
    allowed_h
        Longest closure that is allowed [h].
    allowed_by
        Whose limit that is, in words.
    steps
        In an order in which each comes after those it waits for.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a step waits for one that is not before it, or for a cure below zero.
    """
    figures = figures or WorkFigures()
    if not (math.isfinite(cure_min) and cure_min >= 0):
        raise DomainError(f"A cure of {cure_min:g} min cannot be planned with.")
    counts = _counts(layout, quantities)
    made: dict[WorkStep, ScheduledStep] = {}
    latest_before: dict[WorkStep, WorkStep | None] = {}
    for plan in steps:
        unknown = [step for step in plan.after if step not in made]
        if unknown:
            raise DomainError(
                f"“{plan.step}” waits for “{unknown[0]}”, which does not come before "
                "it; put the steps in the order of the work."
            )
        crew_h = _crew_hours(plan, counts, figures)
        if crew_h is None:
            return _unknown(allowed_h, allowed_by)
        before = [made[step] for step in plan.after if made[step].holds_lane]
        last = max(before, key=lambda one: one.end_h, default=None)
        start = last.end_h if last else 0.0
        took = _elapsed_h(plan, crew_h, cure_min, figures)
        if not plan.holds_lane:
            start, took = -took, took  # done before the lane is closed
        latest_before[plan.step] = last.step if last else None
        made[plan.step] = ScheduledStep(
            plan.step, crew_h, start, start + took, False, plan.holds_lane
        )
    on_road = [one for one in made.values() if one.holds_lane]
    end = max(on_road, key=lambda one: one.end_h, default=None)
    if end is None:
        raise DomainError("No step of the work closes the lane; give the usual steps.")
    chain: list[WorkStep] = []
    link: WorkStep | None = end.step
    while link is not None:
        chain.append(link)
        link = latest_before[link]
    critical = tuple(reversed(chain))
    scheduled = tuple(
        ScheduledStep(
            one.step, one.crew_hours, one.start_h, one.end_h,
            one.step in critical, one.holds_lane,
        )
        for one in made.values()
    )  # fmt: skip
    judgement = _judge(end.end_h, allowed_h, cure_min, allowed_by)
    return ClosurePlan(end.end_h, scheduled, critical, judgement, judgement.sentence)


def crew_hour_lines(closure: ClosurePlan) -> tuple[QuantityLine, ...]:
    """Crew hours by step as lines of the quantities."""
    return tuple(
        QuantityLine(
            key=f"crew-{one.step.replace(' ', '-')}",
            name=f"crew hours, {one.step}",
            amount=one.crew_hours,
            unit="crew h",
            step=one.step,
            basis=(
                f"{format_number(one.end_h - one.start_h, 2)} h on the clock"
                f"{'' if one.holds_lane else ', before the lane is closed'}."
            ),
            is_material=False,
        )
        for one in closure.steps
    )


def _counts(layout: ArrayLayout, quantities: Takeoff) -> dict[Driver, float | None]:
    sensors = [one for one in layout.in_lane if one.kind is not ElementKind.LOOP]
    return {
        Driver.ARRAY: 1.0,
        Driver.SAW_M: quantities.amount("saw-cut"),
        Driver.SENSOR: float(len(sensors)),
        Driver.LEAD: float(len(layout.in_lane)),
        Driver.HOLE: float(len(layout.of_kind(ElementKind.EXIT_HOLE))),
    }


def _crew_hours(
    plan: StepPlan, counts: dict[Driver, float | None], figures: WorkFigures
) -> float | None:
    if plan.step in figures.step_hours:
        return float(figures.step_hours[plan.step])
    count = counts[plan.driver]
    if count is None:
        return None
    hours = plan.fixed_h + plan.each_h * count
    if plan.step is WorkStep.SAW_CUTTING:
        people = min(plan.people, figures.crew_size)
        hours += people * count / figures.saw_rate_m_per_hour
    return hours


def _elapsed_h(
    plan: StepPlan, crew_h: float, cure_min: float, figures: WorkFigures
) -> float:
    """Hours on the clock."""
    if plan.step is WorkStep.CURING:
        return cure_min / 60.0
    return crew_h / min(plan.people, figures.crew_size)


def _judge(
    hours: float | None, allowed_h: float | None, cure_min: float, allowed_by: str
) -> Judgement:
    if hours is None:
        verdict, told = Verdict.CANNOT_SAY, "not known, for a slot lacks a figure"
    else:
        told = f"{format_number(hours, 1)} h with a cure of {cure_min:.3g} min"
        if allowed_h is None:
            verdict = Verdict.CANNOT_SAY
        else:
            verdict = Verdict.MEETS if hours <= allowed_h else Verdict.MISSES
    limit = (
        "no longest closure entered"
        if allowed_h is None
        else f"at most {allowed_h:g} h by {allowed_by}"
    )
    return Judgement(
        quantity="lane closure",
        value=hours,
        unit="h",
        n=0 if hours is None else 1,
        interval=None,
        rule=f"{RULE} (hours by step: {COMMON_PRACTICE}, or the agency's own)",
        limit=limit,
        verdict=verdict,
        sentence=f"Lane closure {told}; {limit}: {verdict}.",
        standing="agency's own" if allowed_h is not None else "no limit entered",
    )


def _unknown(allowed_h: float | None, allowed_by: str) -> ClosurePlan:
    judgement = _judge(None, allowed_h, 0.0, allowed_by)
    return ClosurePlan(None, (), (), judgement, judgement.sentence)
