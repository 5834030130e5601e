"""Peaks followed with the reference's shape, against equations solved another way.

scipy.optimize.root solves the estimating equations from their definition; the standard
errors are held against refits of resampled weeks (the bootstrap).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import root
from scipy.stats import norm

from quality.calc.loaded_peak import fit_reference, fit_week, gross_counts
from quality.calc.mixture_fit import KIP_KG, N_STEPS, STEP_KG, PeakFit
from tests.quality.calc.trucks import gross_kg


@pytest.fixture(scope="module")
def reference() -> PeakFit:
    return fit_reference(gross_counts(gross_kg(np.random.default_rng(1), 30_000)))


@pytest.mark.parametrize(("gain", "n"), [(1.0, 700), (1.04, 3000), (0.8, 3000)])
def test_equations_solved_by_a_general_solver(
    reference: PeakFit, gain: float, n: int
) -> None:
    counts = gross_counts(gain * gross_kg(np.random.default_rng(n), n))
    fit = fit_week(counts, reference.mixture)
    assert fit is not None
    assert fit.has_converged
    means0, sds0 = (
        np.array(values) / KIP_KG
        for values in (reference.mixture.means_kg, reference.mixture.sds_kg)
    )
    used = np.flatnonzero(counts[:N_STEPS])
    x, c = (used + 0.5) * STEP_KG / KIP_KG, counts[used]

    def off(p: np.ndarray) -> np.ndarray:
        shares = np.array([p[0], p[1], 1 - p[0] - p[1]])
        g, o = p[2], p[3]
        means = g * means0 + o
        parts = shares[:, None] * norm.pdf(x, means[:, None], g * sds0[:, None])
        parts /= parts.sum(axis=0)
        pulls = (parts * (x - means[:, None]) * c).sum(axis=1) / sds0**2
        return np.array(
            [
                (parts[0] * c).sum() / c.sum() - shares[0],
                (parts[1] * c).sum() / c.sum() - shares[1],
                (pulls * means0).sum() / c.sum(),
                pulls.sum() / c.sum(),
            ]
        )

    found = root(off, np.array([0.3, 0.3, gain, 0.0]), tol=1e-12)
    assert found.success
    g, o = found.x[2:]
    assert fit.loaded_kg / KIP_KG == pytest.approx(g * means0[2] + o, abs=2e-3)
    assert fit.unloaded_kg / KIP_KG == pytest.approx(g * means0[0] + o, abs=4e-3)
    assert fit.mixture.means_kg[1] / KIP_KG == pytest.approx(
        g * means0[1] + o, abs=3e-3
    )
    assert fit.mixture.shares[:2] == pytest.approx(found.x[:2], abs=1e-3)


def test_standard_errors_are_those_of_the_bootstrap(reference: PeakFit) -> None:
    rng = np.random.default_rng(40)
    counts = gross_counts(gross_kg(rng, 2000))
    fit = fit_week(counts, reference.mixture)
    assert fit is not None
    peaks = []
    for _ in range(300):
        again = fit_week(
            rng.multinomial(2000, counts / counts.sum()), reference.mixture
        )
        assert again is not None
        peaks.append((again.unloaded_kg, again.loaded_kg))
    sds = np.std(peaks, axis=0, ddof=1)
    # the standard deviation of 300 has a standard error of 4 %
    assert fit.unloaded_se_kg == pytest.approx(sds[0], rel=0.16)
    assert fit.loaded_se_kg == pytest.approx(sds[1], rel=0.16)


def test_the_reference_itself_has_not_moved(reference: PeakFit) -> None:
    counts = gross_counts(gross_kg(np.random.default_rng(1), 30_000))
    same = fit_week(counts, reference.mixture)
    assert same is not None
    assert same.loaded_kg == pytest.approx(reference.loaded_kg, rel=2e-5)
    assert same.unloaded_kg == pytest.approx(reference.unloaded_kg, rel=5e-5)


def test_other_trucks_altogether_are_no_peaks(reference: PeakFit) -> None:
    """A thousand vehicles of 2 to 4 kips are none of these trucks."""
    cars = np.random.default_rng(2).uniform(2, 4, 1000) * KIP_KG
    assert fit_week(gross_counts(cars), reference.mixture) is None
