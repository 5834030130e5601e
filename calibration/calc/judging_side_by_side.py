"""The same runs under several standards side by side, one row for each criterion."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from calibration.calc.standards import all_standards, find_standard
from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    Conditions,
    StandardVerdict,
)
from calibration.calc.types import RunErrors
from wimprog.lib.judgement import Interval, Judgement, Verdict

SYSTEM = "system"
"""Name of the row that speaks for all criteria of a standard."""


@dataclass(frozen=True)
class SideBySideRow:
    """One criterion of one standard.

    Attributes
    ----------
    standard, title, edition
        The standard.
    judged_class, wanted_class, attained_class
        The class that the row is about, the one asked for, and the best attained.
    criterion
        "gross weight"; "system" for the standard as a whole.
    n
        Number of errors; of runs in the system's row.
    statistic
        Name of the statistic ("share within", "mean", "smallest tolerance"); in the
        system's row, the criterion that decides.
    value, unit, interval
        The statistic; None without data.
    limit
        The limit in words.
    margin, margin_unit
        How far the statistic is inside its limit, negative outside; None without data.
    verdict, sentence
        The verdict, and the whole thing for people.
    rule, standing
        The rule with its source, and what of it was checked or is the agency's own.
    """

    standard: str
    title: str
    edition: str
    judged_class: str
    wanted_class: str | None
    attained_class: str | None
    criterion: str
    n: int
    statistic: str
    value: float | None
    unit: str
    interval: Interval | None
    limit: str
    margin: float | None
    margin_unit: str
    verdict: Verdict
    sentence: str
    rule: str
    standing: str

    @property
    def is_system(self) -> bool:
        """Does the row speak for the whole standard?"""
        return self.criterion == SYSTEM

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values; ``None`` is no data."""
        return asdict(self) | {"verdict": self.verdict.value}


@dataclass(frozen=True)
class SideBySide:
    """The table, and the verdicts it was made from.

    Attributes
    ----------
    rows
        By standard, its system's row first.
    verdicts
        One for each standard, with what it does not cover and its remarks.
    """

    rows: tuple[SideBySideRow, ...]
    verdicts: tuple[StandardVerdict, ...]

    def rows_of(self, standard: str) -> tuple[SideBySideRow, ...]:
        """The rows of one standard, by its key."""
        return tuple(row for row in self.rows if row.standard == standard)

    @property
    def attained(self) -> dict[str, str | None]:
        """Best class attained by key of standard; None where none is."""
        return {one.standard: one.attained_class for one in self.verdicts}

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values; ``None`` is no data."""
        return {
            "rows": [row.as_dict() for row in self.rows],
            "does_not_cover": {
                one.standard: one.does_not_cover for one in self.verdicts
            },
            "notes": {one.standard: list(one.notes) for one in self.verdicts},
        }


def judge_side_by_side(
    errors: RunErrors,
    conditions: Conditions = DEFAULT_CONDITIONS,
    wanted: Mapping[str, str] | None = None,
) -> SideBySide:
    """Judge the same runs by every standard.

    Parameters
    ----------
    errors
        Errors of the runs.
    conditions
        Test conditions, unit system and the agency's own values.
    wanted
        Class to judge against by key of standard; a standard that is not named finds
        the best class attained.

    Returns
    -------
    SideBySide

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a standard or class is not known, or an agency's value cannot be used.
    """
    asked = {find_standard(key).key: name for key, name in (wanted or {}).items()}
    verdicts = tuple(
        one.judge(errors, wanted_class=asked.get(key), conditions=conditions)
        for key, one in all_standards().items()
    )
    rows = tuple(row for verdict in verdicts for row in _rows_of(verdict))
    return SideBySide(rows=rows, verdicts=verdicts)


def _rows_of(verdict: StandardVerdict) -> Iterator[SideBySideRow]:
    yield _row(verdict, verdict.overall)
    for judgement in verdict.judgements:
        yield _row(verdict, judgement)


def _row(verdict: StandardVerdict, one: Judgement) -> SideBySideRow:
    details = dict(one.details)
    return SideBySideRow(
        standard=verdict.standard,
        title=verdict.title,
        edition=verdict.edition,
        judged_class=verdict.judged_class,
        wanted_class=verdict.wanted_class,
        attained_class=verdict.attained_class,
        criterion=str(one.quantity),
        n=one.n,
        statistic=str(details.get("statistic", details.get("shown criterion", ""))),
        value=one.value,
        unit=one.unit,
        interval=one.interval,
        limit=one.limit,
        margin=details.get("margin"),
        margin_unit=str(details.get("margin unit", "")),
        verdict=one.verdict,
        sentence=one.sentence,
        rule=one.rule,
        standing=one.standing,
    )
