"""Average run lengths of the CUSUM and the EWMA chart: how long until they signal.

Each is the solution of an integral equation for independent normal observations with a
known mean and spread. Weekly means are neither independent nor of known mean: the rate
of false alarms that is stated to people is the one in
:mod:`quality.calc.false_alarms`, measured by simulation.

References
----------
Lucas and Crosier, Technometrics 24, 1982. Lucas and Saccucci, Technometrics 32, 1990.
Crowder, Technometrics 29, 1987. Brook and Evans, Biometrika 59, 1972.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from quality.calc.cusum import H, K
from quality.calc.ewma import steady_half_width


def one_sided_arl(*, k: float, h: float, shift: float, n_nodes: int = 80) -> float:
    """Mean number of points to the signal of one upper sum that starts at zero.

    Parameters
    ----------
    k, h, shift
        Reference value, decision interval and mean, in standard deviations.
    n_nodes
        Gauss–Legendre nodes.

    Notes
    -----
    Solves Page's integral equation
    L(z) = 1 + L(0) Φ(k − z − δ) + ∫₀ʰ L(y) φ(y − z + k − δ) dy
    by the Nyström method, for independent normal observations.
    """
    nodes, weights = np.polynomial.legendre.leggauss(n_nodes)
    y = 0.5 * h * (nodes + 1.0)
    w = 0.5 * h * weights
    z = np.append(0.0, y)
    kernel = np.empty((n_nodes + 1, n_nodes + 1))
    kernel[:, 0] = ndtr(k - z - shift)
    step = y[None, :] - z[:, None] + k - shift
    kernel[:, 1:] = w * np.exp(-0.5 * step * step) / np.sqrt(2.0 * np.pi)
    lengths = np.linalg.solve(np.eye(n_nodes + 1) - kernel, np.ones(n_nodes + 1))
    return float(lengths[0])


def cusum_arl(*, k: float = K, h: float = H, shift: float = 0.0) -> float:
    """Average run length of the two-sided chart, independent normal data.

    ``shift`` is the true mean's distance from the target in standard deviations.

    >>> round(cusum_arl())
    465
    """
    up = one_sided_arl(k=k, h=h, shift=shift)
    down = one_sided_arl(k=k, h=h, shift=-shift)
    return 1.0 / (1.0 / up + 1.0 / down)


def ewma_arl(
    *, weight: float, limit: float, shift: float = 0.0, n_nodes: int = 120
) -> float:
    """Average run length of the two-sided EWMA chart with its steady limits.

    Parameters
    ----------
    weight
        Weight of the newest observation, λ, above 0 and at most 1.
    limit
        Limit in standard deviations of the average, L.
    shift
        The true mean's distance from the target in standard deviations.
    n_nodes
        Gauss–Legendre nodes.

    Raises
    ------
    ValueError
        When ``weight`` or ``limit`` is out of range.

    Notes
    -----
    Solves Crowder's equation L(u) = 1 + (1/λ) ∫ L(y) φ((y − (1 − λ)u)/λ − δ) dy over
    the limits ±L√(λ/(2 − λ)) by the Nyström method; the chart starts at its target.

    >>> round(ewma_arl(weight=0.1, limit=2.814))
    500
    """
    half = steady_half_width(weight, limit)
    nodes, weights = np.polynomial.legendre.leggauss(n_nodes)
    y, w = half * nodes, half * weights
    u = np.append(0.0, y)
    step = (y[None, :] - (1.0 - weight) * u[:, None]) / weight - shift
    kernel = np.zeros((n_nodes + 1, n_nodes + 1))
    kernel[:, 1:] = w * np.exp(-0.5 * step * step) / np.sqrt(2.0 * np.pi) / weight
    lengths = np.linalg.solve(np.eye(n_nodes + 1) - kernel, np.ones(n_nodes + 1))
    return float(lengths[0])
