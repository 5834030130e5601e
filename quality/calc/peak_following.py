"""A week's gross weights followed with the shape of the reference period.

The reference's three components are moved by a gain and an offset, which the two outer
means stand for: the middle one goes along, spreads grow with the gain, shares are free.
Four figures instead of eight: the free fit moves the border between components about,
which costs much where weights are skewed and weeks thin (table in MEASURED_PEAKS.md).

The price: weighing that has become much noisier widens the peaks and is in part taken
for a gain; :func:`quality.calc.loaded_peak.choose_fit` goes back to the free fit then.
"""

from __future__ import annotations

import numpy as np

from quality.calc.mixture_fit import (
    KIP_KG,
    LEAST_SD_KG,
    MOST_ITERATIONS,
    Mixture,
    PeakFit,
    occupied_kip,
)

METHOD_VERSION = "peak-following-1"
_TOLERANCE = 1e-4
"""Kips, by which the peaks may still move in a step: 0.05 kg."""
STARTS = np.geomspace(0.7, 1.4, 15)
"""Gains from which the likeliest is tried besides 1, for scales that are far off."""
NEAR = 0.06
LEAST_GAIN = 0.4
"""Components closer together than this share of the reference's gap are lost."""


class _Shape:
    """The reference in kips; ``lean``: how far a component goes with the loaded one."""

    def __init__(self, reference: Mixture) -> None:
        self.means = np.array(reference.means_kg) / KIP_KG
        self.sds = np.array(reference.sds_kg) / KIP_KG
        self.gap = self.means[2] - self.means[0]
        lean = (self.means - self.means[0]) / self.gap
        self.design = np.stack([1.0 - lean, lean])  # (2, 3)
        self.weighted = self.design / self.sds**2

    def parts(
        self, x: np.ndarray, shares: np.ndarray, ends: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Parts of each step, (3, m), means (3,) and log densities (m,)."""
        means = ends @ self.design
        gain = (ends[1] - ends[0]) / self.gap
        sds = np.maximum(gain * self.sds, LEAST_SD_KG / KIP_KG)
        z = (x - means[:, None]) / sds[:, None]
        log_parts = np.log(shares / sds)[:, None] - 0.5 * z * z
        top = log_parts.max(axis=0)
        parts = np.exp(log_parts - top)
        total = parts.sum(axis=0)
        return parts / total, means, top + np.log(total)

    def likelihood(
        self, x: np.ndarray, c: np.ndarray, shares: np.ndarray, ends: np.ndarray
    ) -> float:
        """Log likelihood but for a constant."""
        return float(c @ self.parts(x, shares, ends)[2])


def follow(counts: np.ndarray, reference: Mixture) -> PeakFit | None:
    """Move the reference's mixture onto the trucks of a week.

    Parameters
    ----------
    counts : int, (N_STEPS + 1,)
        As :func:`quality.calc.loaded_peak.gross_counts` gives them; not all zero.
    reference
        Free fit of the reference period.

    Returns
    -------
    PeakFit or None
        None where the trucks do not look like the reference at any gain from 0.7 to
        1.4. Standard errors take the reference's shape as given. They are those of an
        estimating equation, A⁻¹ B A⁻ᵀ (Huber 1967, from memory), and so do not rest on
        the components' being normal.
    """
    shape = _Shape(reference)
    x, c = occupied_kip(counts)
    shares = np.maximum(reference.shares, 1e-3)
    shares = shares / shares.sum()
    tops = [shape.likelihood(x, c, shares, g * shape.means[[0, 2]]) for g in STARTS]
    best = STARTS[int(np.argmax(tops))]
    starts = [1.0] if abs(best - 1.0) < NEAR else [1.0, best]
    found = [
        _iterated(x, c, shape, np.concatenate([shares, start * shape.means[[0, 2]]]))
        for start in starts
    ]
    places = [one for one in found if one is not None]
    if not places:
        return None
    theta, used, done = max(
        places, key=lambda one: shape.likelihood(x, c, one[0][:3], one[0][3:])
    )
    covariance = _covariance(x, c, shape, theta)
    if covariance is None:
        return None
    covariance *= KIP_KG**2
    low, high = (float(end) for end in theta[3:] * KIP_KG)
    gain = (high - low) / (reference.means_kg[2] - reference.means_kg[0])
    middle = low + gain * (reference.means_kg[1] - reference.means_kg[0])
    sds = [max(gain * sd, LEAST_SD_KG) for sd in reference.sds_kg]
    return PeakFit(
        Mixture(
            (float(theta[0]), float(theta[1]), float(theta[2])),
            (low, middle, high),
            (sds[0], sds[1], sds[2]),
        ),
        n=int(c.sum()),
        unloaded_se_kg=float(np.sqrt(covariance[0, 0])),
        loaded_se_kg=float(np.sqrt(covariance[1, 1])),
        covariance_kg2=float(covariance[0, 1]),
        iterations=used,
        has_converged=done,
    )


def _iterated(
    x: np.ndarray, c: np.ndarray, shape: _Shape, theta: np.ndarray
) -> tuple[np.ndarray, int, bool] | None:
    """From a start to rest; None where a step loses the order of the components."""
    used, done = 0, False
    while used < MOST_ITERATIONS and not done:
        one = _step(x, c, shape, theta)
        two = None if one is None else _step(x, c, shape, one)
        if one is None or two is None:
            return None
        used += 2
        done = bool(np.abs(two[3:] - one[3:]).max() < _TOLERANCE)
        theta = two if done else _leap(theta, one, two)
    return theta, used, done


def _step(
    x: np.ndarray, c: np.ndarray, shape: _Shape, theta: np.ndarray
) -> np.ndarray | None:
    """Shares from the expected counts, outer means by weighted least squares."""
    parts, _, _ = shape.parts(x, theta[:3], theta[3:])
    parts *= c
    n = parts.sum(axis=1)
    normal = (shape.weighted * n) @ shape.design.T
    ends = np.linalg.solve(normal, shape.weighted @ (parts @ x))
    if not (ends[0] > 0 and ends[1] - ends[0] > LEAST_GAIN * shape.gap):
        return None
    shares = np.maximum(n / n.sum(), 1e-6)
    return np.concatenate([shares / shares.sum(), ends])


def _leap(start: np.ndarray, one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Squared extrapolation of two steps, where that is a possible place."""
    r, v = one - start, two - 2 * one + start
    norm = float((v * v).sum())
    if norm == 0.0:
        return two
    alpha = -min(max(float(np.sqrt((r * r).sum() / norm)), 1.0), 8.0)
    leap = start - 2 * alpha * r + alpha * alpha * v
    possible = (leap[:3] > 1e-4).all() and leap[4] > 1.2 * leap[3] > 0
    return leap if possible else two


def _equations(
    x: np.ndarray, shape: _Shape, shares: np.ndarray, ends: np.ndarray
) -> np.ndarray:
    """What sums to zero over all trucks, (4, m): two shares, two outer means."""
    parts, means, _ = shape.parts(x, shares, ends)
    off = parts * (x - means[:, None])
    return np.concatenate([parts[:2] - shares[:2, None], shape.weighted @ off])


def _covariance(
    x: np.ndarray, c: np.ndarray, shape: _Shape, theta: np.ndarray
) -> np.ndarray | None:
    """Covariance of the outer means [kip²], (2, 2); None where it cannot be told."""

    def sums(moved: np.ndarray) -> np.ndarray:
        shares = np.append(moved[:2], 1.0 - moved[:2].sum())
        return _equations(x, shape, shares, moved[2:]) @ c

    at = np.concatenate([theta[:2], theta[3:]])
    # no step may take a share below nothing
    nudge = min(1e-6, float(theta[:3].min()) / 4.0)
    steps = np.diag([nudge, nudge, 1e-4, 1e-4])
    slope = np.stack(
        [(sums(at + h) - sums(at - h)) / (2 * h.sum()) for h in steps], axis=1
    )
    each = _equations(x, shape, theta[:3], theta[3:])
    try:
        inverse = np.linalg.inv(slope)
    except np.linalg.LinAlgError:
        return None
    whole = (inverse @ ((each * c) @ each.T) @ inverse.T)[2:, 2:]
    sound = np.isfinite(whole).all() and (np.diag(whole) >= 0).all()
    return np.asarray(whole) if sound else None
