"""What a check is, what it finds and at which level it looks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.records import Records

CONFIRMED = "confirmed"
FROM_MEMORY = "from memory"
OWN_SIMULATION = "our own simulation"
COMMON_PRACTICE = "common practice, no source"


class Level(StrEnum):
    """What a check looks at."""

    RECORD = "record"
    LANE_DAY = "lane-day"
    LANE_PAIR = "pair of lanes"


class Weight(StrEnum):
    """What a finding proposes for its day."""

    SET_ASIDE = "set aside"
    LOOK = "look at"


@dataclass(frozen=True)
class Finding:
    """One check that fired on one day; the sentence is fit to be shown."""

    key: str
    date: np.datetime64
    value: float
    limit: float
    n: int
    weight: Weight
    sentence: str


CheckFunction = Callable[[LaneDays, "Check", float], list[Finding]]
PairFunction = Callable[[LaneDays, LaneDays, "PairCheck", float], list[Finding]]


@dataclass(frozen=True)
class _Told:
    """What every check tells of itself.

    Attributes
    ----------
    key
        Name in data and addresses; never changes.
    title, unit, sentence
        For people; the sentence is filled in by the finding.
    default_limit, source, standing
        The limit, where it is from, and whether that was checked.
    """

    key: str
    title: str
    unit: str
    default_limit: float
    source: str
    standing: str
    sentence: str


@dataclass(frozen=True)
class Check(_Told):
    """A check of a lane's days: what it is called, and what it is limited by."""

    run: CheckFunction
    level: Level = Level.LANE_DAY


@dataclass(frozen=True)
class PairCheck(_Told):
    """A check of two lanes of a site against each other; findings name the day."""

    run: PairFunction
    level: Level = Level.LANE_PAIR


@dataclass(frozen=True)
class RecordResult:
    """What a check says of each of n records.

    Attributes
    ----------
    broken : bool, (n,)
        Whether the record breaks the limit; False where there is no data.
    tested : bool, (n,)
        Whether the record holds what the check needs; False is "no data".
    value : (n,)
        What is held against the limit, in the check's unit; NaN without data.
    """

    broken: np.ndarray
    tested: np.ndarray
    value: np.ndarray

    @classmethod
    def above(cls, value: np.ndarray, limit: float) -> RecordResult:
        """Broken where ``value`` is above ``limit``, no data where it is NaN."""
        with np.errstate(invalid="ignore"):
            return cls(value > value.dtype.type(limit), ~np.isnan(value), value)


RecordFunction = Callable[[Records, float], RecordResult]


@dataclass(frozen=True)
class DayShare:
    """The share of a day's records at which the day itself is proposed."""

    limit: float
    weight: Weight
    source: str
    standing: str


@dataclass(frozen=True)
class RecordCheck(_Told):
    """A check of single records.

    The sentence is what is said of those that break it, after "so many of so many
    vehicles". With ``day_share`` the days are judged by the share of such records:
    that is a check of its own with the key ``<key>-share``.
    """

    run: RecordFunction
    day_share: DayShare | None = None
    level: Level = Level.RECORD
