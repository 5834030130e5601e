"""Failures known only to lie between two tests.

A sensor is found bad at a visit; it failed after its last good test. Taking the day of
the visit for the day of failure makes lives look longer and wear-out look sharper (in
simulation with yearly visits the shape comes out a quarter too large).
:func:`bracket` finds the two days, :func:`turnbull` the survival curve that uses
nothing but the brackets.

References
----------
Turnbull, Journal of the Royal Statistical Society B 38 (1976) 290-295 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import IntervalSurvival, Life, years_between
from wimprog.lib.errors import DomainError

#: Steps of self-consistency; the curve stops moving far earlier.
_MOST_STEPS = 20_000


@dataclass(frozen=True)
class Bracket:
    """The days between which a sensor failed, and its ages then.

    ``last_good`` is the day of installation where no good test is kept, and
    ``sentence`` says so.
    """

    last_good: date
    first_bad: date
    low_years: float
    high_years: float
    sentence: str


def bracket(
    judged: Iterable[tuple[date, bool]],
    *,
    installed_on: date,
    failed_on: date,
    day_is_known: bool = False,
) -> Bracket | None:
    """Days between which a sensor failed, from its judged tests.

    Parameters
    ----------
    judged
        Day of each test and whether the sensor was good then. Tests before the
        installation and after ``failed_on`` do not count. A bad test that a later good
        one contradicts does not count either: the sensor worked after it.
    installed_on
        Day of installation; the sensor is taken as good then.
    failed_on
        Day on which the failure was found or logged.
    day_is_known
        Whether the very day of failure was seen (an alarm, a strike): nothing is then
        bracketed.

    Returns
    -------
    Bracket or None
        None when the day is known, or when the last good test was on that day.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the failure lies before the installation.
    """
    if failed_on < installed_on:
        raise DomainError(
            f"The failure of {failed_on} lies before the installation of "
            f"{installed_on}; correct one of the days."
        )
    if day_is_known:
        return None
    tests = sorted((d, good) for d, good in judged if installed_on <= d <= failed_on)
    good_days = [d for d, good in tests if good]
    last_good = good_days[-1] if good_days else installed_on
    bad_days = [d for d, good in tests if not good and d > last_good]
    first_bad = min([*bad_days, failed_on])
    if first_bad <= last_good:
        return None
    seen = (
        f"last good test {last_good}"
        if good_days
        else f"no good test is kept since its installation on {last_good}"
    )
    found = "first bad test" if bad_days else "found failed"
    return Bracket(
        last_good=last_good,
        first_bad=first_bad,
        low_years=years_between(installed_on, last_good),
        high_years=years_between(installed_on, first_bad),
        sentence=f"failed between two days: {seen}, {found} {first_bad}",
    )


def turnbull(lives: Sequence[Life]) -> IntervalSurvival:
    """Survival curve from bracketed, exact and censored lives, by self-consistency.

    Between the ages that the brackets single out, the data say how much probability
    lies there but not where: the curve is known at the ends of each such stretch only.

    Parameters
    ----------
    lives
        Lives watched since new.

    Returns
    -------
    IntervalSurvival
        Stretches of age that hold probability, in order, and survival after each.

    Raises
    ------
    wimprog.lib.errors.DomainError
        With no lives, or with delayed entry: those who failed before the records began
        cannot be placed this way. Use the Weibull likelihood, which can.
    """
    if not lives:
        raise DomainError("There are no lives to draw a survival curve from.")
    late = sum(life.entry_age_years > 0 for life in lives)
    if late:
        raise DomainError(
            f"{late} of the lives were in service before the records began; a curve "
            "from brackets alone cannot allow for that. Use the Weibull curve."
        )
    low, high = _ends(lives)
    left, right = _stretches(low, high)
    if not left.size:
        return IntervalSurvival((), (), (), n_units=len(lives), n_failures=0)
    exact = (low == high)[:, None]
    begun = (low[:, None] < left) | ((low[:, None] == left) & (exact | (left < right)))
    inside = begun & (right <= high[:, None])
    mass = np.full(left.size, 1.0 / left.size)
    for _ in range(_MOST_STEPS):
        shares = inside * mass
        nearer = (shares / shares.sum(axis=1, keepdims=True)).mean(axis=0)
        moved = float(np.abs(nearer - mass).max())
        mass = nearer
        if moved < 1e-12:
            break
    held = (mass > 1e-9) & np.isfinite(right)
    after = 1.0 - np.cumsum(mass)
    return IntervalSurvival(
        from_years=tuple(left[held].tolist()),
        to_years=tuple(right[held].tolist()),
        survival=tuple(np.clip(after[held], 0.0, 1.0).tolist()),
        n_units=len(lives),
        n_failures=sum(life.failed for life in lives),
    )


def _ends(lives: Sequence[Life]) -> tuple[Array, Array]:
    """(low, high] of each life; an exact failure has low = high, a censored no end."""
    low = [
        life.low_years
        if life.low_years is not None
        else (life.point_age_years if life.failed else life.age_years)
        for life in lives
    ]
    high = [
        life.high_years
        if life.high_years is not None
        else (life.point_age_years if life.failed else np.inf)
        for life in lives
    ]
    return np.array(low, dtype=float), np.array(high, dtype=float)


def _stretches(low: Array, high: Array) -> tuple[Array, Array]:
    """Innermost stretches: from a low end to the next end, if that is a high one.

    At one age a failure comes before a censoring, as in Kaplan–Meier: the stretch
    of an exact failure is closed, that of a bracket open at its low end.
    """
    exact = low == high
    marks = [
        *((value, 2, 0) for value in low[~exact]),
        *((value, 1, 1) for value in high[~exact]),
        *((value, 0, 0) for value in low[exact]),
        *((value, 0.5, 1) for value in high[exact]),
    ]
    left, right, last = [], [], None
    for value, _, is_high in sorted(set(marks)):
        if is_high and last is not None:
            left.append(last)
            right.append(value)
        last = None if is_high else value
    return np.array(left), np.array(right)
