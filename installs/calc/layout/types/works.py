"""What an installation takes in material and time, and what that is reckoned from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum

from installs.calc.layout.types.words import COMMON_PRACTICE, WorkStep
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.judgement import Judgement
from wimprog.lib.units import MM_PER_IN, Kind


@dataclass(frozen=True)
class WorkFigures:
    """What quantities and hours are reckoned with.

    Every default is common practice without source, or stands only until the agency
    enters its own; none is from a maker.

    Attributes
    ----------
    blade_diameter_mm, blade_width_mm
        Saw blade. A slot wider than the blade is cut along both edges and broken out.
    deepest_cut_share
        Deepest cut as a share of the blade's diameter (the flanges take the rest).
    saw_waste_share, resin_waste_share, small_parts_waste_share
        Added to saw cuts; to grout and sealant; to rod, tape, conduit and supports.
    resin_kit_l, sealant_kit_l
        Mixed volume of one kit, in litres.
    kits_by_pour
        Every slot begins with a fresh kit, for what is left over has set; else a kit
        serves several slots.
    support_spacing_mm
        Chairs or clips along a sawn sensor, at most this far apart.
    wire_diameter_mm, lead_diameter_mm
        What takes room in loop and lead-in slots.
    lead_slack_m
        Added to every lead for the cabinet and for a splice.
    saw_rate_m_per_hour
        Metres of cut in an hour of sawing.
    crew_size
        People on the road; no step has more.
    step_hours
        Crew hours of whole steps that replace the usual reckoning.
    """

    blade_diameter_mm: float = 14.0 * MM_PER_IN
    blade_width_mm: float = 10.0
    deepest_cut_share: float = 0.35
    saw_waste_share: float = 0.05
    resin_waste_share: float = 0.15
    small_parts_waste_share: float = 0.10
    resin_kit_l: float = 5.0
    sealant_kit_l: float = 4.0
    kits_by_pour: bool = True
    support_spacing_mm: float = 6.0 * MM_PER_IN
    wire_diameter_mm: float = 4.0
    lead_diameter_mm: float = 6.0
    lead_slack_m: float = 3.0
    saw_rate_m_per_hour: float = 12.0
    crew_size: int = 4
    step_hours: Mapping[WorkStep, float] = field(default_factory=dict)
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        """Refuse figures that nothing could be reckoned with."""
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name in ("kits_by_pour", "step_hours", "source"):
                continue
            least_is_zero = one.name.endswith("_share") or one.name == "lead_slack_m"
            if not math.isfinite(value) or value < 0 or (value == 0) > least_is_zero:
                least = "zero or more" if least_is_zero else "above zero"
                raise DomainError(
                    f"The figure “{one.name.replace('_', ' ')}” is {value:g}; it must "
                    f"be {least}."
                )
        if not 0.0 < self.deepest_cut_share < 0.5:
            raise DomainError(
                "A blade cuts less than its radius deep: the deepest cut is a share "
                f"between 0 and 0.5 of its diameter, not {self.deepest_cut_share:g}."
            )
        for step, hours in self.step_hours.items():
            if not (math.isfinite(hours) and hours >= 0):
                raise DomainError(
                    f"The crew hours of {WorkStep(step)} are {hours:g}; they must be "
                    "zero or more."
                )


@dataclass(frozen=True)
class QuantityLine:
    """One line of the quantities.

    Attributes
    ----------
    key
        Its name in exports.
    name
        What it is, by no supplier's name.
    amount
        With its waste; None when a figure it needs is missing, which ``basis`` tells.
    unit
        "m", "L", "kit", "each" or "crew h"; ``kind`` where people's units differ.
    step
        The step of the work that takes it.
    basis
        What it was reckoned from, in a sentence.
    waste_share
        Share added for waste, 0.1 for 10 %; already in ``amount``.
    is_material
        Belongs on the pick list; cuts and hours do not.
    """

    key: str
    name: str
    amount: float | None
    unit: str
    step: WorkStep
    basis: str
    waste_share: float = 0.0
    kind: Kind | None = None
    is_material: bool = True


class Driver(StrEnum):
    """What the time of a step grows with."""

    ARRAY = "array"
    SAW_M = "metre of saw cut"
    SENSOR = "sensor or plate"
    LEAD = "lead"
    HOLE = "exit hole"


@dataclass(frozen=True)
class StepPlan:
    """How long one step takes and what it waits for.

    Attributes
    ----------
    fixed_h, each_h
        Crew hours for the array, and for each of what ``driver`` counts.
    people
        People on it at once, as far as the crew has them.
    after
        Steps that have to be finished first.
    holds_lane
        It is done while the lane is closed; bench work is not.
    """

    step: WorkStep
    fixed_h: float
    each_h: float
    driver: Driver
    people: int
    after: tuple[WorkStep, ...]
    holds_lane: bool = True


@dataclass(frozen=True)
class ScheduledStep:
    """One step in time: crew hours, and hours from the start of the closure."""

    step: WorkStep
    crew_hours: float
    start_h: float
    end_h: float
    is_critical: bool
    holds_lane: bool


@dataclass(frozen=True)
class ClosurePlan:
    """The work in time.

    ``hours`` is None when a quantity that it grows with is missing; ``critical`` is
    the chain of steps that makes it that long.
    """

    hours: float | None
    steps: tuple[ScheduledStep, ...]
    critical: tuple[WorkStep, ...]
    judgement: Judgement
    sentence: str


@dataclass(frozen=True)
class Takeoff:
    """Quantities of an array.

    Attributes
    ----------
    lines
        In the order of the work.
    leads
        Each sensor's lead against the maker's longest.
    missing
        Figures that a line had to do without.
    """

    lines: tuple[QuantityLine, ...]
    leads: tuple[Judgement, ...]
    missing: tuple[Complaint, ...]

    @property
    def pick_list(self) -> tuple[QuantityLine, ...]:
        """What has to be on the truck."""
        return tuple(line for line in self.lines if line.is_material)

    def amount(self, key: str) -> float | None:
        """Amount of the line with this key; None without one, or without data."""
        return next((line.amount for line in self.lines if line.key == key), None)
