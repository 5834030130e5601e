"""A new calibration factor from truck runs, and whether to leave the old one alone.

The ratio of sums: f_new = f_old · Σ static / Σ measured. Unlike the regression of
static on measured weight, or the mean of the single ratios, it is not biased by the
scatter of single passes. It supposes that measured weights are proportional to the
factor. Its standard error is that of a ratio estimator with residuals
e = static − ratio · measured (Cochran, Sampling Techniques, 3rd ed., section 6.4; from
memory). The interval speaks for these trucks only.

Left out on purpose: a factor for each speed bin (every bin would need runs enough).
"""

from __future__ import annotations

import math

import numpy as np

from calibration.calc.statistics import t_quantile
from calibration.calc.types import FactorProposal, QuantityErrors
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number


def propose_factor(
    gross_weight: QuantityErrors, *, old_factor: float = 1.0, level: float = 0.95
) -> FactorProposal:
    """Propose a calibration factor from the gross weights of truck runs.

    Parameters
    ----------
    gross_weight
        Errors of gross weight; ``measured`` and ``reference`` [kg] are used.
    old_factor
        Factor that the runs were made with, greater than zero.
    level
        Level of the interval of the change.

    Returns
    -------
    FactorProposal
        ``is_change_shown`` is False when the interval holds "no change", and for a
        single run, which shows nothing about scatter.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there are no runs, or the old factor is not greater than zero.

    References
    ----------
    Cochran (1977), Sampling Techniques, 3rd ed., section 6.4 (from memory).
    """
    n = gross_weight.n
    if n == 0:
        raise DomainError(
            "There are no runs to compute a factor from. Enter runs first."
        )
    if not (math.isfinite(old_factor) and old_factor > 0):
        raise DomainError(
            f"The factor in use is {old_factor:g}; a factor is greater than zero."
        )
    static, measured = gross_weight.reference, gross_weight.measured
    ratio = float(static.sum() / measured.sum())
    change_pct = 100.0 * (ratio - 1.0)
    se: float | None = None
    interval: Interval | None = None
    if n > 1:
        residuals = static - ratio * measured
        spread = n / (n - 1) * float(np.sum(residuals**2))
        se = math.sqrt(spread) / float(measured.sum())
        half = t_quantile(n, level=level) * se
        interval = Interval(ratio - half, ratio + half, level)
    shown = interval is not None and not interval.low <= 1.0 <= interval.high
    return FactorProposal(
        old_factor=old_factor,
        new_factor=old_factor * ratio,
        ratio=ratio,
        ratio_se=se,
        ratio_interval=interval,
        change_pct=change_pct,
        n=n,
        is_change_shown=shown,
        sentence=_sentence(old_factor, ratio, change_pct, interval, n),
    )


def _sentence(
    old: float, ratio: float, change_pct: float, interval: Interval | None, n: int
) -> str:
    change = f"{'+' if change_pct >= 0 else ''}{format_number(change_pct, 2)} %"
    if interval is None:
        return (
            f"One run gives a change of {change}; one run shows nothing about scatter, "
            "so leave the factor alone and drive more runs."
        )
    low, high = (
        format_number(100.0 * (x - 1.0), 2) for x in (interval.low, interval.high)
    )
    span = f"{change} (n {n}, {interval.level * 100:g} % interval {low} to {high} %)"
    if interval.low <= 1.0 <= interval.high:
        return (
            f"The change would be {span}; the interval holds “no change”, so leave the "
            "factor alone."
        )
    steps = "" if old == 1.0 else f" (from {old:.5g} to {old * ratio:.5g})"
    return f"Multiply the factor by {ratio:.5f}{steps}: {span}."
