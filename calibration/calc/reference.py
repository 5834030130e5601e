"""The reference weight of a test vehicle, from what the static scale showed.

Readings of each axle, of each group and of the whole vehicle are averaged; the group
weighed at once goes before the sum of its axles, and the vehicle weighed at once before
the sum of everything. Parts are then made to close on the whole by one ratio:

    axle = mean of the axle · (mean gross weighed at once / sum of the means)

ASTM E1318 asks that axle loads be the means of repeated weighings; that its adjustment
is this plain proportional one is from memory, not checked against the document.

Uncertainty by the GUM (JCGM 100:2008): the inputs are the means; their spread over √n
and the display's step are independent of each other, the scale's own error is the same
for all loads of one scale and so adds up linearly in a sum of axles (GUM 5.2.2). Each
result is a smooth function of the means, so its sensitivities are its derivatives. The
display's step counts once for a mean, not over √n: readings that agree to the step
share its rounding.

Every part of this is common to all runs held against the weighing, so no number of runs
averages it away; ``reference_bias`` carries it into the errors.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.calc.axle_groups import GROUP_LIMIT_M, group_axles
from calibration.calc.fuel import hours_between, share_of_burn
from calibration.calc.reference_checks import (
    group_or_axles,
    reading_complaints,
    way_of_closing,
)
from calibration.calc.reference_types import (
    FuelBurn,
    ReferenceWeight,
    Scale,
    ScaleReading,
    VehicleReference,
)
from calibration.calc.standards.values import FROM_MEMORY
from calibration.calc.types import FloatArray
from calibration.calc.uncertainty import Component, combined, effective_df
from wimprog.lib.errors import UnreadableInput
from wimprog.lib.units import Kind, UnitSystem, format_si

Part = tuple[int, ...]
Formula = Callable[[NDArray[np.complex128]], complex]

FROM_REPETITION = "repeated weighings"
FROM_RESOLUTION = "display's step"
FROM_SCALE = "scale"
FROM_PLACING = "placing the vehicle"
"""Names of the sources of uncertainty."""

CLOSING_RULE = (
    "Axles and groups are multiplied by gross weight weighed at once over the sum of "
    "the parts (ASTM E1318)."
)
CLOSING_STANDING = FROM_MEMORY
"""The rule by which parts close on the whole, and how sure it is."""

CLOSING_K = 2.0
"""Gross and sum of axles are said not to close beyond this many standard
uncertainties (common practice, no source)."""


@dataclass(frozen=True)
class RepeatSpread:
    """A spread of repeated weighings known from elsewhere.

    For a vehicle weighed once: the scale's own record of repeated weighings.

    Attributes
    ----------
    sd_kg
        Standard deviation of single readings [kg].
    df
        Its degrees of freedom.
    """

    sd_kg: float
    df: float = math.inf


@dataclass(frozen=True)
class _Input:
    """Mean of the readings of one part."""

    part: Part
    mean_kg: float
    n: int
    sd_kg: float | None


def reference_weights(
    name: str,
    readings: Sequence[ScaleReading],
    scale: Scale,
    *,
    axle_spacings_m: Sequence[float],
    fuel: FuelBurn | None = None,
    repositioning_kg: float = 0.0,
    spread: RepeatSpread | None = None,
    group_limit_m: float = GROUP_LIMIT_M,
    unit_system: UnitSystem = UnitSystem.SI,
) -> VehicleReference:
    """Reference weights of a vehicle's axles, groups and whole, with uncertainty.

    Parameters
    ----------
    name
        The vehicle's name.
    readings
        What the scale showed, in any order: axles one by one, groups, the whole
        vehicle, each as often as it was weighed. A vehicle drawn from traffic is
        usually weighed once.
    scale
        The scale they were all taken on.
    axle_spacings_m
        Axle spacings [m], which say what stands in a group.
    fuel
        Burn between readings; with their times each is brought to their mean time.
    repositioning_kg
        Standard uncertainty [kg] of how the vehicle stood, for readings repeated
        without driving off; added to every mean, not averaged.
    spread
        Spread of single readings to use for parts weighed once.
    group_limit_m
        Widest distance [m] between neighbouring axles of one group.
    unit_system
        Units of the notes.

    Returns
    -------
    VehicleReference
        Holding for the mean time of the readings.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When a reading is no weight, or the readings do not make up the vehicle.

    References
    ----------
    JCGM 100:2008 (GUM), 4.2, 4.3, 5.1, 5.2 and G.4.
    """
    n_axles = len(axle_spacings_m) + 1
    groups = group_axles(axle_spacings_m, group_limit_m=group_limit_m).groups
    complaints = reading_complaints(name, readings, groups, n_axles)
    if complaints:
        raise UnreadableInput("The static weighing cannot be used.", tuple(complaints))
    at = _mean_time(readings)
    inputs = _inputs(readings, fuel, at)
    everything: Part = tuple(range(n_axles))
    base = way_of_closing(set(inputs), groups, n_axles)
    order = {part: place for place, part in enumerate(inputs)}
    formulas = _formulas(order, base, groups, everything)
    budget = _Budget(tuple(inputs.values()), scale, repositioning_kg, spread)
    found = {
        part: budget.weigh(part, formula, inputs.get(part))
        for part, formula in formulas.items()
    }
    return VehicleReference(
        name=name,
        at=at,
        axles=tuple(found[(axle,)] for axle in everything if (axle,) in found),
        groups=tuple(found[group] for group in groups if group in found),
        gross=found[everything],
        closing_ratio=(
            inputs[everything].mean_kg / sum(inputs[part].mean_kg for part in base)
            if everything in inputs and base != (everything,)
            else None
        ),
        scale=scale,
        notes=budget.notes(base, everything, unit_system),
    )


def _mean_time(readings: Sequence[ScaleReading]) -> dt.datetime | None:
    times = [one.time for one in readings if one.time is not None]
    if len(times) < len(readings):
        return None
    first = min(times)
    return first + sum((time - first for time in times), dt.timedelta()) / len(times)


def _inputs(
    readings: Sequence[ScaleReading], fuel: FuelBurn | None, at: dt.datetime | None
) -> dict[Part, _Input]:
    """Means by part, each reading brought to the common time first."""
    by_part: dict[Part, list[ScaleReading]] = {}
    for one in readings:
        by_part.setdefault(tuple(sorted(one.axles)), []).append(one)
    widest = max(by_part, key=len)
    whole_kg = sum(one.load_kg for one in by_part[widest]) / len(by_part[widest])
    found = {}
    for part, own in by_part.items():
        loads = np.array([one.load_kg for one in own])
        if fuel is not None and at is not None:
            share = share_of_burn(fuel, part, float(loads.mean()) / whole_kg)
            hours = [hours_between(at, one.time) for one in own if one.time is not None]
            loads = loads + share * np.array([fuel.burnt_kg(h) for h in hours])
        sd = float(loads.std(ddof=1)) if loads.size > 1 else None
        found[part] = _Input(part, float(loads.mean()), loads.size, sd)
    return found


def _formulas(
    order: dict[Part, int],
    base: tuple[Part, ...],
    groups: tuple[Part, ...],
    everything: Part,
) -> dict[Part, Formula]:
    """Each result as a function of the means: ratios and sums only."""

    def raw(part: Part) -> Formula:
        return lambda x: complex(x[order[part]])

    total = _sum_of([raw(part) for part in base])
    gross = raw(everything) if everything in order else total

    def closed(one: Formula) -> Formula:
        return lambda x: one(x) * gross(x) / total(x)

    found: dict[Part, Formula] = {}
    for part in base:
        found[part] = closed(raw(part))
        alone = [(axle,) for axle in part if (axle,) in order]
        if len(part) > 1 and len(alone) == len(part):
            together = _sum_of([raw(axle) for axle in alone])
            for axle in alone:
                found[axle] = _within(raw(axle), together, found[part])
    for group in groups:
        members = group_or_axles(group, base)
        if group not in found and sum(map(len, members)) == len(group):
            found[group] = _sum_of([found[one] for one in members])
    found[everything] = gross
    return found


def _within(axle: Formula, together: Formula, whole: Formula) -> Formula:
    return lambda x: axle(x) / together(x) * whole(x)


def _sum_of(members: list[Formula]) -> Formula:
    return lambda x: sum(one(x) for one in members)


@dataclass(frozen=True)
class _Budget:
    """The inputs and where their uncertainty comes from."""

    inputs: tuple[_Input, ...]
    scale: Scale
    repositioning_kg: float
    spread: RepeatSpread | None

    @property
    def means(self) -> FloatArray:
        return np.array([one.mean_kg for one in self.inputs])

    def repetition(self, one: _Input) -> Component:
        if one.sd_kg is not None:
            u, df = one.sd_kg / math.sqrt(one.n), float(one.n - 1)
        elif self.spread is not None:
            u, df = self.spread.sd_kg, self.spread.df
        else:
            u, df = 0.0, math.inf
        return Component(FROM_REPETITION, u, df)

    def sensitivities(self, formula: Formula) -> FloatArray:
        """Derivatives by each mean, exact: the complex step."""
        step = 1e-20
        found = []
        for place in range(len(self.inputs)):
            x = self.means.astype(complex)
            x[place] += 1j * step
            found.append(formula(x).imag / step)
        return np.array(found)

    def components(self, formula: Formula) -> tuple[Component, ...]:
        c = self.sensitivities(formula)
        single = [self.repetition(one) for one in self.inputs]
        repeated = [
            replace(one, u=abs(weight) * one.u)
            for one, weight in zip(single, c, strict=True)
        ]
        u_scale = c * np.array([self.scale.u_kg(one.mean_kg) for one in self.inputs])
        r = self.scale.correlation
        scale = math.sqrt(r * u_scale.sum() ** 2 + (1.0 - r) * float(u_scale @ u_scale))
        size = float(np.linalg.norm(c))
        found = (
            Component(
                FROM_REPETITION,
                combined(one.u for one in repeated),
                effective_df(repeated),
            ),
            Component(FROM_RESOLUTION, size * self.scale.resolution_kg / math.sqrt(12)),
            Component(FROM_PLACING, size * self.repositioning_kg),
            Component(FROM_SCALE, scale, self.scale.df, is_shared=True),
        )
        return tuple(one for one in found if one.u > 0.0)

    def weigh(
        self, part: Part, formula: Formula, own: _Input | None
    ) -> ReferenceWeight:
        means = {one.part: one for one in self.inputs}
        used = [own] if own else [means[one] for one in group_or_axles(part, means)]
        return ReferenceWeight(
            part=part_name(part, max(max(one.part) for one in self.inputs) + 1),
            axles=part,
            load_kg=formula(self.means.astype(complex)).real,
            as_weighed_kg=sum(one.mean_kg for one in used),
            n=min(one.n for one in used),
            sd_kg=own.sd_kg if own else None,
            components=self.components(formula),
        )

    def notes(
        self, base: tuple[Part, ...], everything: Part, unit_system: UnitSystem
    ) -> tuple[str, ...]:
        found = []
        once = [one for one in self.inputs if one.n == 1]
        if once and self.spread is None:
            names = ", ".join(part_name(one.part, len(everything)) for one in once)
            found.append(
                f"Weighed once: {names}. No spread of repeated weighings is known, so "
                "the uncertainty leaves it out and is too small."
            )
        order = {one.part: place for place, one in enumerate(self.inputs)}
        if everything in order and base != (everything,):
            found += self._closing(base, order, everything, unit_system)
        return tuple(found)

    def _closing(
        self,
        base: tuple[Part, ...],
        order: dict[Part, int],
        everything: Part,
        unit_system: UnitSystem,
    ) -> list[str]:
        used = [order[part] for part in base]

        def gap(x: NDArray[np.complex128]) -> complex:
            return complex(x[order[everything]] - x[used].sum())

        gap_kg = gap(self.means.astype(complex)).real
        u = combined(one.u for one in self.components(gap))
        if abs(gap_kg) <= CLOSING_K * u:
            return []
        gap_told, explained = (
            format_si(x, Kind.MASS, unit_system) for x in (abs(gap_kg), CLOSING_K * u)
        )
        return [
            "The sum of the parts and the gross weight weighed at once are "
            f"{gap_told} apart; their uncertainty explains {explained}. Look for "
            "approaches that are not level with the scale, brakes held on, or a load "
            "that moved."
        ]


def part_name(part: Part, n_axles: int) -> str:
    """Name of a part as the errors name it.

    >>> part_name((1, 2), 5), part_name((0,), 5), part_name((0, 1), 2)
    ('axles 2–3', 'axle 1', 'whole vehicle')
    """
    if len(part) == n_axles:
        return "whole vehicle"
    if len(part) == 1:
        return f"axle {part[0] + 1}"
    return f"axles {part[0] + 1}–{part[-1] + 1}"
