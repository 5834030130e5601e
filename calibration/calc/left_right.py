"""Left against right, run by run: for the chart of a session and for what drifts in it.

``wheel_loads`` has each vehicle's balance over its runs; here each run stands for
itself. The imbalance of a run judges nothing by itself: a static axle is seldom even.
What says something about the lane is how far the left errors lie from the right ones,
the vehicle's own imbalance taken out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.calc.statistics import mean_interval
from calibration.calc.types import FloatArray, Quantity, RunErrors
from calibration.calc.wheel_loads import SIDES, imbalance_pct
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number


@dataclass(frozen=True, eq=False)
class RunImbalance:
    """Left less right of one run.

    Attributes
    ----------
    run, vehicle
        Where it is from.
    axles_pct
        Imbalance of each axle [% of the axle load], shape (n_axles,).
    whole_pct
        Imbalance of the whole vehicle [% of its load].
    static_pct
        The vehicle's own, from its static wheel loads [%]; None where none were taken.
    """

    run: str
    vehicle: str
    axles_pct: FloatArray
    whole_pct: float
    static_pct: float | None

    @property
    def departure_pct(self) -> float | None:
        """Measured less static [percentage points]; None without static wheels."""
        return None if self.static_pct is None else self.whole_pct - self.static_pct


@dataclass(frozen=True)
class SideDifference:
    """How far the left half of the lane weighs from the right half.

    Attributes
    ----------
    value
        Mean over the runs of left error less right error [percentage points].
    interval
        Student interval over the runs, for these trucks; None for one run.
    n
        Number of runs.
    sentence
        In words.
    """

    value: float
    interval: Interval | None
    n: int
    sentence: str

    @property
    def is_shown(self) -> bool:
        """Does the interval leave out 0?"""
        return self.interval is not None and not (
            self.interval.low <= 0.0 <= self.interval.high
        )


def imbalance_by_run(errors: RunErrors) -> tuple[RunImbalance, ...]:
    """Imbalance of each run that has wheel loads, in the order of the runs.

    Parameters
    ----------
    errors
        Errors with their runs and weighings.

    Returns
    -------
    tuple of RunImbalance
        Empty where the lane weighs whole axles.
    """
    static = {
        one.name: float(imbalance_pct(*np.array(one.wheel_weights_kg).sum(axis=0)))
        for one in errors.references
        if one.wheel_weights_kg
    }
    found = []
    for run in errors.runs:
        if not run.wheel_weights_kg:
            continue
        loads = np.array(run.wheel_weights_kg, dtype=float)
        found.append(
            RunImbalance(
                run=run.run,
                vehicle=run.vehicle,
                axles_pct=imbalance_pct(loads[:, 0], loads[:, 1]),
                whole_pct=float(imbalance_pct(*loads.sum(axis=0))),
                static_pct=static.get(run.vehicle),
            )
        )
    return tuple(found)


def side_difference(errors: RunErrors, *, level: float = 0.95) -> SideDifference | None:
    """Whether the two halves of the lane weigh differently.

    Parameters
    ----------
    errors
        Errors with wheel loads compared.
    level
        Level of the interval.

    Returns
    -------
    SideDifference or None
        None where no wheels were compared.
    """
    wheels = errors[Quantity.WHEEL]
    if wheels.n == 0:
        return None
    names, of_run = np.unique(np.array(wheels.runs), return_inverse=True)
    means = []
    for side in SIDES:
        mine = np.array([part.endswith(side) for part in wheels.parts], dtype=bool)
        sums = np.bincount(of_run[mine], wheels.errors[mine], minlength=names.size)
        means.append(sums / np.bincount(of_run[mine], minlength=names.size))
    off = means[0] - means[1]
    n, value = off.size, float(off.mean())
    interval = None
    if n > 1:
        sd = float(off.std(ddof=1))
        interval = Interval(*mean_interval(value, sd, n, level=level), level)
    found = SideDifference(value, interval, n, "")
    return SideDifference(value, interval, n, _sentence(found))


def _sentence(found: SideDifference) -> str:
    if found.interval is None or math.isnan(found.value):
        return "One run shows nothing about how left and right differ."
    word = "higher" if found.value > 0 else "lower"
    span = (
        f"(n {found.n}, {found.interval.level * 100:g} % interval "
        f"{format_number(found.interval.low, 2)} to "
        f"{format_number(found.interval.high, 2)})"
    )
    size = f"{format_number(abs(found.value), 2)} percentage points {word}"
    if found.is_shown:
        return f"The left half weighs {size} than the right {span}."
    return f"No difference of left and right is shown: left {size} {span}."
