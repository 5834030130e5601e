"""Errors that stand out, as advice: nothing is ever set aside by a test.

Grubbs' test for one, the generalised extreme Studentized deviate (ESD) test of Rosner
for several: two outliers on one side hide each other from Grubbs. Both suppose normal
errors. Where every axle of every vehicle has enough errors, deviations are taken from
its own median, so that one truck or axle among others is not called an outlier.

A flag asks a person to look at the run (lane change, braking, wrong vehicle matched)
and to set it aside with a reason or leave it. The statistics stand with and without it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from calibration.calc.statistics import summarise
from calibration.calc.types import ErrorStatistics, FloatArray, QuantityErrors
from wimprog.lib.units import format_number

MIN_N = 7
"""Fewest errors to look for outliers in (common practice, no source; Rosner's critical
values are accurate from 25, reasonable from 15)."""

ACCURATE_N = 15
"""From here on the critical values of the ESD test are reasonable (NIST/SEMATECH
e-Handbook 1.3.5.17.3)."""

OWN_CENTRE_N = 5
"""Fewest errors of each part of each vehicle to take deviations from its median."""

MAX_SHARE = 0.2
"""Greatest share of the errors that is looked at as outliers."""

MAX_OUTLIERS = 20
"""And no more than these: a session with more has another trouble than outliers."""


@dataclass(frozen=True)
class Grubbs:
    """Grubbs' test of the value farthest from the mean, on either side.

    Attributes
    ----------
    index
        Which value it is.
    g
        Its distance from the mean in standard deviations.
    critical
        Critical value.
    p
        Chance of at least this distance without outliers (upper bound).
    """

    index: int
    g: float
    critical: float
    p: float

    @property
    def is_outlier(self) -> bool:
        """Is it farther than the critical value?"""
        return self.g > self.critical


@dataclass(frozen=True)
class EsdStep:
    """One step of the generalised ESD test.

    Attributes
    ----------
    index
        The value taken out in this step.
    r
        Its distance from the mean in standard deviations, of those left before it.
    critical
        Critical value λ.
    p
        Chance of at least this distance in this step without outliers (upper bound).
    """

    index: int
    r: float
    critical: float
    p: float


@dataclass(frozen=True)
class Flag:
    """One error that stands out.

    Attributes
    ----------
    run, vehicle, part
        Where it is from.
    error
        The error, in the errors' unit.
    distance
        Standard deviations from the mean, without those flagged before.
    critical, p
        Critical value, and upper bound of the chance.
    """

    run: str
    vehicle: str
    part: str
    error: float
    distance: float
    critical: float
    p: float


@dataclass(frozen=True, eq=False)
class OutlierAdvice:
    """What stands out, and what the statistics are with and without it.

    Attributes
    ----------
    flags
        The errors that stand out, farthest first.
    n
        Errors looked at.
    with_all, without_flagged
        Statistics of all errors, and of those not flagged.
    sentence
        The advice for people.
    """

    flags: tuple[Flag, ...]
    n: int
    with_all: ErrorStatistics
    without_flagged: ErrorStatistics
    sentence: str


def critical_deviate(
    n: int, *, alpha: float = 0.05, is_two_sided: bool = True
) -> float:
    """Critical value of Grubbs' statistic for ``n`` values.

    Parameters
    ----------
    n
        Number of values, at least 3.
    alpha
        Chance of a false flag.
    is_two_sided
        False where only the largest, or only the smallest, is looked at.

    Raises
    ------
    ValueError
        When ``n`` is less than 3.

    References
    ----------
    NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    """
    if n < 3:
        raise ValueError(f"n is {n}; an outlier needs at least 3 values")
    sides = 2 if is_two_sided else 1
    t = float(stats.t.ppf(1.0 - alpha / (sides * n), n - 2))
    return (n - 1) * t / math.sqrt(n * (n - 2 + t * t))


def chance_of_deviate(g: float, n: int, *, is_two_sided: bool = True) -> float:
    """Upper bound of the chance that the farthest of ``n`` normal values is at ``g``.

    Parameters
    ----------
    g
        Distance from the mean in standard deviations.
    n
        Number of values, at least 3.
    is_two_sided
        As for :func:`critical_deviate`.
    """
    room = (n - 1) ** 2 - n * g * g
    if room <= 0.0:  # the farthest that n values can lie: all others are equal
        return 0.0
    t = g * math.sqrt(n * (n - 2) / room)
    sides = 2 if is_two_sided else 1
    return min(1.0, sides * n * float(stats.t.sf(t, n - 2)))


def grubbs(
    values: FloatArray, *, alpha: float = 0.05, is_two_sided: bool = True
) -> Grubbs:
    """Grubbs' test of the one value farthest from the mean.

    Parameters
    ----------
    values
        Shape (n,), n at least 3.
    alpha
        Chance of a false flag.
    is_two_sided
        False to look at the largest only.

    Raises
    ------
    ValueError
        For fewer than three values.

    References
    ----------
    Grubbs (1969), Technometrics 11; NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    """
    n = values.size
    critical = critical_deviate(n, alpha=alpha, is_two_sided=is_two_sided)
    off = values - values.mean()
    sd = float(values.std(ddof=1))
    far = np.abs(off) if is_two_sided else off
    index = int(np.argmax(far))
    g = float(far[index]) / sd if sd > 0.0 else 0.0
    p = chance_of_deviate(g, n, is_two_sided=is_two_sided)
    return Grubbs(index, g, critical, p)


def generalised_esd(
    values: FloatArray, max_outliers: int, *, alpha: float = 0.05
) -> tuple[tuple[EsdStep, ...], int]:
    """Rosner's test for up to ``max_outliers`` outliers.

    Parameters
    ----------
    values
        Shape (n,).
    max_outliers
        Most outliers looked for; n − 2 at most.
    alpha
        Chance of any false flag.

    Returns
    -------
    tuple
        The steps, and how many outliers there are: the last step whose distance is
        beyond its critical value.

    Raises
    ------
    ValueError
        When there are too few values.

    References
    ----------
    Rosner (1983), Technometrics 25; NIST/SEMATECH e-Handbook, 1.3.5.17.3.
    """
    if values.size - max_outliers < 2:
        raise ValueError(f"{values.size} values cannot hold {max_outliers} outliers")
    left = np.arange(values.size)
    steps: list[EsdStep] = []
    for _ in range(max_outliers):
        found = grubbs(values[left], alpha=alpha)
        index = int(left[found.index])
        steps.append(EsdStep(index, found.g, found.critical, found.p))
        left = np.delete(left, found.index)
    beyond = [k for k, step in enumerate(steps, start=1) if step.r > step.critical]
    return tuple(steps), max(beyond, default=0)


def advise_on_outliers(
    errors: QuantityErrors, *, alpha: float = 0.05, max_share: float = MAX_SHARE
) -> OutlierAdvice:
    """Flag errors that stand out; set nothing aside.

    Parameters
    ----------
    errors
        The errors of one quantity.
    alpha
        Chance of any false flag among normal errors.
    max_share
        Greatest share of the errors looked at as outliers.

    Returns
    -------
    OutlierAdvice
    """
    with_all = summarise(errors)
    n = errors.n
    if n < MIN_N:
        sentence = (
            f"{n} errors are too few to say that one stands out ({MIN_N} needed)."
        )
        return OutlierAdvice((), n, with_all, with_all, sentence)
    centred = errors.errors - _centres(errors)
    most = min(max(1, int(max_share * n)), MAX_OUTLIERS)
    steps, count = generalised_esd(centred, most, alpha=alpha)
    flags = tuple(
        Flag(
            run=errors.runs[step.index],
            vehicle=errors.vehicles[step.index],
            part=errors.parts[step.index],
            error=float(errors.errors[step.index]),
            distance=step.r,
            critical=step.critical,
            p=step.p,
        )
        for step in steps[:count]
    )
    keep = np.ones(n, dtype=bool)
    keep[[step.index for step in steps[:count]]] = False
    without = summarise(errors.where(keep))
    return OutlierAdvice(
        flags, n, with_all, without, _sentence(flags, with_all, without)
    )


def _centres(errors: QuantityErrors) -> FloatArray:
    """Median of each error's part and vehicle, which an outlier hardly moves."""
    found = np.full(errors.n, float(np.median(errors.errors)))
    places: dict[tuple[str, str], list[int]] = {}
    for place, kind in enumerate(zip(errors.vehicles, errors.parts, strict=True)):
        places.setdefault(kind, []).append(place)
    if all(len(own) >= OWN_CENTRE_N for own in places.values()):
        for own in places.values():
            found[own] = np.median(errors.errors[own])
    return found


def _sentence(
    flags: tuple[Flag, ...], with_all: ErrorStatistics, without: ErrorStatistics
) -> str:
    few = (
        f" With fewer than {ACCURATE_N} errors the test is rough."
        if with_all.n < ACCURATE_N
        else ""
    )
    if not flags:
        return f"No error stands out (n {with_all.n}).{few}"
    unit = with_all.unit
    named = ", ".join(
        f"run {flag.run} ({format_number(flag.error, 2)} {unit})" for flag in flags
    )

    def told(found: ErrorStatistics) -> str:
        mean = "–" if found.mean is None else format_number(found.mean, 2)
        sd = "–" if found.sd is None else format_number(found.sd, 2)
        return f"mean {mean}, sd {sd} {unit} (n {found.n})"

    return (
        f"{named} stand{'s' * (len(flags) == 1)} out. Look at what happened; set aside "
        f"only with a reason. With all: {told(with_all)}; without: {told(without)}."
        f"{few}"
    )
