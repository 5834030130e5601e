"""What a plan takes in material and time, by what the agency works by."""

from __future__ import annotations

from dataclasses import dataclass

from installs.calc.layout.closure import USUAL_STEPS, closure_plan, crew_hour_lines
from installs.calc.layout.cure import LEAST_CURE_MIN
from installs.calc.layout.quantities import takeoff
from installs.calc.layout.types import (
    ArrayLayout,
    ClosurePlan,
    Driver,
    QuantityLine,
    StepPlan,
    Takeoff,
    WorkFigures,
    WorkStep,
)
from installs.models import WorkSettings
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

#: What the settings hold by the same name as the pure figures.
_SAME_NAMES = (
    "saw_waste_share", "resin_waste_share", "small_parts_waste_share", "resin_kit_l",
    "sealant_kit_l", "kits_by_pour", "support_spacing_mm", "wire_diameter_mm",
    "lead_diameter_mm", "blade_diameter_mm", "blade_width_mm", "lead_slack_m",
    "saw_rate_m_per_hour", "crew_size",
)  # fmt: skip


@dataclass(frozen=True)
class Quantities:
    """A plan's quantities; ``refused`` says why there are none."""

    takeoff: Takeoff | None
    closure: ClosurePlan | None
    hours: tuple[QuantityLine, ...]
    refused: str = ""

    @property
    def work(self) -> tuple[QuantityLine, ...]:
        """Cuts, holes and volumes: what is done, not what is brought."""
        if self.takeoff is None:
            return ()
        return tuple(line for line in self.takeoff.lines if not line.is_material)

    @property
    def pick_list(self) -> tuple[QuantityLine, ...]:
        """What has to be on the truck."""
        return self.takeoff.pick_list if self.takeoff else ()

    @property
    def crew_hours(self) -> float | None:
        """All crew hours; None when they are not known."""
        return sum(line.amount or 0.0 for line in self.hours) if self.hours else None


def work_figures(work: WorkSettings) -> WorkFigures:
    """The agency's settings as the figures that quantities are reckoned with."""
    steps = {word.value: word for word in WorkStep}
    return WorkFigures(
        **{name: getattr(work, name) for name in _SAME_NAMES},
        step_hours={
            steps[word]: float(hours)
            for word, hours in work.step_hours.items()
            if word in steps
        },
        source="the agency's work settings",
    )


def quantities_of(
    layout: ArrayLayout,
    work: WorkSettings,
    *,
    cure_min: float | None = None,
    allowed_h: float | None = None,
    system: UnitSystem,
) -> Quantities:
    """Quantities, crew hours and closure of a layout.

    Parameters
    ----------
    cure_min
        Cure to plan with [min]; the common least when None.
    allowed_h
        Longest closure that the traffic control plan allows [h]; the one of the work
        settings when None.
    """
    by_plan = allowed_h is not None
    try:
        figures = work_figures(work)
        taken = takeoff(layout, figures, system=system)
        closure = closure_plan(
            layout,
            taken,
            figures,
            cure_min=LEAST_CURE_MIN if cure_min is None else cure_min,
            allowed_h=allowed_h if by_plan else work.longest_closure_h,
            allowed_by="the traffic control plan" if by_plan else "the work settings",
        )
    except DomainError as error:
        return Quantities(None, None, (), error.message)
    return Quantities(taken, closure, crew_hour_lines(closure))


def usual_hours() -> dict[str, str]:
    """What each step usually takes, in words, beside the box of the agency's own."""
    return {one.step.value: _usual(one) for one in USUAL_STEPS}


def _usual(plan: StepPlan) -> str:
    if plan.step is WorkStep.CURING:
        return "No crew; the cure’s time is the maker’s."
    parts = [f"{plan.fixed_h:g} crew h"] if plan.fixed_h else []
    if plan.each_h:
        parts.append(f"{plan.each_h:g} crew h for each {plan.driver}")
    if plan.driver is Driver.SAW_M:
        parts.append("the sawing at its rate")
    return f"Usual: {' and '.join(parts)}."
