"""Standard uncertainties and how they combine (GUM, JCGM 100:2008).

A component is a standard uncertainty with its degrees of freedom and whether several
vehicles share it: one scale weighs them all, and what is wrong with the scale is wrong
for each of them alike. Independent components combine in quadrature; the effective
degrees of freedom are those of Welch and Satterthwaite (GUM G.4.1, formula G.2b).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scipy import stats

from wimprog.lib.judgement import Interval


@dataclass(frozen=True)
class Component:
    """One source of uncertainty.

    Attributes
    ----------
    source
        What it comes from ("repeated weighings", "scale").
    u
        Standard uncertainty, in the unit of the result; not below zero.
    df
        Degrees of freedom; infinite for one that is stated and not estimated.
    is_shared
        True when all vehicles weighed on the same scale have it in common.
    """

    source: str
    u: float
    df: float = math.inf
    is_shared: bool = False


def combined(uncertainties: Iterable[float]) -> float:
    """Independent standard uncertainties in quadrature (GUM 5.1.2).

    Parameters
    ----------
    uncertainties
        Standard uncertainties in one unit; none of them gives 0.

    Examples
    --------
    >>> combined([3.0, 4.0])
    5.0
    """
    return math.hypot(*uncertainties)


def effective_df(components: Iterable[Component]) -> float:
    """Effective degrees of freedom, by Welch and Satterthwaite.

    Parameters
    ----------
    components
        Independent components in one unit.

    Returns
    -------
    float
        u⁴ / Σ(uᵢ⁴/νᵢ); infinite when no component is estimated, or all are zero.

    References
    ----------
    JCGM 100:2008 (GUM), G.4.1.
    """
    known = list(components)
    largest = max((one.u for one in known), default=0.0)
    if largest == 0.0:
        return math.inf
    # Shares of the largest, so that fourth powers of small numbers stay numbers.
    shares = [(one.u / largest, one.df) for one in known]
    lost = math.fsum(share**4 / df for share, df in shares)
    total = math.fsum(share**2 for share, _ in shares)
    return math.inf if lost == 0.0 else total**2 / lost


def coverage_factor(df: float, *, level: float = 0.95) -> float:
    """Two-sided Student factor; the normal one for infinite degrees of freedom.

    Parameters
    ----------
    df
        Degrees of freedom, above zero. They are not cut to a whole number (GUM G.4.1
        allows either).
    level
        Two-sided level.
    """
    quantile = 0.5 + level / 2.0
    if math.isinf(df):
        return float(stats.norm.ppf(quantile))
    return float(stats.t.ppf(quantile, df))


def interval_of(
    value: float, components: Sequence[Component], *, level: float = 0.95
) -> Interval:
    """Value ± k·u of independent components, k by their effective degrees of freedom.

    Parameters
    ----------
    value
        The estimate.
    components
        Its independent components, in its unit.
    level
        Level of the interval.
    """
    half = coverage_factor(effective_df(components), level=level) * combined(
        one.u for one in components
    )
    return Interval(value - half, value + half, level)
