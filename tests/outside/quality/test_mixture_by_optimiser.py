"""The mixture fit against a general optimiser and differences of the likelihood.

scipy.optimize maximises the same likelihood by another road; White's covariance (1982)
is worked out from numerical derivatives.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import logsumexp
from scipy.stats import norm

from quality.calc.loaded_peak import fit_freely, gross_counts, step_centres_kg
from quality.calc.mixture_fit import KIP_KG, N_STEPS, Mixture, PeakFit
from tests.quality.calc.trucks import gross_kg

TRUTH = Mixture(
    (0.3, 0.3, 0.4),
    (33 * KIP_KG, 55 * KIP_KG, 76.5 * KIP_KG),
    (3.5 * KIP_KG, 11 * KIP_KG, 4 * KIP_KG),
)
X = step_centres_kg() / KIP_KG


def log_density(p: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Of logits (2), means (3) and log deviations (3), in kips."""
    logits = np.array([p[0], p[1], 0.0])
    parts = (
        (logits - logsumexp(logits))[:, None]
        + norm.logpdf(x, p[2:5, None], np.exp(p[5:8, None]))
    )  # fmt: skip
    return np.asarray(logsumexp(parts, axis=0))


def as_parameters(fit: PeakFit) -> np.ndarray:
    shares = np.array(fit.mixture.shares)
    return np.concatenate(
        [
            np.log(shares[:2] / shares[2]),
            np.array(fit.mixture.means_kg) / KIP_KG,
            np.log(np.array(fit.mixture.sds_kg) / KIP_KG),
        ]
    )


@pytest.fixture(scope="module", params=[600, 5000])
def week(request: pytest.FixtureRequest) -> tuple[np.ndarray, PeakFit]:
    counts = gross_counts(gross_kg(np.random.default_rng(request.param), request.param))
    fit = fit_freely(counts, TRUTH)
    assert fit.has_converged
    return counts[:N_STEPS], fit


def test_no_optimiser_finds_a_likelier_mixture_near_by(
    week: tuple[np.ndarray, PeakFit],
) -> None:
    counts, fit = week
    used = counts > 0

    def loss(p: np.ndarray) -> float:
        return -float(counts[used] @ log_density(p, X[used]))

    ours = as_parameters(fit)
    found = minimize(loss, ours + 0.02, method="BFGS", options={"gtol": 1e-4})
    assert loss(ours) <= found.fun + 1e-4
    assert ours[2:5] == pytest.approx(found.x[2:5], abs=5e-3)


def test_standard_errors_are_whites(week: tuple[np.ndarray, PeakFit]) -> None:
    counts, fit = week
    used = counts > 0
    c, x = counts[used], X[used]
    p = as_parameters(fit)
    scores = _differences(lambda q: log_density(q, x), p)

    def gradient(q: np.ndarray) -> np.ndarray:
        return _differences(lambda r: log_density(r, x), q) @ c

    information = -_differences(gradient, p, 1e-4)
    inverse = np.linalg.inv(0.5 * (information + information.T))
    whole = inverse @ ((scores * c) @ scores.T) @ inverse
    assert fit.unloaded_se_kg / KIP_KG == pytest.approx(whole[2, 2] ** 0.5, rel=1e-3)
    assert fit.loaded_se_kg / KIP_KG == pytest.approx(whole[4, 4] ** 0.5, rel=1e-3)
    assert fit.covariance_kg2 / KIP_KG**2 == pytest.approx(
        whole[2, 4], rel=0.02, abs=1e-6
    )


def _differences(
    of: Callable[[np.ndarray], np.ndarray], p: np.ndarray, step: float = 1e-5
) -> np.ndarray:
    """Central differences by each parameter, one row each."""
    steps = step * np.eye(len(p))
    return np.stack([(of(p + h) - of(p - h)) / (2 * step) for h in steps])
