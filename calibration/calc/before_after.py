"""As found and as left: did the adjustment work?

Two sets of runs, before and after, kept apart. The change of the mean error has Welch's
interval (the spreads may differ). Where the same vehicles drove both sets the change is
also taken within vehicles, which frees it of what each truck brings; the static
reference falls out of it, being in both sets alike.

"Worked" means that the mean error is shown to be nearer to zero, not that it is zero:
what is left of it stands beside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import stats

from calibration.calc.least_squares import fit, indicators
from calibration.calc.statistics import summarise
from calibration.calc.types import ErrorStatistics, QuantityErrors
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number


class Outcome(StrEnum):
    """What came of an adjustment."""

    WORKED = "worked"
    WORKED_IN_PART = "worked in part"
    NOT_SHOWN = "no improvement shown"
    WORSE = "made it worse"
    CANNOT_SAY = "cannot say"


@dataclass(frozen=True)
class Difference:
    """A difference of means with its interval.

    Attributes
    ----------
    value
        After less before, or found less expected, in the errors' unit.
    interval
        Student interval.
    df
        Degrees of freedom (Welch's, not whole).
    """

    value: float
    interval: Interval
    df: float

    @property
    def is_shown(self) -> bool:
        """Does the interval leave out 0?"""
        return not self.interval.low <= 0.0 <= self.interval.high


@dataclass(frozen=True, eq=False)
class BeforeAfter:
    """As found beside as left.

    Attributes
    ----------
    before, after
        Statistics of either set.
    change
        Mean after less mean before, by Welch; None without two errors in each.
    within_vehicles
        The same with each vehicle's own level taken out; None unless two or more
        vehicles drove both sets.
    nearer
        How much nearer to zero the mean error is: |before| − |after|, with Welch's
        interval.
    beyond_expected
        Mean after less the one that the applied ratio promised; None where no ratio is
        given.
    outcome
        What came of it.
    sentence
        In words.
    notes
        Vehicles that drove only one of the sets.
    """

    before: ErrorStatistics
    after: ErrorStatistics
    change: Difference | None
    within_vehicles: Difference | None
    nearer: Difference | None
    beyond_expected: Difference | None
    outcome: Outcome
    sentence: str
    notes: tuple[str, ...]


def compare_before_after(
    before: QuantityErrors,
    after: QuantityErrors,
    *,
    applied_ratio: float | None = None,
    level: float = 0.95,
) -> BeforeAfter:
    """Compare the errors as found with those as left.

    Parameters
    ----------
    before, after
        Errors of one quantity, in one unit.
    applied_ratio
        New factor over old one, where weights are compared; says what to expect.
    level
        Level of the intervals.

    Returns
    -------
    BeforeAfter

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the two are not errors of the same quantity.

    References
    ----------
    Welch, B. L. (1947), Biometrika 34, 28–35.
    """
    if before.quantity is not after.quantity:
        raise DomainError(
            f"Errors of {before.quantity} cannot be compared with those of "
            f"{after.quantity}."
        )
    found, left = summarise(before, level=level), summarise(after, level=level)
    notes = _vehicle_notes(before, after)
    if min(before.n, after.n) < 2 or found.mean is None or left.mean is None:
        sentence = (
            f"Cannot say: {before.n} errors before and {after.n} after; at least two "
            "of each are needed."
        )
        return BeforeAfter(
            found, left, None, None, None, None, Outcome.CANNOT_SAY, sentence, notes
        )
    se_b, se_a = (_se(one) for one in (found, left))

    def welch(value: float, scale: float = 1.0) -> Difference:
        return _welch(value, (se_b * scale, before.n), (se_a, after.n), level)

    nearer = welch(abs(found.mean) - abs(left.mean))
    beyond = None
    if applied_ratio is not None:
        expected = 100.0 * (applied_ratio * (1.0 + found.mean / 100.0) - 1.0)
        beyond = welch(left.mean - expected, applied_ratio)
    outcome = _outcome(nearer, left)
    return BeforeAfter(
        before=found,
        after=left,
        change=welch(left.mean - found.mean),
        within_vehicles=_within(before, after, level),
        nearer=nearer,
        beyond_expected=beyond,
        outcome=outcome,
        sentence=_sentence(outcome, found, left, nearer, beyond),
        notes=notes,
    )


def _se(found: ErrorStatistics) -> float:
    return (found.sd or 0.0) / math.sqrt(found.n)


def _welch(
    value: float, one: tuple[float, int], other: tuple[float, int], level: float
) -> Difference:
    (se_1, n_1), (se_2, n_2) = one, other
    se = math.hypot(se_1, se_2)
    if se == 0.0:
        return Difference(value, Interval(value, value, level), math.inf)
    df = se**4 / (se_1**4 / (n_1 - 1) + se_2**4 / (n_2 - 1))
    half = float(stats.t.ppf(0.5 + level / 2.0, df)) * se
    return Difference(value, Interval(value - half, value + half, level), df)


def _within(
    before: QuantityErrors, after: QuantityErrors, level: float
) -> Difference | None:
    """The step from before to after beside the vehicles' own levels."""
    both = sorted(set(before.vehicles) & set(after.vehicles))
    names = [*before.vehicles, *after.vehicles]
    keep = np.array([name in both for name in names], dtype=bool)
    if len(both) < 2 or np.count_nonzero(keep) <= len(both) + 1:
        return None
    is_after = np.repeat([0.0, 1.0], [before.n, after.n])[keep]
    values = np.concatenate([before.errors, after.errors])[keep]
    kept = [name for name in names if name in both]
    found = fit(np.column_stack([indicators(kept, both), is_after]), values)
    weights = np.zeros(len(both) + 1)
    weights[-1] = 1.0
    interval = found.interval(weights, level=level)
    return Difference(float(found.coefficients[-1]), interval, found.df)


def _outcome(nearer: Difference, left: ErrorStatistics) -> Outcome:
    if nearer.interval.high < 0.0:
        return Outcome.WORSE
    if nearer.interval.low <= 0.0:
        return Outcome.NOT_SHOWN
    remains = left.mean_interval
    if remains is not None and not remains.low <= 0.0 <= remains.high:
        return Outcome.WORKED_IN_PART
    return Outcome.WORKED


def _mean_told(found: ErrorStatistics) -> str:
    mean, interval = found.mean or 0.0, found.mean_interval
    span = ""
    if interval is not None:
        span = (
            f", {interval.level * 100:g} % interval {format_number(interval.low, 2)} "
            f"to {format_number(interval.high, 2)}"
        )
    return f"{format_number(mean, 2)} {found.unit} (n {found.n}{span})"


def _sentence(
    outcome: Outcome,
    found: ErrorStatistics,
    left: ErrorStatistics,
    nearer: Difference,
    beyond: Difference | None,
) -> str:
    start = {
        Outcome.WORKED: "The adjustment worked",
        Outcome.WORKED_IN_PART: "The adjustment worked in part",
        Outcome.NOT_SHOWN: "No improvement is shown",
        Outcome.WORSE: "The adjustment made it worse",
    }[outcome]
    told = f"{start}: mean error {_mean_told(found)} before, {_mean_told(left)} after."
    if outcome is Outcome.WORKED_IN_PART:
        told += " A bias is left."
    before = found.mean_interval
    if (
        outcome is Outcome.NOT_SHOWN
        and before is not None
        and before.low <= 0.0 <= before.high
    ):
        told += " There was no shown bias to take away."
    if beyond is not None and beyond.is_shown:
        told += (
            f" The mean error is {format_number(abs(beyond.value), 2)} {left.unit} "
            f"{'above' if beyond.value > 0 else 'below'} what the new factor promised; "
            "was it the factor in use during these runs?"
        )
    return told


def _vehicle_notes(before: QuantityErrors, after: QuantityErrors) -> tuple[str, ...]:
    first, second = set(before.vehicles), set(after.vehicles)
    found = []
    for names, word in ((first - second, "before"), (second - first, "after")):
        if names and first and second:
            found.append(
                f"Only {word}: {', '.join(sorted(names))}. Part of the change may be "
                "the truck's."
            )
    return tuple(found)
