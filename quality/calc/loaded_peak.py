"""Unloaded and loaded gross weight peaks of five-axle semitrailers.

The gross weights of a reference period are described by three normal components:
unloaded trucks, partly loaded ones, loaded ones. Each week's trucks are followed with
the reference's shape, so that components keep their meaning, and the mean of the loaded
component is the number to look at: in simulation it finds a changed scale sooner than
the histogram's peak, a smoothed histogram's peak or the mean gross weight do, also
where weights are not normal at all (MEASURED_PEAKS.md). A free fit takes its place
where the peaks have changed their shape; a smoothed histogram is a second opinion.

Everything works on counts in steps of 0.25 kip, so weeks are pooled by adding up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quality.calc.mixture_fit import (
    KIP_KG,
    LEAST_SD_KG,
    LEAST_TRUCKS,
    N_STEPS,
    STEP_KG,
    Mixture,
    PeakFit,
    iterate,
    with_errors,
)
from quality.calc.peak_following import follow
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB

METHOD_VERSION = "loaded-peak-1"
SMOOTHING_KG = 1.5 * KIP_KG
"""Standard deviation of the smoothing for the second opinion; own choice: the usual
rule for one peak is far too wide for two."""
PEAK_REACH = 0.2
"""The second opinion looks for its peak within this share of the fitted mean."""
DISAGREEMENT = 0.02
SHAPE_APART = 0.01
"""Share by which the two fits must differ before the shape counts as changed; own
choice, its false rate is in MEASURED_PEAKS.md."""


USUAL = Mixture(
    (0.30, 0.30, 0.40),
    (32.0 * KIP_KG, 54.0 * KIP_KG, 76.0 * KIP_KG),
    (3.5 * KIP_KG, 11.0 * KIP_KG, 4.0 * KIP_KG),
)
"""Where the fit of a reference period starts: peaks in the middle of the bands 28–36
and 72–80 kip (from memory); shares and spreads are our own choice."""


def gross_counts(gvw_kg: np.ndarray) -> np.ndarray:
    """Trucks in steps of 0.25 kip from zero, the last for all that are heavier.

    Parameters
    ----------
    gvw_kg : (n,)
        Gross weights [kg]; unknown and negative ones are not counted.

    Returns
    -------
    int64, (N_STEPS + 1,)
    """
    weights = np.asarray(gvw_kg, dtype=np.float64)
    weights = weights[weights >= 0]
    # whole pounds kept as float32 stay in the step that they open
    place = np.floor(np.rint(weights / KG_PER_LB * 10) / 2500.0)
    return np.bincount(
        np.minimum(place, N_STEPS).astype(np.int64), minlength=N_STEPS + 1
    )


def step_centres_kg() -> np.ndarray:
    """Middle of each step but the last [kg], (N_STEPS,)."""
    return (np.arange(N_STEPS) + 0.5) * STEP_KG


def fit_reference(counts: np.ndarray, start: Mixture = USUAL) -> PeakFit:
    """Fit a reference period, whose components are not known beforehand.

    Starts from ``start`` and from the 15th, 50th and 85th hundredth of the weights, and
    keeps the likelier result.

    Raises
    ------
    wimprog.lib.errors.DomainError
        With fewer than 500 trucks.
    """
    n = int(counts[:N_STEPS].sum())
    if n < LEAST_TRUCKS:
        raise DomainError(
            f"A reference for gross weight peaks needs {LEAST_TRUCKS} trucks; this "
            f"period has {n}. Choose a longer one."
        )
    below = np.cumsum(counts[:N_STEPS]) / n
    marks = [
        float(step_centres_kg()[np.searchsorted(below, p)]) for p in (0.15, 0.5, 0.85)
    ]
    width = max((marks[2] - marks[0]) / 6, 2 * LEAST_SD_KG)
    spread = Mixture((0.3, 0.3, 0.4), (marks[0], marks[1], marks[2]), (width,) * 3)
    fits = [iterate(counts, one) for one in (start, spread)]
    best = max(fits, key=lambda fit: fit[1])
    return with_errors(counts, *best)


def fit_week(counts: np.ndarray, reference: Mixture) -> PeakFit | None:
    """Follow the reference's fit to the trucks of a week, or of several added up.

    Parameters
    ----------
    counts : int, (N_STEPS + 1,)
        As :func:`gross_counts` gives them.
    reference
        Fit of the reference period.

    Returns
    -------
    PeakFit or None
        None with fewer than :data:`LEAST_TRUCKS` trucks, or where they do not look
        like the reference at all. ``is_enough`` is false where the loaded share is too
        small; such weeks are to be pooled.
    """
    if int(counts[:N_STEPS].sum()) < LEAST_TRUCKS:
        return None
    return follow(counts, reference)


def fit_freely(counts: np.ndarray, reference: Mixture) -> PeakFit:
    """All eight figures of the mixture free, started from the reference's.

    A second opinion: it scatters more than :func:`fit_week` but answers to wider peaks
    with wider components.
    """
    return with_errors(counts, *iterate(counts, reference))


@dataclass(frozen=True)
class ChosenFit:
    """The fit to use, and the other one's loaded peak.

    Attributes
    ----------
    fit
        With the reference's shape; free where the two disagree, because the peaks have
        another shape then (weighing that has become noisier).
    other_loaded_kg
        Loaded peak of the one not used [kg].
    has_reference_shape
        Which one ``fit`` is.
    """

    fit: PeakFit
    other_loaded_kg: float
    has_reference_shape: bool


def choose_fit(counts: np.ndarray, reference: Mixture) -> ChosenFit | None:
    """Fit a week both ways and choose.

    Returns
    -------
    ChosenFit or None
        The free fit where its loaded peak is off by more than :data:`SHAPE_APART` and
        by more than three of its standard errors. None as for :func:`fit_week`.
    """
    followed = fit_week(counts, reference)
    if followed is None:
        return None
    free = fit_freely(counts, reference)
    apart = abs(free.loaded_kg - followed.loaded_kg)
    if apart > max(SHAPE_APART * followed.loaded_kg, 3.0 * free.loaded_se_kg):
        return ChosenFit(free, followed.loaded_kg, False)
    return ChosenFit(followed, free.loaded_kg, True)


def smoothed(counts: np.ndarray) -> np.ndarray:
    """Trucks per step after smoothing by a normal of 1.5 kip, (N_STEPS,)."""
    reach = round(4 * SMOOTHING_KG / STEP_KG)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * STEP_KG / SMOOTHING_KG) ** 2)
    kernel /= kernel.sum()
    return np.convolve(counts[:N_STEPS].astype(np.float64), kernel, mode="same")


def smoothed_peak_kg(counts: np.ndarray, near_kg: float) -> float | None:
    """Highest point of the smoothed histogram within 20 % of a weight [kg].

    Parameters
    ----------
    counts : (N_STEPS + 1,)
        As :func:`gross_counts` gives them.
    near_kg
        Fitted mean.

    Returns
    -------
    float or None
        Between steps by a parabola; None where the highest point is the edge of what
        was looked at, so that there is no peak.
    """
    curve = smoothed(counts)
    low = max(int(near_kg * (1 - PEAK_REACH) / STEP_KG), 1)
    high = min(int(near_kg * (1 + PEAK_REACH) / STEP_KG), N_STEPS - 2)
    if high <= low:
        return None
    top = low + int(np.argmax(curve[low : high + 1]))
    if top in (low, high) or curve[top] <= 0:
        return None
    left, middle, right = curve[top - 1 : top + 2]
    bend = left - 2 * middle + right
    lean = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float((top + 0.5 + lean) * STEP_KG)
