"""A judgement: a value, what it was held against, and the sentence that says so.

Screens, reports and commands print judgements and nothing else formats verdicts, so a
verdict can never appear without its n, its interval and its rule.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any


class Verdict(StrEnum):
    """The three answers a judgement can give."""

    MEETS = "meets"
    MISSES = "misses"
    CANNOT_SAY = "cannot say"


class Condition(StrEnum):
    """The condition words of a lane, worst first when sorted by ``rank``."""

    ACT = "act"
    WATCH = "watch"
    SOUND = "sound"
    NO_DATA = "no data"

    @property
    def rank(self) -> int:
        """0 for the condition that needs someone soonest."""
        return list(Condition).index(self)


@dataclass(frozen=True)
class Interval:
    """An interval with the level it claims, 0.95 for 95 %."""

    low: float
    high: float
    level: float = 0.95


@dataclass(frozen=True)
class Judgement:
    """One quantity judged by one rule.

    Attributes
    ----------
    quantity
        What was judged, in the trade's words ("gross weight").
    value
        The statistic, in ``unit``; ``None`` when there is nothing to judge.
    unit
        Unit of ``value``, ``interval`` and ``limit`` ("%", "MΩ").
    n
        Number of observations behind ``value``.
    interval
        Interval of the statistic, when the method gives one.
    rule
        The rule in one line, with its source.
    limit
        The limit in words ("±10 % for 95 % of runs").
    verdict
        ``meets``, ``misses`` or ``cannot say``.
    sentence
        The whole thing for people.
    standing
        Standing of the limit: "confirmed", "not checked against the document",
        "agency's own", "computed".
    details
        Further numbers that the rule used (pi0, pi, delta ...), for tables.
    """

    quantity: str
    value: float | None
    unit: str
    n: int
    interval: Interval | None
    rule: str
    limit: str
    verdict: Verdict
    sentence: str
    standing: str = "confirmed"
    details: tuple[tuple[str, Any], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values, for ``--json`` and for stored results."""
        data = asdict(self)
        data["verdict"] = self.verdict.value
        data["details"] = dict(self.details)
        return data
