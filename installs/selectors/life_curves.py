"""What is known of the life of each technology, and what makes lives doubtful."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from installs.calc.types import (
    Goodness,
    GroupComparison,
    IncidenceCurve,
    Life,
    SurvivalCurve,
    WeibullFit,
)
from installs.selectors.lives import Expectation, LifeRow

#: So many failures of one technology within so many days are one event, or one error.
WEEK_DAYS = 7
_WEEK_SHARE, _WEEK_LEAST = 0.5, 3


@dataclass(frozen=True)
class TechnologyCurve:
    """What is known of the life of one technology."""

    technology: str
    lives: tuple[Life, ...]
    curve: SurvivalCurve
    fit: WeibullFit
    expectation: Expectation
    n_live: int
    ends: tuple[IncidenceCurve, ...]
    modes: tuple[IncidenceCurve, ...]
    goodness: Goodness
    rests_on: str
    by_lot: GroupComparison | None

    @property
    def lots_words(self) -> str:
        """Whether the lots live alike, without the counts of each."""
        return self.by_lot.sentence.partition(":")[0] + "." if self.by_lot else ""


def technology_curve(
    rows: list[LifeRow], fit: WeibullFit, expectation: Expectation
) -> TechnologyCurve:
    """One technology's curve, how it stands against its lives, and its ends."""
    from installs.calc.competing import cumulative_incidence
    from installs.calc.goodness import goodness_of_fit
    from installs.calc.pooling import borrowing
    from installs.calc.survival import kaplan_meier

    lives = [row.life for row in rows]
    reasons = [row.end_reason for row in rows]
    modes = [row.failure_mode or row.end_reason for row in rows]
    return TechnologyCurve(
        technology=rows[0].technology,
        lives=tuple(lives),
        curve=kaplan_meier(lives),
        fit=fit,
        expectation=expectation,
        n_live=sum(row.ended_on is None for row in rows),
        ends=cumulative_incidence(lives, reasons),
        modes=cumulative_incidence(lives, modes),
        goodness=goodness_of_fit(lives, fit),
        rests_on=borrowing(fit).sentence,
        by_lot=_by_lot(rows),
    )


def _by_lot(rows: list[LifeRow]) -> GroupComparison | None:
    """Whether the lots live alike; None where fewer than two lots are named."""
    from installs.calc.groups import compare_lives

    lots: dict[str, list[Life]] = {}
    for row in rows:
        if row.lot:
            lots.setdefault(row.lot, []).append(row.life)
    return compare_lives(lots) if len(lots) > 1 else None


def doubts(
    rows: Sequence[LifeRow], places: Mapping[int, str] | None = None
) -> list[str]:
    """What in the lives themselves makes a forecast from them doubtful.

    ``places`` are the names of the installations' places, by their keys.
    """
    known = places or {}
    said = []
    for word in sorted({row.technology for row in rows}):
        days = sorted(
            row.ended_on
            for row in rows
            if row.technology == word and row.failed and row.ended_on is not None
        )
        most, begin = 0, None
        for first in days:
            n = sum(0 <= (day - first).days < WEEK_DAYS for day in days)
            if n > most:
                most, begin = n, first
        if begin is not None and most >= max(_WEEK_LEAST, _WEEK_SHARE * len(days)):
            said.append(
                f"{most} of {len(days)} failures of {word} sensors lie within one "
                f"week from {begin:%-d %b %Y}. Were they one event (lightning, works), "
                "or the day on which they were written down? Lives are taken as "
                "independent, so the curve is surer of itself than it should be."
            )
    for row in _overlapping(rows):
        place = known.get(row.pk, row.position)
        said.append(
            f"Two lives overlap at {place}: one begins on "
            f"{row.installed_on:%-d %b %Y}, before the one before it had ended. "
            "Correct their days."
        )
    return said


def _overlapping(rows: Sequence[LifeRow]) -> list[LifeRow]:
    """Lives that begin at a position before the one before them had ended."""
    found = []
    last: dict[tuple[int, str], dt.date] = {}
    for row in sorted(rows, key=lambda r: r.installed_on):
        place = (row.lane_id, row.position)
        if place in last and row.installed_on < last[place]:
            found.append(row)
        last[place] = max(row.ended_on or dt.date.max, last.get(place, dt.date.min))
    return found
