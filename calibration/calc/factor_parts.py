"""Factors by axle, by side and by sensor, and whether they differ at all.

Whether one axle or sensor weighs differently is judged within runs: its error less the
run's mean error, so that what the pass has in common (bounce, speed, the truck) falls
out. Where no difference is shown, one factor serves all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from calibration.calc.factor_types import Departure, FactorMethod, SeparateFactors
from calibration.calc.factors import References, estimate_factor
from calibration.calc.types import Quantity, QuantityErrors, RunErrors
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number


def factors_by_axle(
    errors: RunErrors,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
) -> SeparateFactors:
    """A factor for each axle number, and whether the axles differ.

    Parameters
    ----------
    errors
        Errors of the runs.
    method, references, level
        As for :func:`estimate_factor`; ``references`` of single axles.

    Returns
    -------
    SeparateFactors

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.
    """
    return factors_by_part(
        errors[Quantity.AXLE],
        errors[Quantity.AXLE].parts,
        what="axles",
        method=method,
        references=references,
        level=level,
    )


def factors_by_side(
    errors: RunErrors,
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
) -> SeparateFactors:
    """A factor for the left and the right half of the lane, from wheel loads.

    Parameters
    ----------
    errors
        Errors of the runs, static wheel loads among the weighings.
    method, references, level
        As for :func:`estimate_factor`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When no wheels were compared: half an axle load is no reference for a wheel.
    """
    wheels = errors[Quantity.WHEEL]
    if wheels.n == 0:
        raise DomainError(f"No factors by side. {wheels.why_none}")
    return factors_by_part(
        wheels,
        [part.rpartition(", ")[2] for part in wheels.parts],
        what="sides",
        method=method,
        references=references,
        level=level,
    )


def factors_by_sensor(
    by_sensor: Mapping[str, RunErrors],
    *,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
) -> SeparateFactors:
    """A factor for each sensor, where the controller stored each one's weights.

    Parameters
    ----------
    by_sensor
        For each sensor the errors of the runs as it alone weighed them. Every sensor
        weighs all axles.
    method, references, level
        As for :func:`estimate_factor`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.
    """
    sets = [one[Quantity.GROSS_WEIGHT] for one in by_sensor.values()]
    if not sets:
        raise DomainError("There are no sensors to compute factors for.")
    joined = QuantityErrors(
        quantity=Quantity.GROSS_WEIGHT,
        errors=np.concatenate([one.errors for one in sets]),
        measured=np.concatenate([one.measured for one in sets]),
        reference=np.concatenate([one.reference for one in sets]),
        reference_gvw_kg=np.concatenate([one.reference_gvw_kg for one in sets]),
        runs=tuple(run for one in sets for run in one.runs),
        vehicles=tuple(name for one in sets for name in one.vehicles),
        parts=tuple(part for one in sets for part in one.parts),
    )
    labels = [name for name, one in zip(by_sensor, sets, strict=True) for _ in one.runs]
    return factors_by_part(
        joined,
        labels,
        what="sensors",
        method=method,
        references=references,
        level=level,
    )


def factors_by_part(
    weights_of: QuantityErrors,
    labels: Sequence[str],
    *,
    what: str,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
) -> SeparateFactors:
    """A factor for each label, and whether the labels differ within runs.

    Parameters
    ----------
    weights_of
        Errors of a weight.
    labels
        Axle, side or sensor of each error, length n.
    what
        What the labels are, for the sentence ("axles").
    method, references, level
        As for :func:`estimate_factor`.

    Returns
    -------
    SeparateFactors
        The departure of a label is the mean of its error less the run's mean error;
        its intervals hold together at ``level`` (Bonferroni).

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.
    """
    names = list(dict.fromkeys(labels))
    of_label = np.array(labels)
    estimates = tuple(
        estimate_factor(
            weights_of.where(of_label == name),
            method=method,
            references=references,
            label=name,
            level=level,
        )
        for name in names
    )
    if not estimates:
        raise DomainError("There are no runs to compute factors from.")
    departures = _departures(weights_of, of_label, names, level)
    shown = [one for one in departures if one.is_shown]
    if len(names) < 2:
        why = f"There is only one of the {what}."
    elif shown:
        told = ", ".join(
            f"{one.label} by {format_number(one.value, 2)} points" for one in shown
        )
        why = f"The {what} weigh differently: {told} from the run's mean error."
    else:
        why = f"That the {what} weigh differently is not shown; one factor serves all."
    return SeparateFactors(estimates, departures, bool(shown), why)


def _departures(
    weights_of: QuantityErrors,
    of_label: NDArray[np.str_],
    names: Sequence[str],
    level: float,
) -> tuple[Departure, ...]:
    _, of_run = np.unique(np.array(weights_of.runs), return_inverse=True)
    counts = np.bincount(of_run)
    off = weights_of.errors - (np.bincount(of_run, weights_of.errors) / counts)[of_run]
    together = 1.0 - (1.0 - level) / max(len(names), 1)
    found = []
    for name in names:
        mine = of_label == name
        sums = np.bincount(of_run[mine], off[mine], minlength=counts.size)
        parts = np.bincount(of_run[mine], minlength=counts.size)
        by_run = sums[parts > 0] / parts[parts > 0]
        n, mean = by_run.size, float(by_run.mean())
        interval = None
        if n > 1:
            se = float(by_run.std(ddof=1)) / math.sqrt(n)
            half = float(stats.t.ppf(0.5 + together / 2.0, n - 1)) * se
            interval = Interval(mean - half, mean + half, level)
        found.append(Departure(name, mean, interval, n))
    return tuple(found)
