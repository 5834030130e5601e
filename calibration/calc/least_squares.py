"""Linear least squares and the F test of nested models.

Small and dense: a session has tens to hundreds of runs and a handful of terms. The fit
goes by QR, so that offsets like "km/h around 90" cost no digits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from calibration.calc.types import FloatArray
from wimprog.lib.judgement import Interval

_RANK_SLACK = 1e-9
"""A column that the others explain to this share of its length adds nothing."""


@dataclass(frozen=True, eq=False)
class LinearFit:
    """A least-squares fit.

    Attributes
    ----------
    coefficients
        Estimates, shape (k,).
    covariance
        Their covariance, shape (k, k); NaN without residual degrees of freedom.
    residuals
        Shape (n,).
    rss
        Residual sum of squares.
    df
        Residual degrees of freedom, n − k.
    """

    coefficients: FloatArray
    covariance: FloatArray
    residuals: FloatArray
    rss: float
    df: int

    @property
    def sd(self) -> float:
        """Residual standard deviation."""
        return math.sqrt(self.rss / self.df) if self.df > 0 else math.nan

    def se(self, weights: Sequence[float] | FloatArray) -> float:
        """Standard error of a linear combination of the coefficients.

        Parameters
        ----------
        weights
            Of each coefficient, shape (k,).
        """
        c = np.asarray(weights, dtype=float)
        return math.sqrt(max(float(c @ self.covariance @ c), 0.0))

    def interval(
        self, weights: Sequence[float] | FloatArray, *, level: float = 0.95
    ) -> Interval:
        """Student interval of a linear combination of the coefficients.

        Parameters
        ----------
        weights
            Of each coefficient, shape (k,).
        level
            Level of the interval.
        """
        c = np.asarray(weights, dtype=float)
        half = float(stats.t.ppf(0.5 + level / 2.0, self.df)) * self.se(c)
        value = float(c @ self.coefficients)
        return Interval(value - half, value + half, level)


@dataclass(frozen=True)
class FTest:
    """An F test of nested models.

    Attributes
    ----------
    f
        The statistic; infinite when the larger model leaves no residuals.
    df_num, df_den
        Degrees of freedom.
    p
        Chance of at least this F where the larger model adds nothing.
    """

    f: float
    df_num: int
    df_den: int
    p: float


def is_estimable(design: FloatArray) -> bool:
    """Are the columns of a design independent of each other?

    Parameters
    ----------
    design
        Shape (n, k).
    """
    n, k = design.shape
    if n < k:
        return False
    length = np.linalg.norm(design, axis=0)
    if k == 0 or np.any(length == 0.0):
        return k == 0
    singular = np.linalg.svd(design / length, compute_uv=False)
    return bool(singular[-1] > _RANK_SLACK * singular[0])


def fit(design: FloatArray, values: FloatArray) -> LinearFit:
    """Fit ``values`` by the columns of ``design``.

    Parameters
    ----------
    design
        Shape (n, k), independent columns; a column of ones where there is a constant.
    values
        Shape (n,).

    Returns
    -------
    LinearFit

    Raises
    ------
    ValueError
        When the columns are not independent.

    References
    ----------
    NIST StRD, Norris (certified values reproduced in the outside tests).
    """
    if not is_estimable(design):
        raise ValueError("the columns of the design are not independent")
    n, k = design.shape
    q, r = np.linalg.qr(design)
    coefficients = np.linalg.solve(r, q.T @ values)
    residuals = values - design @ coefficients
    rss = float(residuals @ residuals)
    df = n - k
    inverse = np.linalg.inv(r)
    scale = rss / df if df > 0 else math.nan
    return LinearFit(coefficients, scale * (inverse @ inverse.T), residuals, rss, df)


def nested_f(larger: LinearFit, smaller: LinearFit) -> FTest:
    """F test of what the larger of two nested models adds.

    Parameters
    ----------
    larger, smaller
        Fits of the same values; the columns of the smaller lie in the larger's space.

    Raises
    ------
    ValueError
        When the larger model has no more terms, or no residual degrees of freedom.
    """
    df_num = smaller.df - larger.df
    if df_num < 1 or larger.df < 1:
        raise ValueError("the models leave nothing to test")
    gain = max(smaller.rss - larger.rss, 0.0) / df_num
    error = larger.rss / larger.df
    # What arithmetic leaves of a perfect fit is no scatter.
    if larger.rss <= 1e-24 * max(smaller.rss, 1e-300):
        return FTest(math.inf if gain > 0.0 else 0.0, df_num, larger.df, 0.0)
    f = gain / error
    return FTest(f, df_num, larger.df, float(stats.f.sf(f, df_num, larger.df)))


def indicators(labels: Sequence[str], levels: Sequence[str]) -> FloatArray:
    """One column of zeros and ones for each level, shape (n, levels).

    Parameters
    ----------
    labels
        The level of each observation.
    levels
        The levels, in the order of the columns.
    """
    found: FloatArray = np.array(
        [[float(label == level) for level in levels] for label in labels]
    ).reshape(len(labels), len(levels))
    return found


def variance_inflation(design: FloatArray, column: int) -> float:
    """How much less one term is known because others move with it.

    Parameters
    ----------
    design
        Shape (n, k), with the constant or the vehicles' columns among them.
    column
        Index of the term.

    Returns
    -------
    float
        1/(1 − R²) of the term regressed on the other columns, about its mean; 1 when
        nothing moves with it, infinite when it cannot be told apart.
    """
    own = design[:, column]
    others = np.delete(design, column, axis=1)
    total = float(np.sum((own - own.mean()) ** 2))
    if total == 0.0:
        return math.inf
    predicted = others @ np.linalg.lstsq(others, own, rcond=None)[0]
    left = float(np.sum((own - predicted) ** 2))
    return math.inf if left <= 1e-12 * total else total / left
