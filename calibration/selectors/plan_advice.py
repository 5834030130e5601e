"""What a standard asks of a test, and whether a plan does it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calibration.calc.types import LanePosition, TestPlan
from calibration.models import SessionPlan
from wimprog.lib.units import Kind, UnitSystem, format_si

if TYPE_CHECKING:
    from calibration.calc.standards.base import (
        Conditions,
        ToleranceStandard,
        ValuesInUse,
    )

FROM_MEMORY = "from memory: not checked against the document"


@dataclass(frozen=True)
class Advice:
    """One thing that a standard asks of a test, and whether the plan does it.

    ``is_followed`` is None where the plan cannot tell.
    """

    text: str
    standing: str
    planned: str
    is_followed: bool | None

    @property
    def word(self) -> str:
        """Condition word: sound, watch, or no data where the plan cannot tell."""
        if self.is_followed is None:
            return "no data"
        return "sound" if self.is_followed else "watch"

    @property
    def answer(self) -> str:
        """The same for people."""
        if self.is_followed is None:
            return "cannot tell"
        return "planned" if self.is_followed else "not planned"


def blocks_of(plan: SessionPlan) -> list[str]:
    """The temperature blocks in order; one without a name where none are named."""
    named = [part.strip() for part in re.split(r"[,;]", plan.pavement_temps)]
    return [part for part in named if part] or [""]


def advice_of(
    plan: SessionPlan,
    vehicles: Sequence[Any],
    standard: ToleranceStandard,
    conditions: Conditions,
) -> tuple[Advice, ...]:
    """What the plan's standard asks of a test, each with its standing."""
    from calibration.calc.standards.base import values_in_use

    values = values_in_use(standard, conditions)
    found = [*_counts(plan, len(vehicles), standard, values)]
    if standard.key == "astm-e1318":
        found += _e1318(plan, vehicles, conditions, values)
    elif standard.key == "ltpp":
        found += _ltpp(plan, values)
    elif standard.key == "cost-323":
        found.append(_cost_323(plan, len(vehicles)))
    return tuple(found)


def _counts(
    plan: SessionPlan, n_vehicles: int, standard: ToleranceStandard, values: ValuesInUse
) -> list[Advice]:
    """Vehicles and runs, from whichever of the standard's values say them."""
    from calibration.calc.standards.base import MIN_RUNS, editable_values

    keys = {one.key for one in editable_values(standard)}
    n_runs = plan.runs_per_vehicle * n_vehicles
    found = []
    for key in keys & {"advised_vehicles", "vehicles"}:
        wanted = int(values[key])
        found.append(
            Advice(
                f"At least {wanted} vehicles",
                values.standing(key),
                f"{n_vehicles}",
                n_vehicles >= wanted,
            )
        )
    if "advised_runs" in keys:
        wanted = int(values["advised_runs"])
        found.append(
            Advice(
                f"At least {wanted} runs in all",
                values.standing("advised_runs"),
                f"{n_runs}",
                n_runs >= wanted,
            )
        )
    if "runs_of_each" in keys:
        wanted = int(values["runs_of_each"])
        found.append(
            Advice(
                f"At least {wanted} runs of each vehicle",
                values.standing("runs_of_each"),
                f"{plan.runs_per_vehicle}",
                plan.runs_per_vehicle >= wanted,
            )
        )
    found.append(
        Advice(
            f"At least {MIN_RUNS} runs, below which no class is said to be met here",
            "the program’s own rule, after the documents’ smallest tests",
            f"{n_runs}",
            n_runs >= MIN_RUNS,
        )
    )
    return found


def _e1318(
    plan: SessionPlan,
    vehicles: Sequence[Any],
    conditions: Conditions,
    values: ValuesInUse,
) -> list[Advice]:
    """Speeds, places in the lane and makes of vehicle (section 7)."""
    from calibration.calc.run_schedule import E1318_RUNS_AT_SPEED
    from calibration.calc.standards.astm_e1318_table import speeds_of_use_kmh

    system = conditions.unit_system
    is_us = system is UnitSystem.US
    unit = "mph" if is_us else "kmh"
    stem = "type_iv_speed" if plan.wanted_class == "Type IV" else "speed"
    keys = (f"{stem}_low_{unit}", f"{stem}_high_{unit}")
    low, high, told = speeds_of_use_kmh(plan.wanted_class, system, values)
    speeds = plan.speeds_kmh
    each = plan.runs_per_vehicle // max(len(speeds), 1)
    step = "5 mph" if is_us else "8 km/h"
    shown = ", ".join(format_si(v, Kind.SPEED, system) for v in speeds)
    has_edges = LanePosition.LEFT.value in plan.lane_positions
    classes = {one.vehicle_class for one in vehicles}
    return [
        Advice(
            f"Two speeds: about {step} above the lowest and about {step} below the "
            "highest at the site",
            FROM_MEMORY,
            shown,
            len(speeds) >= 2,
        ),
        Advice(
            f"At least {E1318_RUNS_AT_SPEED} runs of each vehicle at either speed",
            FROM_MEMORY,
            f"{each} at each speed",
            each >= E1318_RUNS_AT_SPEED,
        ),
        Advice(
            f"Speeds of use: {told}",
            values.standing(*keys),
            shown,
            all(low - 1e-6 <= one <= high + 1e-6 for one in speeds),
        ),
        Advice(
            "At each speed one run of each vehicle near the left edge of the lane and "
            "one near the right, the rest in the centre",
            FROM_MEMORY,
            "near both edges" if has_edges else "centre only",
            has_edges,
        ),
        Advice(
            "A five-axle tractor and semitrailer (class 9), and a vehicle of another "
            "body type",
            FROM_MEMORY,
            ", ".join(f"class {one}" for one in sorted(classes)) or "none",
            9 in classes and len(classes) >= 2,
        ),
    ]


def _ltpp(plan: SessionPlan, values: ValuesInUse) -> list[Advice]:
    wanted, blocks = int(values["speed_bins"]), [b for b in blocks_of(plan) if b]
    return [
        Advice(
            f"At least {wanted} speeds across the site’s usual ones",
            values.standing("speed_bins"),
            f"{len(plan.speeds_kmh)}",
            len(plan.speeds_kmh) >= wanted,
        ),
        Advice(
            f"Pavement temperatures that span {values.shown('temperature_span')} or "
            "more",
            values.standing("temperature_span"),
            ", ".join(blocks) or "no blocks of the day named",
            None if len(blocks) >= 2 else False,
        ),
    ]


def _cost_323(plan: SessionPlan, n_vehicles: int) -> Advice:
    """Whether the number of vehicles fits the test conditions chosen."""
    chosen = TestPlan(plan.plan)
    fits = {
        TestPlan.FULL_REPEATABILITY: n_vehicles == 1,
        TestPlan.EXTENDED_REPEATABILITY: n_vehicles == 1,
        TestPlan.LIMITED_REPRODUCIBILITY: 2 <= n_vehicles <= 10,
        TestPlan.FULL_REPRODUCIBILITY: n_vehicles > 10,
    }
    return Advice(
        f"Test conditions {chosen.value}: {chosen.meaning}",
        FROM_MEMORY,
        f"{n_vehicles} {'vehicle' if n_vehicles == 1 else 'vehicles'}",
        fits[chosen],
    )
