"""The rule that several documents share: so many per cent of the differences within.

A criterion is missed when more differences lie outside the tolerance than the share
allows. Runs are whole, so the rule steps: at 5 %, 10 differences allow none outside, 20
allow one, 40 two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.calc.standards.base import (
    MIN_RUNS,
    margin_details,
    no_data,
    percent,
    too_few,
)
from calibration.calc.statistics import share_within, summarise
from calibration.calc.types import QuantityErrors
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import format_number

POINTS = "percentage points"


def n_allowed(n: int, max_outside_pct: float) -> int:
    """How many of ``n`` differences may lie outside.

    Parameters
    ----------
    n
        Number of differences.
    max_outside_pct
        Greatest share outside [%].

    Returns
    -------
    int
        The whole part of ``n`` · ``max_outside_pct``/100.
    """
    return math.floor(n * max_outside_pct / 100.0 + 1e-9)


@dataclass(frozen=True)
class ShareRule:
    """A tolerance, and the share of differences that may lie outside it.

    Attributes
    ----------
    tolerance
        Half-width of the tolerance, in ``unit``; the limit itself is within.
    text
        The tolerance in words ("±10 %", "±1 mph").
    unit
        Unit of the differences.
    rule
        The rule in one line, with its source.
    standing
        Standing of the tolerance.
    max_outside_pct
        Greatest share outside [%].
    tolerance_name
        Name of the tolerance in the details: "tolerance" where it is in the unit of
        the quantity's errors, so that charts may draw it among them.
    """

    tolerance: float
    text: str
    unit: str
    rule: str
    standing: str
    max_outside_pct: float = 5.0
    tolerance_name: str = "tolerance"


def judge_share(errors: QuantityErrors, rule: ShareRule) -> Judgement:
    """Judge the errors of one quantity by the share within a tolerance.

    Parameters
    ----------
    errors
        The differences, in ``rule.unit``.
    rule
        Tolerance and share.

    Returns
    -------
    Judgement
        Its value is the share within [%] with the exact binomial interval. Fewer than
        :data:`MIN_RUNS` runs can miss, never meet; a single run says nothing.
    """
    found = share_within(errors, rule.tolerance)
    statistics = summarise(errors)
    allowed = n_allowed(found.n, rule.max_outside_pct)
    value = None if found.share is None else 100.0 * found.share
    wanted_pct = 100.0 - rule.max_outside_pct
    interval = found.interval and Interval(
        100.0 * found.interval.low, 100.0 * found.interval.high, found.interval.level
    )
    if found.n == 0:
        verdict, sentence = Verdict.CANNOT_SAY, no_data(errors.why_none)
    elif errors.n_runs >= 2 and found.n_outside > allowed:
        verdict, sentence = Verdict.MISSES, "Misses: "
    elif errors.n_runs < MIN_RUNS:
        verdict, sentence = Verdict.CANNOT_SAY, too_few(errors.n_runs)
    else:
        verdict, sentence = Verdict.MEETS, "Meets: "
    if verdict is not Verdict.CANNOT_SAY and value is not None and interval:
        sentence += (
            f"{found.n_outside} of {found.n} outside {rule.text}, {allowed} allowed; "
            f"{percent(value)} within (95 % interval {format_number(interval.low, 1)} "
            f"to {percent(interval.high)})."
        )
    return Judgement(
        quantity=errors.quantity,
        value=value,
        unit="%",
        n=found.n,
        interval=interval,
        rule=rule.rule,
        limit=f"{rule.text} for {wanted_pct:g} % of values",
        verdict=verdict,
        sentence=sentence,
        standing=rule.standing,
        details=(
            ("statistic", "share within"),
            ("mean", statistics.mean),
            ("sd", statistics.sd),
            ("error unit", rule.unit),
            (rule.tolerance_name, rule.tolerance),
            ("n outside", found.n_outside),
            ("n allowed outside", allowed),
            *margin_details(None if value is None else value - wanted_pct, POINTS),
            ("n more may fall outside", allowed - found.n_outside),
        ),
    )
