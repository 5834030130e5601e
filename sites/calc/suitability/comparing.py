"""Candidates side by side, ordered by what fails first and never by a score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from sites.calc.suitability.assessing import Suitability
from sites.calc.suitability.base import LineJudgement, LineState
from sites.calc.suitability.words import counted, listed, ordinal
from sites.calc.types import RankReason
from wimprog.lib.errors import DomainError

RANKING_RULE = (
    "Fewest conditions missed first; then the smaller worst miss, as a share of its "
    "limit; then fewer conditions not known; then the wider smallest margin."
)
"""The rule of the order, in one line for the screen.

A condition that is not known may turn out to be the first to fail, so it weighs more
than a margin that is small but holds: a candidate is not put in front for having been
measured less. Yes-or-no conditions have no margin and count by number only.
"""

_SHARE_DIGITS = 9
_NO_MARGIN = 1e6  # wider than any margin: nothing with a number was met

_REASONS = (
    RankReason.MORE_MISSES,
    RankReason.DEEPER_MISS,
    RankReason.MORE_UNKNOWN,
    RankReason.SMALLER_MARGIN,
)


@dataclass(frozen=True)
class RankedCandidate:
    """A candidate in its place.

    Attributes
    ----------
    name
        The candidate.
    suitability
        Its judgement.
    rank
        1 for the first; candidates that tie share a rank; None where nothing was
        measured, which stands last.
    tied_with
        Names of the candidates that share the rank.
    reason
        What sets it behind the candidate before it.
    fails_first
        The condition that fails first.
    n_misses, n_unknown
        Conditions missed, and conditions not measured or left open.
    sentence
        Why it stands here.
    """

    name: str
    suitability: Suitability
    rank: int | None
    tied_with: tuple[str, ...]
    reason: RankReason
    fails_first: LineJudgement | None
    n_misses: int
    n_unknown: int
    sentence: str

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "name": self.name,
            "rank": self.rank,
            "tied_with": list(self.tied_with),
            "reason": self.reason.value,
            "fails_first": self.fails_first.key if self.fails_first else None,
            "n_misses": self.n_misses,
            "n_unknown": self.n_unknown,
            "sentence": self.sentence,
            "suitability": self.suitability.as_dict(),
        }


class _Key(NamedTuple):
    """What the order goes by; smaller is better."""

    n_misses: int
    depth: float
    n_unknown: int
    closeness: float


def compare(
    candidates: Sequence[tuple[str, Suitability]],
) -> tuple[RankedCandidate, ...]:
    """Order candidates by :data:`RANKING_RULE`.

    Parameters
    ----------
    candidates
        Name and judgement of each, all for the same wanted type.

    Returns
    -------
    tuple of RankedCandidate
        Best first; ties in order of name; those with nothing measured last.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When two have one name, or they were judged for different types.
    """
    names = [name for name, _ in candidates]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise DomainError(f"Two candidates are called “{twice}”; give each its name.")
    types = sorted({one.wanted for _, one in candidates})
    if len(types) > 1:
        raise DomainError(
            f"The candidates were judged for {listed(types)}; compare them for one "
            "type."
        )
    known = [pair for pair in candidates if _is_measured(pair[1])]
    blank = sorted(name for name, one in candidates if not _is_measured(one))
    ordered = sorted(known, key=lambda pair: (_key(pair[1]), pair[0]))
    ranked = _ranked(ordered)
    by_name = dict(candidates)
    return (*ranked, *(_unranked(name, by_name[name]) for name in blank))


def _ranked(ordered: Sequence[tuple[str, Suitability]]) -> list[RankedCandidate]:
    keys = [_key(one) for _, one in ordered]
    ranks: list[int] = []
    for i, key in enumerate(keys):
        ranks.append(ranks[-1] if i and key == keys[i - 1] else i + 1)
    found = []
    for (name, one), rank, key in zip(ordered, ranks, keys, strict=True):
        tied = tuple(
            other for (other, _), r in zip(ordered, ranks, strict=True)
            if r == rank and other != name
        )  # fmt: skip
        # ranks count places, so the candidate just ahead stands at rank − 1
        ahead = (ordered[rank - 2][0], keys[rank - 2]) if rank > 1 else None
        reason = _reason(key, ahead and ahead[1], bool(tied))
        found.append(
            RankedCandidate(
                name=name,
                suitability=one,
                rank=rank,
                tied_with=tied,
                reason=reason,
                fails_first=one.fails_first,
                n_misses=key.n_misses,
                n_unknown=key.n_unknown,
                sentence=_sentence(
                    one, rank, tied, ahead and ahead[0], _difference(key, ahead)
                ),
            )
        )
    return found


def _unranked(name: str, one: Suitability) -> RankedCandidate:
    return RankedCandidate(
        name=name,
        suitability=one,
        rank=None,
        tied_with=(),
        reason=RankReason.NOTHING_MEASURED,
        fails_first=None,
        n_misses=0,
        n_unknown=len(one.conditions),
        sentence="Not ranked: nothing that counts was measured here.",
    )


def _is_measured(one: Suitability) -> bool:
    return any(line.state is not LineState.NOT_MEASURED for line in one.conditions)


def _key(one: Suitability) -> _Key:
    """Shares are rounded, so that margins equal but for arithmetic tie."""
    misses = one.misses
    depth = max((-(line.relative_margin or 0.0) for line in misses), default=0.0)
    margins = [
        line.relative_margin
        for line in one.conditions
        if line.state is LineState.MEETS and line.relative_margin is not None
    ]
    closest = min(margins, default=_NO_MARGIN)
    n_unknown = len(one.unmeasured) + len(one.left_open)
    return _Key(
        n_misses=len(misses),
        depth=round(depth, _SHARE_DIGITS),
        n_unknown=n_unknown,
        closeness=-round(closest, _SHARE_DIGITS),
    )


def _difference(key: _Key, ahead: tuple[str, _Key] | None) -> RankReason | None:
    if ahead is None:
        return None
    return next(
        reason
        for reason, mine, other in zip(_REASONS, key, ahead[1], strict=True)
        if mine != other
    )


def _reason(key: _Key, ahead: _Key | None, is_tied: bool) -> RankReason:
    if is_tied:
        return RankReason.TIED
    if ahead is None:
        return RankReason.FIRST
    return _difference(key, ("", ahead)) or RankReason.TIED


def _sentence(
    one: Suitability,
    rank: int,
    tied: tuple[str, ...],
    ahead: str | None,
    difference: RankReason | None,
) -> str:
    place = f"Tied {ordinal(rank)} with {listed(tied)}" if tied else ordinal(rank)
    text = f"{place}: {_failing(one)}"
    n_unmeasured, n_open = len(one.unmeasured), len(one.left_open)
    if n_unmeasured:
        text += f" {counted(n_unmeasured, 'condition')} not measured."
    if n_open:
        text += f" {counted(n_open, 'condition')} left open."
    if ahead is not None and difference is not None:
        text += f" Behind {ahead}: {difference}."
    return text


def _failing(one: Suitability) -> str:
    first, misses = one.fails_first, one.misses
    if misses:
        others = [line.name for line in misses[1:]]
        text = f"fails first on {one.with_margin(misses[0])}"
        return f"{text}, then on {listed(others)}." if others else f"{text}."
    if first is None:
        return "nothing missed."
    return f"nothing missed; closest to failing is {one.with_margin(first)}."
