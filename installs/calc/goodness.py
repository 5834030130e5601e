"""Does the Weibull curve fit the lives? Probability plot, band, residuals.

References
----------
Nair, Technometrics 26 (1984) 265-275: equal-precision simultaneous band; plot points
half-way down each step: Meeker & Escobar, Statistical Methods for Reliability Data,
1998, sections 3.8 and 6.4; residuals: Cox & Snell, Journal of the Royal Statistical
Society B 30 (1968) 248-275 (all from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from installs.calc.survival import kaplan_meier, weibull_survival
from installs.calc.types import Goodness, Life, PlotPoint, ResidualPoint, WeibullFit
from installs.calc.weibull import check_level
from wimprog.lib.errors import DomainError

#: Fewer failures than this say nothing about the form of a curve.
LEAST_FAILURES = 5


def simultaneous_factor(low: float, high: float, *, level: float = 0.95) -> float:
    """Standard errors that a band needs to hold a whole curve at once.

    Nair's equal-precision factor for survival whose Greenwood share
    n v / (1 + n v) runs from ``low`` to ``high``: the root of
    4 f(x) / x + f(x) (x - 1 / x) log(b (1 - a) / (a (1 - b))) = 1 - level,
    f the normal density.
    """
    check_level(level)
    if not 0.0 < low < high < 1.0:
        raise DomainError(f"A band needs a stretch within 0 to 1, not {low} to {high}.")
    reach = math.log(high * (1.0 - low) / (low * (1.0 - high)))

    def left(x: float) -> float:
        density = float(norm.pdf(x))
        return 4.0 * density / x + density * (x - 1.0 / x) * reach - (1.0 - level)

    return float(brentq(left, 1.5, 10.0))


def goodness_of_fit(
    lives: Sequence[Life], fit: WeibullFit, *, level: float = 0.95
) -> Goodness:
    """Weibull plot with its simultaneous band, residuals, and the sentence.

    Parameters
    ----------
    lives
        The lives that the curve was fitted to.
    fit
        The curve.
    level
        Level of the simultaneous band: so often a true curve lies within it as a whole.

    Returns
    -------
    Goodness
        Points on log age against log(-log survival), on which a Weibull curve is a
        straight line of slope ``shape``. ``outside`` counts ages at which the curve
        leaves the band. Residuals are cumulative hazards at exit less at entry; were
        the curve true, they would be exponential, and their Nelson–Aalen estimate
        would follow the diagonal.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no lives.
    """
    curve = kaplan_meier(lives, level=level)
    n = len(lives)
    variances = np.array(curve.standard_error) / np.array(curve.survival or [1.0])
    inner = np.isfinite(variances) & (variances > 0) if curve.survival else []
    shares = [n * v**2 / (1.0 + n * v**2) for v in variances[inner]]
    factor = math.nan
    if len(shares) > 1:
        factor = simultaneous_factor(min(shares), max(shares), level=level)
    points = []
    for i, (before, after) in enumerate(pairwise((1.0, *curve.survival))):
        age = curve.age_years[i]
        low = high = math.nan
        if math.isfinite(factor) and 0.0 < after < 1.0:
            spread = factor * curve.standard_error[i] / (after * math.log(after))
            low, high = after ** math.exp(-spread), after ** math.exp(spread)
        model = float(weibull_survival(fit, age))
        points.append(PlotPoint(age, 1.0 - (before + after) / 2.0, low, high, model))
    # The curve is held against the step's foot, where the band is centred.
    outside = sum(
        point.high < point.model_survival or point.low > point.model_survival
        for point in points
    )
    return Goodness(
        points=tuple(points),
        residuals=_residuals(lives, fit),
        factor=factor,
        outside=outside,
        n_failures=curve.n_failures,
        level=level,
        sentence=_sentence(len(points), outside, curve.n_failures, level),
    )


def _residuals(lives: Sequence[Life], fit: WeibullFit) -> tuple[ResidualPoint, ...]:
    scaled = [
        Life(
            (life.point_age_years / fit.scale_years) ** fit.shape,
            life.failed,
            (life.entry_age_years / fit.scale_years) ** fit.shape,
        )
        for life in lives
    ]
    gone = [Life(life.age_years - life.entry_age_years, life.failed) for life in scaled]
    curve = kaplan_meier(gone)
    hazard = np.cumsum(np.array(curve.failures) / np.array(curve.at_risk))
    return tuple(
        ResidualPoint(residual, float(h))
        for residual, h in zip(curve.age_years, hazard, strict=True)
    )


def _sentence(n: int, outside: int, failures: int, level: float) -> str:
    if failures < LEAST_FAILURES:
        return (
            f"{failures} failures cannot show whether the curve's form is right; at "
            f"least {LEAST_FAILURES} are needed."
        )
    claim = f"{100 * level:.0f} % simultaneous band of the {failures} failures"
    if outside:
        return (
            f"The curve leaves the {claim} at {outside} of {n} ages: its form is in "
            "doubt. Look for mixed causes or lots before trusting it far ahead."
        )
    return f"The curve stays within the {claim}: nothing speaks against its form."
