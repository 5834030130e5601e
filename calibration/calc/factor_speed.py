"""Factors by speed point, where the runs show that speed matters.

Each point needs runs enough, and the F test of the points, with each truck's own level
beside them, must show an effect; otherwise one factor serves every speed, and why is
said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.calc.effects import MIN_SPEED_SPAN_KMH
from calibration.calc.factor_types import (
    FactorEstimate,
    FactorMethod,
    SpeedFactors,
    SpeedPoint,
)
from calibration.calc.factors import ALL_AXLES, References, estimate_factor
from calibration.calc.least_squares import (
    FTest,
    fit,
    indicators,
    is_estimable,
    nested_f,
)
from calibration.calc.types import FloatArray, QuantityErrors
from wimprog.lib.units import Kind, UnitSystem, format_number, format_si

MIN_RUNS_AT_SPEED = 3
"""Fewest runs at a speed point to give it a factor of its own (common practice, no
source)."""

SPEED_GAP_KMH = 8.0
"""Runs further apart than this belong to different speed points (5 mph)."""


def speed_points(
    speed_kmh: FloatArray, *, gap_kmh: float = SPEED_GAP_KMH
) -> tuple[float, ...]:
    """Speed points that the runs were driven at: means of what lies together.

    Speeds without gaps (vehicles from traffic) are parted evenly, so that no point
    stands for more than twice the gap.

    Parameters
    ----------
    speed_kmh
        Speeds [km/h], shape (n,).
    gap_kmh
        Neighbours further apart than this part two points.

    Examples
    --------
    >>> speed_points(np.array([80.0, 50.0, 52.0, 81.0]))
    (51.0, 80.5)
    """
    ordered = np.sort(speed_kmh)
    found: list[float] = []
    for part in np.split(ordered, np.flatnonzero(np.diff(ordered) > gap_kmh) + 1):
        if part.size:
            pieces = max(1, math.ceil(float(np.ptp(part)) / (2.0 * gap_kmh)))
            edges = np.linspace(part[0], part[-1], pieces + 1)[1:-1]
            split = np.split(part, np.searchsorted(part, edges))
            found += [float(piece.mean()) for piece in split if piece.size]
    return tuple(found)


def nearest_point(
    speed_kmh: FloatArray, points_kmh: Sequence[float]
) -> NDArray[np.intp]:
    """Index of the nearest speed point of each run.

    Parameters
    ----------
    speed_kmh
        Speeds [km/h], shape (n,).
    points_kmh
        Speed points [km/h].

    Returns
    -------
    ndarray
        Shape (n,).
    """
    away = np.abs(speed_kmh[:, np.newaxis] - np.array(points_kmh))
    found: NDArray[np.intp] = np.argmin(away, axis=1)
    return found


def factors_by_speed(
    gross_weight: QuantityErrors,
    speed_kmh: FloatArray,
    *,
    points_kmh: Sequence[float] | None = None,
    method: FactorMethod = FactorMethod.RATIO_OF_SUMS,
    references: References | None = None,
    level: float = 0.95,
    unit_system: UnitSystem = UnitSystem.SI,
) -> SpeedFactors:
    """Factors by speed point, where the runs show that speed matters.

    Parameters
    ----------
    gross_weight
        Errors of gross weight, shape (n,).
    speed_kmh
        Speed of each [km/h], shape (n,); NaN where not recorded.
    points_kmh
        The controller's speed points [km/h], in rising order; None takes those that
        the runs were driven at.
    method, references, level
        As for :func:`estimate_factor`.
    unit_system
        Units of labels and sentences; everything else stays SI.

    Returns
    -------
    SpeedFactors
        One factor, and why, where a point has fewer than three runs, speed cannot be
        told from the truck, or its effect is not shown.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs.
    """

    def estimate(errors: QuantityErrors, label: str = ALL_AXLES) -> FactorEstimate:
        return estimate_factor(
            errors, method=method, references=references, label=label, level=level
        )

    overall = estimate(gross_weight)
    if not np.all(np.isfinite(speed_kmh)):
        missing = int(np.count_nonzero(~np.isfinite(speed_kmh)))
        why = f"One factor: {missing} of {gross_weight.n} runs have no speed."
        return SpeedFactors((), overall, None, False, why)
    points = tuple(points_kmh) if points_kmh else speed_points(speed_kmh)
    at = nearest_point(speed_kmh, points)
    counts = np.bincount(at, minlength=len(points))
    told = [format_si(speed, Kind.SPEED, unit_system, digits=0) for speed in points]
    why = _too_thin(points, told, counts)
    test = None
    if not why:
        test = _speed_test(gross_weight, at, len(points))
        why = _not_shown(test, level)
    if why:
        return SpeedFactors((), overall, test, False, f"One factor: {why}")
    found = tuple(
        SpeedPoint(speed, estimate(gross_weight.where(at == place), told[place]))
        for place, speed in enumerate(points)
    )
    f = format_number(test.f, 2) if test else ""
    return SpeedFactors(
        found, overall, test, True, f"By speed: the effect of speed is shown (F {f})."
    )


def _too_thin(
    points: Sequence[float], told: Sequence[str], counts: NDArray[np.intp]
) -> str:
    if len(points) < 2 or points[-1] - points[0] < MIN_SPEED_SPAN_KMH:
        return "the runs were driven at one speed."
    thin = [
        f"{speed} has {count}"
        for speed, count in zip(told, counts, strict=True)
        if count < MIN_RUNS_AT_SPEED
    ]
    if not thin:
        return ""
    return f"{', '.join(thin)}; a speed point needs {MIN_RUNS_AT_SPEED} runs."


def _speed_test(
    gross_weight: QuantityErrors, at: NDArray[np.intp], n_points: int
) -> FTest | None:
    """F test of speed points beside the vehicles' own levels."""
    names = list(dict.fromkeys(gross_weight.vehicles))
    base = indicators(gross_weight.vehicles, names)
    steps = indicators([str(p) for p in at], [str(p) for p in range(1, n_points)])
    design = np.column_stack([base, steps])
    if not is_estimable(design) or design.shape[0] <= design.shape[1]:
        return None
    return nested_f(fit(design, gross_weight.errors), fit(base, gross_weight.errors))


def _not_shown(test: FTest | None, level: float) -> str:
    if test is None:
        return "speed cannot be told from the truck; drive each truck at each speed."
    if test.p < 1.0 - level:
        return ""
    return (
        f"an effect of speed is not shown (F {format_number(test.f, 2)}, p "
        f"{format_number(test.p, 3)})."
    )
