"""Runs with what they were driven under, and what that is found to do to the errors.

Where a quantity has several errors a run (axles, groups), the run's mean stands for it:
errors of one pass are not independent of each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.calc.least_squares import FTest
from calibration.calc.types import FloatArray, LanePosition, Quantity, RunErrors
from wimprog.lib.judgement import Interval


@dataclass(frozen=True, eq=False)
class RunTable:
    """One error for each run and what it was driven under.

    Attributes
    ----------
    quantity
        What the errors are errors of; the mean of the run's where it has several.
    errors
        Shape (n,), in ``quantity.unit``.
    runs, vehicles
        Label and vehicle of each run.
    speed_kmh, temperature_c
        Shape (n,); NaN where not recorded.
    places
        Place in the lane; None where not recorded.
    """

    quantity: Quantity
    errors: FloatArray
    runs: tuple[str, ...]
    vehicles: tuple[str, ...]
    speed_kmh: FloatArray
    temperature_c: FloatArray
    places: tuple[LanePosition | None, ...]

    @property
    def n(self) -> int:
        """Number of runs."""
        return len(self.runs)

    def where(self, keep: NDArray[np.bool_]) -> RunTable:
        """Only the runs that ``keep`` (shape (n,)) marks."""
        chosen = np.flatnonzero(keep)
        return RunTable(
            quantity=self.quantity,
            errors=self.errors[chosen],
            runs=tuple(self.runs[i] for i in chosen),
            vehicles=tuple(self.vehicles[i] for i in chosen),
            speed_kmh=self.speed_kmh[chosen],
            temperature_c=self.temperature_c[chosen],
            places=tuple(self.places[i] for i in chosen),
        )


@dataclass(frozen=True)
class Estimate:
    """One number of an effect.

    Attributes
    ----------
    label
        What it is ("per 10 km/h", "left against centre", a vehicle's name).
    value
        The estimate, in the errors' unit.
    interval
        Its Student interval.
    """

    label: str
    value: float
    interval: Interval


@dataclass(frozen=True)
class Effect:
    """One term of the model.

    Attributes
    ----------
    name
        "speed", "pavement temperature", "lane position" or "vehicle".
    estimates
        Slope, steps, or the level of each vehicle at the mean of the other terms.
    test
        F test of leaving the term out.
    is_shown
        Is p below 1 − level?
    inflation
        Variance inflation of a slope; None for steps.
    sentence
        The term for people, with n and interval.
    """

    name: str
    estimates: tuple[Estimate, ...]
    test: FTest
    is_shown: bool
    inflation: float | None
    sentence: str


@dataclass(frozen=True, eq=False)
class Effects:
    """All that the runs show of effects.

    Attributes
    ----------
    n
        Runs in the model.
    effects
        The terms that could be looked for.
    refusals
        Name of each term that could not, and why.
    notes
        Runs left out, and effects that cannot be told apart.
    residual_sd
        Spread that the model leaves, in the errors' unit; None without a model.
    residuals
        What it leaves of each run: {run: residual}.
    """

    n: int
    effects: tuple[Effect, ...]
    refusals: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    residual_sd: float | None
    residuals: dict[str, float] = field(default_factory=dict, repr=False)

    def of(self, name: str) -> Effect | None:
        """One term by its name; None where it could not be looked for."""
        return next((one for one in self.effects if one.name == name), None)


def run_table(
    errors: RunErrors, quantity: Quantity = Quantity.GROSS_WEIGHT
) -> RunTable:
    """One error a run with what it was driven under.

    Parameters
    ----------
    errors
        Errors with their runs.
    quantity
        Whose errors; where a run has several, their mean stands for it.

    Returns
    -------
    RunTable
        Speeds are those of the independent instrument where there is one.
    """
    source = errors[quantity]
    by_run: dict[str, list[float]] = {}
    for run, error in zip(source.runs, source.errors, strict=True):
        by_run.setdefault(run, []).append(float(error))
    used = [run for run in errors.runs if run.run in by_run]
    speeds = [
        run.speed_kmh if run.reference_speed_kmh is None else run.reference_speed_kmh
        for run in used
    ]
    return RunTable(
        quantity=quantity,
        errors=np.array([float(np.mean(by_run[run.run])) for run in used]),
        runs=tuple(run.run for run in used),
        vehicles=tuple(run.vehicle for run in used),
        speed_kmh=np.array([math.nan if s is None else s for s in speeds]),
        temperature_c=np.array(
            [math.nan if r.pavement_temp_c is None else r.pavement_temp_c for r in used]
        ),
        places=tuple(run.lane_position for run in used),
    )
