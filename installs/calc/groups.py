"""Do groups of sensors live alike? The log-rank test, with entry and with words.

References
----------
Mantel, Cancer Chemotherapy Reports 50 (1966) 163-170; Klein & Moeschberger, Survival
Analysis, 2nd ed., 2003, section 7.3 (both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.stats import chi2

from installs.calc.likelihood import Array
from installs.calc.reliability import FEW_FAILURES, _few_note
from installs.calc.types import GroupComparison, GroupCount, Life
from wimprog.lib.errors import DomainError

#: A difference is called one below this chance of coming by accident.
SIGNIFICANCE = 0.05


def compare_lives(groups: Mapping[str, Sequence[Life]]) -> GroupComparison:
    """Log-rank test that two or more groups live alike.

    At each age of failure the failures are held against what the groups' numbers at
    risk would have it, those who enter late only from their entry on. Bracketed
    failures are placed midway.

    Parameters
    ----------
    groups
        Lives by group; groups without lives are left out.

    Returns
    -------
    GroupComparison
        Statistic, p value, observed and expected failures by group, and the sentence.

    Raises
    ------
    wimprog.lib.errors.DomainError
        With fewer than two groups that were lived in.
    """
    kept = {name: list(lives) for name, lives in groups.items() if lives}
    if len(kept) < 2:
        raise DomainError("A comparison needs two groups that have lives.")
    observed, expected, variance = _log_rank(list(kept.values()))
    off = observed - expected
    spread = np.linalg.matrix_rank(variance, tol=1e-9)
    statistic = float(off @ np.linalg.pinv(variance, rcond=1e-9) @ off)
    p = float(chi2.sf(statistic, spread)) if spread else None
    counts = tuple(
        GroupCount(name, len(lives), int(seen), float(wanted))
        for (name, lives), seen, wanted in zip(
            kept.items(), observed, expected, strict=True
        )
    )
    return GroupComparison(
        groups=counts,
        statistic=statistic,
        degrees=int(spread),
        p_value=p,
        sentence=_sentence(counts, p),
        warning=_warning(counts),
    )


def _log_rank(groups: Sequence[Sequence[Life]]) -> tuple[Array, Array, Array]:
    every = [
        (i, life.entry_age_years, life.point_age_years, life.failed)
        for i, lives in enumerate(groups)
        for life in lives
    ]
    group, entry, ends, failed = (
        np.array(column) for column in zip(*every, strict=True)
    )
    n = len(groups)
    observed, expected, variance = np.zeros(n), np.zeros(n), np.zeros((n, n))
    for age in np.unique(ends[failed]):
        at_risk = np.bincount(group[(entry < age) & (age <= ends)], minlength=n)
        died = np.bincount(group[failed & (ends == age)], minlength=n)
        total, deaths = at_risk.sum(), died.sum()
        share = at_risk / total
        observed += died
        expected += deaths * share
        if total > 1:
            scale = deaths * (total - deaths) / (total - 1)
            variance += scale * (np.diag(share) - np.outer(share, share))
    return observed, expected, variance


def _sentence(counts: Sequence[GroupCount], p: float | None) -> str:
    if p is None:
        return "Nothing failed while two groups were watched: nothing to compare."
    told = "; ".join(
        f"{one.name} {one.failures} failed where {one.expected:.1f} were expected"
        for one in counts
    )
    if p < SIGNIFICANCE:
        verdict = "The groups do not live alike"
    else:
        verdict = "No difference is shown"
    return f"{verdict} (log-rank, p = {_p(p)}): {told}, were they alike."


def _p(p: float) -> str:
    return f"{p:.3f}" if p >= 0.001 else "less than 0.001"


def _warning(counts: Sequence[GroupCount]) -> str:
    failures = {one.name: one.failures for one in counts}
    notes = []
    if sum(failures.values()) and min(one.expected for one in counts) < FEW_FAILURES:
        fewest = min(counts, key=lambda one: one.expected)
        notes.append(
            f"Only {fewest.expected:.1f} failures are expected in {fewest.name}, fewer "
            f"than {FEW_FAILURES}: the p value is rough."
        )
    if min(failures.values()) < FEW_FAILURES:
        notes.append(_few_note(failures))
    return " ".join(notes)
