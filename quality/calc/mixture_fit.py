"""Three normal components fitted to gross weights counted in steps of 0.25 kip.

Expectation and maximisation, with squared extrapolation (Varadhan and Roland 2008,
Scandinavian Journal of Statistics 35, from memory) so that the wide middle component
does not take hundreds of steps to settle.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from wimprog.lib.judgement import Interval
from wimprog.lib.units import KG_PER_LB

KIP_KG = 1000.0 * KG_PER_LB
STEP_KG = 0.25 * KIP_KG
N_STEPS = 600
"""Up to 150 kip (68 t); heavier vehicles are counted apart, not fitted."""
LEAST_SD_KG = 1.0 * KIP_KG
LEAST_TRUCKS = 500
LEAST_LOADED_SHARE = 0.15
MOST_ITERATIONS = 2000
_TOLERANCE = 1e-5
_LOG_ROOT_2PI = 0.5 * math.log(2.0 * math.pi)


@dataclass(frozen=True)
class Mixture:
    """Three normal components, lightest first.

    Attributes
    ----------
    shares
        Share of trucks in each; they add up to one.
    means_kg, sds_kg
        Mean and standard deviation of gross weight in each [kg].
    """

    shares: tuple[float, float, float]
    means_kg: tuple[float, float, float]
    sds_kg: tuple[float, float, float]

    def scaled(self, factor: float) -> Mixture:
        """The mixture of weights multiplied by ``factor``."""
        means, sds = (
            three(factor * np.array(values)) for values in (self.means_kg, self.sds_kg)
        )
        return Mixture(self.shares, means, sds)


@dataclass(frozen=True)
class PeakFit:
    """A fitted mixture with the uncertainty of its peaks.

    Attributes
    ----------
    mixture
        What was fitted.
    n
        Trucks.
    unloaded_se_kg, loaded_se_kg
        Standard errors of the two outer means [kg].
    covariance_kg2
        Of the unloaded with the loaded mean [kg²].
    iterations
        Steps the fit took.
    has_converged
        False when it was stopped at the most steps allowed.
    """

    mixture: Mixture
    n: int
    unloaded_se_kg: float
    loaded_se_kg: float
    covariance_kg2: float
    iterations: int
    has_converged: bool

    @property
    def unloaded_kg(self) -> float:
        """Mean of the lightest component [kg]."""
        return self.mixture.means_kg[0]

    @property
    def loaded_kg(self) -> float:
        """Mean of the heaviest component [kg]."""
        return self.mixture.means_kg[2]

    @property
    def loaded_share(self) -> float:
        """Share of trucks in the heaviest component."""
        return self.mixture.shares[2]

    @property
    def is_enough(self) -> bool:
        """Whether the loaded peak may be believed: trucks and loaded share."""
        return self.n >= LEAST_TRUCKS and self.loaded_share >= LEAST_LOADED_SHARE

    def loaded_interval(self, level: float = 0.95) -> Interval:
        """Interval of the loaded mean [kg], for chance within the week only."""
        return normal_interval(self.loaded_kg, self.loaded_se_kg, level)

    def unloaded_interval(self, level: float = 0.95) -> Interval:
        """Interval of the unloaded mean [kg], for chance within the week only."""
        return normal_interval(self.unloaded_kg, self.unloaded_se_kg, level)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        data = asdict(self)
        data["mixture"] = {
            name: list(values) for name, values in data["mixture"].items()
        }
        return data

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> PeakFit:
        """What :meth:`as_dict` gave."""
        parts = {name: tuple(values) for name, values in data["mixture"].items()}
        return cls(**{**data, "mixture": Mixture(**parts)})


def normal_interval(value: float, se: float, level: float) -> Interval:
    """A value with a normal interval."""
    reach = float(ndtri(0.5 + level / 2)) * se
    return Interval(value - reach, value + reach, level)


def occupied_kip(counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Occupied steps in kips from their centres, and their counts."""
    used = np.flatnonzero(counts[:N_STEPS])
    return (used + 0.5) * 0.25, counts[used].astype(np.float64)


def _log_parts(x: np.ndarray, theta: np.ndarray) -> np.ndarray:
    """Log of share times density of each component, (3, m)."""
    shares, means, sds = theta
    z = (x - means[:, None]) / sds[:, None]
    return np.asarray(np.log(shares / sds)[:, None] - _LOG_ROOT_2PI - 0.5 * z * z)


def _step(
    x: np.ndarray, c: np.ndarray, powers: np.ndarray, theta: np.ndarray
) -> tuple[np.ndarray, float]:
    """One expectation and maximisation step; the likelihood is that before it."""
    parts = _log_parts(x, theta)
    top = parts.max(axis=0)
    np.exp(parts - top, out=parts)
    total = parts.sum(axis=0)
    likelihood = float(c @ (top + np.log(total)))
    weights, first, second = ((parts * (c / total)) @ powers).T
    weights = np.maximum(weights, 1e-9)
    means = first / weights
    sds = np.sqrt(np.maximum(second / weights - means**2, 0.0))
    sds = np.maximum(sds, LEAST_SD_KG / KIP_KG)
    return np.stack([weights / weights.sum(), means, sds]), likelihood


def iterate(counts: np.ndarray, start: Mixture) -> tuple[Mixture, float, int, bool]:
    """Run to convergence, with squared extrapolation where it raises the likelihood."""
    x, c = occupied_kip(counts)
    powers = np.stack([np.ones_like(x), x, x * x], axis=1)
    theta = np.stack(
        [
            np.maximum(start.shares, 1e-3),
            np.array(start.means_kg) / KIP_KG,
            np.array(start.sds_kg) / KIP_KG,
        ]
    )
    used, done = 0, False
    while used < MOST_ITERATIONS and not done:
        one, before = _step(x, c, powers, theta)
        two, _ = _step(x, c, powers, one)
        used += 2
        r, v = one - theta, two - 2 * one + theta
        norm = float((v * v).sum())
        leap = two
        if norm > 0:
            alpha = min(-math.sqrt(float((r * r).sum()) / norm), -1.0)
            leap = theta - 2 * alpha * r + alpha * alpha * v
        leap, used = _landed(x, c, powers, leap, two, before), used + 1
        done = bool(np.abs(leap - theta).max() < _TOLERANCE)
        theta = leap
    _, likelihood = _step(x, c, powers, theta)
    theta = theta[:, np.argsort(theta[1])]
    shares, means, sds = theta
    mixture = Mixture(three(shares), three(means * KIP_KG), three(sds * KIP_KG))
    return mixture, likelihood, used, done


def three(values: np.ndarray) -> tuple[float, float, float]:
    """An array of three as a tuple of floats."""
    return float(values[0]), float(values[1]), float(values[2])


def _landed(
    x: np.ndarray,
    c: np.ndarray,
    powers: np.ndarray,
    leap: np.ndarray,
    safe: np.ndarray,
    before: float,
) -> np.ndarray:
    """One step from the leap, or from the safe place where the leap lost ground."""
    inside = (leap[0] > 1e-6).all() and (leap[2] > LEAST_SD_KG / KIP_KG).all()
    inside = inside and bool((np.diff(leap[1]) > 0).all())
    if inside:
        landed, likelihood = _step(x, c, powers, leap)
        if likelihood >= before:
            return landed
    return safe


def with_errors(
    counts: np.ndarray, mixture: Mixture, likelihood: float, used: int, done: bool
) -> PeakFit:
    """What :func:`iterate` found, with standard errors of the outer means."""
    x, c = occupied_kip(counts)
    theta = np.stack(
        [
            np.array(mixture.shares),
            np.array(mixture.means_kg) / KIP_KG,
            np.array(mixture.sds_kg) / KIP_KG,
        ]
    )
    covariance = _covariance(x, c, theta) * KIP_KG**2
    return PeakFit(
        mixture,
        n=int(c.sum()),
        unloaded_se_kg=float(np.sqrt(covariance[0, 0])),
        loaded_se_kg=float(np.sqrt(covariance[1, 1])),
        covariance_kg2=float(covariance[0, 1]),
        iterations=used,
        has_converged=done,
    )


def _covariance(x: np.ndarray, c: np.ndarray, theta: np.ndarray) -> np.ndarray:
    """Covariance of the outer means [kip²], (2, 2), right for a wrong model as well.

    Parameters are two logits of the shares, three means, three logs of deviations; the
    covariance is A⁻¹ B A⁻¹ with A the observed information and B the sum of squared
    scores (White 1982, Econometrica 50, from memory). A deviation held at its floor is
    not a parameter.
    """
    shares, means, sds = theta
    z = (x - means[:, None]) / sds[:, None]
    parts = _log_parts(x, theta)
    parts -= parts.max(axis=0)
    np.exp(parts, out=parts)
    r = parts / parts.sum(axis=0)
    scores = np.zeros((3, 8, len(x)))
    for k in range(3):
        scores[k, :2] = -shares[:2, None]
        if k < 2:
            scores[k, k] += 1.0
        scores[k, 2 + k] = z[k] / sds[k]
        scores[k, 5 + k] = z[k] ** 2 - 1.0
    score = np.einsum("kx,kpx->px", r, scores)
    squares = (score * c) @ score.T
    mixed = np.zeros((8, 8))
    for k in range(3):
        mixed += (scores[k] * (c * r[k])) @ scores[k].T
        weight = c * r[k]
        m, t = 2 + k, 5 + k
        mixed[m, m] -= weight.sum() / sds[k] ** 2
        cross = float(weight @ (2.0 * z[k] / sds[k]))
        mixed[m, t] -= cross
        mixed[t, m] -= cross
        mixed[t, t] -= float(weight @ (2.0 * z[k] ** 2))
    mixed[:2, :2] -= c.sum() * (np.diag(shares[:2]) - np.outer(shares[:2], shares[:2]))
    information = squares - mixed
    free = np.ones(8, dtype=bool)
    free[5:] = sds > LEAST_SD_KG / KIP_KG + 1e-9
    keep = np.flatnonzero(free)
    a = np.linalg.pinv(information[np.ix_(keep, keep)], hermitian=True)
    whole = a @ squares[np.ix_(keep, keep)] @ a
    places = [int(np.searchsorted(keep, 2)), int(np.searchsorted(keep, 4))]
    return np.asarray(whole[np.ix_(places, places)])
