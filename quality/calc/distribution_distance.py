"""How far a week's gross weights are from the reference period's: shown, never alarmed.

Distances answer to the mix of trucks before they answer to the scale: in simulation a
limit on them either fires under pure change of mix or finds nothing (see
MEASURED_PEAKS.md). So they carry no limit and no verdict; they say that the shape
changed, and the peaks say whether the scale did.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

METHOD_VERSION = "distribution-distance-1"
N_PARTS = 10
"""Parts of equal share into which the reference is cut for the stability index: common
practice, no source."""


def wasserstein_of_counts(
    reference: np.ndarray, counts: np.ndarray, step: float
) -> float:
    """Mean distance by which weights would have to move, from two histograms.

    Parameters
    ----------
    reference, counts : (m,)
        Counts in the same equal steps.
    step
        Width of a step; the result is in its unit.

    Returns
    -------
    float
        NaN where either is empty. For values at the middles of steps it is what
        ``scipy.stats.wasserstein_distance`` gives.
    """
    n_reference, n = float(np.sum(reference)), float(np.sum(counts))
    if n_reference == 0 or n == 0:
        return float("nan")
    apart = np.cumsum(reference) / n_reference - np.cumsum(counts) / n
    return float(np.abs(apart).sum() * step)


def stability_index(expected: np.ndarray, actual: np.ndarray) -> float:
    """Population stability index of shares or counts in the same parts.

    Σ (a − e) ln(a / e), e and a the shares expected and found. A part that is empty on
    one side counts as half an item there, so that the sum stays finite.

    Returns
    -------
    float
        NaN where either is empty.
    """
    e, a = (np.asarray(one, dtype=np.float64) for one in (expected, actual))
    if e.sum() == 0 or a.sum() == 0:
        return float("nan")
    used = (e > 0) | (a > 0)
    e, a = np.where(e > 0, e, 0.5)[used], np.where(a > 0, a, 0.5)[used]
    e, a = e / e.sum(), a / a.sum()
    return float(((a - e) * np.log(a / e)).sum())


def parts_of_equal_share(reference: np.ndarray, n_parts: int = N_PARTS) -> np.ndarray:
    """First step of each part when a histogram is cut into about equal shares.

    Returns
    -------
    int, (at most n_parts,)
        Starting with 0, strictly rising: fit for ``numpy.add.reduceat``.
    """
    below = np.cumsum(reference) / max(float(np.sum(reference)), 1.0)
    cuts = np.searchsorted(below, np.arange(1, n_parts) / n_parts) + 1
    cuts = cuts[cuts < len(reference)]
    return np.unique(np.concatenate([[0], cuts]))


@dataclass(frozen=True)
class Distance:
    """Two distances of a week's gross weights from the reference.

    Attributes
    ----------
    wasserstein_kg
        Mean distance between equal ranks [kg].
    stability_index
        Of ten parts of equal share in the reference; no unit.
    n, n_reference
        Trucks of the week and of the reference.
    """

    wasserstein_kg: float
    stability_index: float
    n: int
    n_reference: int

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return asdict(self)


def distance(
    reference: np.ndarray, counts: np.ndarray, step_kg: float
) -> Distance | None:
    """Distances between two histograms of gross weight in the same steps.

    Parameters
    ----------
    reference, counts : int, (m,)
        As :func:`quality.calc.loaded_peak.gross_counts` gives them.
    step_kg
        Width of a step [kg].

    Returns
    -------
    Distance or None
        None where either is empty.
    """
    n_reference, n = int(np.sum(reference)), int(np.sum(counts))
    if n_reference == 0 or n == 0:
        return None
    starts = parts_of_equal_share(reference)
    return Distance(
        wasserstein_of_counts(reference, counts, step_kg),
        stability_index(
            np.add.reduceat(reference, starts), np.add.reduceat(counts, starts)
        ),
        n,
        n_reference,
    )
