"""Ends that compete: what share has ended by each cause, by age.

A sensor that fails by its splice can no longer fail by its element, and one that was
milled out with the pavement can fail by nothing. :func:`cumulative_incidence` says what
share ended by each cause (Aalen–Johansen); :func:`cause_specific_lives` gives the lives
that a cause's own curve is fitted to, other ends censored. One minus that curve is the
share that *would* fail by that cause if all other causes were taken away: it is not the
share that does, and it is larger.

Other ends may be censored only where they have nothing to do with the sensor's state. A
sensor pulled because it looked bad has failed.

References
----------
Aalen & Johansen, Scandinavian Journal of Statistics 5 (1978) 141-150; variance by the
delta method: Marubini & Valsecchi, Analysing Survival Data from Clinical Trials and
Observational Studies, Wiley 1995, section 10.2 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import norm

from installs.calc.likelihood import Array
from installs.calc.types import EndReason, IncidenceCurve, Life, WeibullFit
from installs.calc.weibull import check_level
from wimprog.lib.errors import DomainError

#: Cause of a life that has not ended.
WORKING = ""


def end_causes(reasons: Sequence[str]) -> tuple[str, ...]:
    """The ends in the order people look for them, failure first; absent ones left out.

    Parameters
    ----------
    reasons
        End reason of each life, empty while it works.
    """
    present = set(reasons)
    known = [reason.value for reason in EndReason if reason.value in present]
    return (*known, *sorted(present - set(known) - {WORKING}))


def cumulative_incidence(
    lives: Sequence[Life], causes: Sequence[str], *, level: float = 0.95
) -> tuple[IncidenceCurve, ...]:
    """Share ended by each cause, by age, with all causes at work together.

    Parameters
    ----------
    lives
        The lives; delayed entry is respected, a bracketed failure is placed midway.
    causes
        What ended each life, in the same order; :data:`WORKING` for one that has not
        ended.
    level
        Level of the pointwise intervals (on the log(-log) scale, so that they stay
        between 0 and 1).

    Returns
    -------
    tuple of IncidenceCurve
        One a cause, causes in alphabetical order. At every age the shares of all
        causes and the share still in service add up to 1.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When lives and causes do not pair, or nothing was lived.
    """
    check_level(level)
    if len(lives) != len(causes):
        raise DomainError(
            f"{len(lives)} lives came with {len(causes)} ends; each life needs its "
            "own, empty while it works."
        )
    if not lives:
        raise DomainError("There are no lives to draw ends from.")
    exits = np.array([life.point_age_years for life in lives])
    entries = np.array([life.entry_age_years for life in lives])
    words = np.array(causes, dtype=object)
    ended = words != WORKING
    ages = np.unique(exits[ended])
    if not ages.size:
        return ()
    at_risk = np.array([np.sum((entries < a) & (a <= exits)) for a in ages], dtype=int)
    everyone = np.array([np.sum(ended & (exits == a)) for a in ages])
    # An end on the day that watching began would leave nobody at risk.
    at_risk = np.maximum(at_risk, everyone)
    before = np.concatenate([[1.0], np.cumprod(1.0 - everyone / at_risk)[:-1]])
    return tuple(
        _curve(cause, words == cause, exits, ages, at_risk, everyone, before, level)
        for cause in sorted(set(words[ended].tolist()))
    )


def _curve(
    cause: str,
    by_cause: np.ndarray,
    exits: Array,
    ages: Array,
    at_risk: np.ndarray,
    everyone: np.ndarray,
    before: Array,
    level: float,
) -> IncidenceCurve:
    own = np.array([np.sum(by_cause & (exits == age)) for age in ages])
    share = np.cumsum(before * own / at_risk)
    error = np.sqrt(_variance(share, own, at_risk, everyone, before))
    reach = norm.ppf((1.0 + level) / 2.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = reach * error / (share * np.log(share))
        low, high = share ** np.exp(-spread), share ** np.exp(spread)
    shown = own > 0
    return IncidenceCurve(
        cause=cause,
        age_years=tuple(ages[shown].tolist()),
        ended=tuple(own[shown].tolist()),
        at_risk=tuple(at_risk[shown].tolist()),
        share=tuple(share[shown].tolist()),
        standard_error=tuple(error[shown].tolist()),
        low=tuple(low[shown].tolist()),
        high=tuple(high[shown].tolist()),
        level=level,
        n_ended=int(own.sum()),
        n_units=exits.size,
    )


def _variance(
    share: Array, own: Array, at_risk: Array, everyone: Array, before: Array
) -> Array:
    """Delta-method variance of the share at each age.

    Sum over earlier ages j of (I - I_j)² d_j / (n_j (n_j - d_j))
    + S_j-² (n_j - d_kj) d_kj / n_j³ - 2 (I - I_j) S_j- d_kj / n_j².
    """
    with np.errstate(divide="ignore"):
        spread = everyone / (at_risk * (at_risk - everyone).astype(float))
    # Nobody is left after the last such age, and I - I_j is zero there.
    spread = np.where(np.isfinite(spread), spread, 0.0)
    chance = before**2 * (at_risk - own) * own / at_risk.astype(float) ** 3
    cross = before * own / at_risk.astype(float) ** 2
    gap = share[:, None] - share[None, :]
    earlier = np.tri(share.size)
    terms = gap**2 * spread + chance - 2.0 * gap * cross
    return np.maximum(np.sum(terms * earlier, axis=1), 0.0)


def cause_specific_lives(
    lives: Sequence[Life], causes: Sequence[str], cause: str
) -> list[Life]:
    """The lives with only this cause counted as failure, every other end censored."""
    return [
        life
        if one == cause and life.failed
        else replace(
            life,
            age_years=life.point_age_years,
            failed=one == cause,
            low_years=None,
            high_years=None,
            until_years=None,
        )
        for life, one in zip(lives, causes, strict=True)
    ]


def incidence_from_curves(
    fits: Mapping[str, WeibullFit], age_years: float, *, steps: int = 2000
) -> dict[str, float]:
    """Share ended by each cause by an age, from the causes' own curves.

    The integral of S(t) h_k(t) with S = exp(-sum of H_k), taken on steps of equal total
    hazard; each step is shared out by the causes' increments of hazard.

    Parameters
    ----------
    fits
        Each cause's own curve, other ends censored.
    age_years
        Age, zero or more.
    steps
        Steps of the integration.

    Returns
    -------
    dict
        Shares; they add up to 1 - S(age).
    """
    if not (math.isfinite(age_years) and age_years >= 0):
        raise DomainError(f"An age of {age_years} years cannot be.")
    grid = age_years * np.linspace(0.0, 1.0, steps + 1) ** 2
    hazards = {k: (grid / f.scale_years) ** f.shape for k, f in fits.items()}
    whole = np.sum([np.zeros(grid.size), *hazards.values()], axis=0)
    lost = -np.diff(np.exp(-whole))
    total = np.diff(whole)
    part = np.divide(lost, total, out=np.zeros_like(lost), where=total > 0)
    return {k: float(np.sum(part * np.diff(h))) for k, h in hazards.items()}
