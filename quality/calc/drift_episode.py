"""A drift episode: one shift of one lane, with everything that is said about it.

Plain values only: it is stored as JSON, printed by templates, and fed to the review
list and to the proposal of a correction.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from quality.calc.change_point import Shape
from wimprog.lib.judgement import Interval, Judgement, Verdict

SUGGESTION = "suggestion, not a finding"


class Scope(StrEnum):
    """What moved, by comparing neighbours."""

    SENSOR = "one sensor"
    LANE = "one lane"
    LANES = "several lanes of the site"
    SITE = "whole site"
    REGION = "whole region"
    UNKNOWN = "cannot say"


@dataclass(frozen=True)
class ScopeFinding:
    """What moved together with the lane.

    ``moved``, ``still``, ``untold``: the neighbours by name. ``points_to``: where such
    a shift usually comes from, a suggestion. ``sentence`` says it all.
    """

    scope: Scope
    sentence: str
    points_to: str = ""
    moved: tuple[str, ...] = ()
    still: tuple[str, ...] = ()
    untold: tuple[str, ...] = ()
    sensor: str = ""


@dataclass(frozen=True)
class Cause:
    """A likely cause, suggested by a fact.

    ``what`` in a few words, ``evidence`` the sentence of facts behind it, ``rank`` 1
    for the strongest, ``standing`` always that it is a suggestion.
    """

    what: str
    evidence: str
    rank: int
    standing: str = SUGGESTION


NOT_COMPARED = ScopeFinding(Scope.UNKNOWN, "Not compared with its neighbours.")


@dataclass(frozen=True)
class DriftEpisode:
    """One shift of one lane.

    Attributes
    ----------
    measure
        What is followed ("steering axle of class 9").
    shape
        Step, ramp, or not told apart.
    onset_on, onset_low_on, onset_high_on
        Monday of the first week of the shift, and its interval in days.
    found_on
        Last day of the week in which the chart first signalled, with what was known
        then.
    until_on
        First day it no longer holds: of the next calibration or shift; None: it holds.
    ended_by
        "calibration", "next shift", or "".
    size_pct, interval
        Change from before to the end of the episode [%] and its interval.
    slope_pct_per_week
        Change a week of a ramp [% a week]; None for a step.
    n_weeks, n_weeks_before, n_trucks
        Weeks since the onset, weeks before it that it is held against, and the trucks
        of both.
    phi, week_sd_pct
        Correlation and spread of weeks that the intervals allow for.
    false_alarms_per_lane_year
        Rate measured by simulation for such a chart; None where not measured.
    rule
        How it was found, in a sentence, with that rate.
    adjusted
        What was done about temperature and season, in a sentence.
    judgement
        The size held against the agency's limit.
    scope, causes
        What moved with it, and what may have caused it.
    """

    measure: str
    shape: Shape
    onset_on: dt.date
    onset_low_on: dt.date
    onset_high_on: dt.date
    found_on: dt.date
    until_on: dt.date | None
    ended_by: str
    size_pct: float
    interval: Interval
    slope_pct_per_week: float | None
    n_weeks: int
    n_weeks_before: int
    n_trucks: int
    phi: float
    week_sd_pct: float
    false_alarms_per_lane_year: float | None
    rule: str
    adjusted: str
    judgement: Judgement
    scope: ScopeFinding = NOT_COMPARED
    causes: tuple[Cause, ...] = field(default=())

    def with_scope(self, scope: ScopeFinding) -> DriftEpisode:
        """The same episode, compared with its neighbours."""
        return replace(self, scope=scope)

    def with_causes(self, causes: tuple[Cause, ...]) -> DriftEpisode:
        """The same episode with causes suggested."""
        return replace(self, causes=causes)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values; :meth:`from_dict` gives back the same episode."""
        return {
            "measure": self.measure,
            "shape": self.shape.value,
            "onset_on": self.onset_on.isoformat(),
            "onset_low_on": self.onset_low_on.isoformat(),
            "onset_high_on": self.onset_high_on.isoformat(),
            "found_on": self.found_on.isoformat(),
            "until_on": self.until_on.isoformat() if self.until_on else None,
            "ended_by": self.ended_by,
            "size_pct": self.size_pct,
            "interval": _interval_dict(self.interval),
            "slope_pct_per_week": self.slope_pct_per_week,
            "n_weeks": self.n_weeks,
            "n_weeks_before": self.n_weeks_before,
            "n_trucks": self.n_trucks,
            "phi": self.phi,
            "week_sd_pct": self.week_sd_pct,
            "false_alarms_per_lane_year": self.false_alarms_per_lane_year,
            "rule": self.rule,
            "adjusted": self.adjusted,
            "judgement": self.judgement.as_dict(),
            "scope": {
                "scope": self.scope.scope.value,
                "sentence": self.scope.sentence,
                "points_to": self.scope.points_to,
                "moved": list(self.scope.moved),
                "still": list(self.scope.still),
                "untold": list(self.scope.untold),
                "sensor": self.scope.sensor,
            },
            "causes": [
                {
                    "what": cause.what,
                    "evidence": cause.evidence,
                    "rank": cause.rank,
                    "standing": cause.standing,
                }
                for cause in self.causes
            ],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> DriftEpisode:
        """An episode from what :meth:`as_dict` wrote.

        Raises
        ------
        KeyError, ValueError
            When a value is missing, or is no date or word of its kind.
        """
        scope = data["scope"]
        until = data["until_on"]
        return cls(
            **{name: data[name] for name in _PLAIN},
            shape=Shape(data["shape"]),
            onset_on=dt.date.fromisoformat(data["onset_on"]),
            onset_low_on=dt.date.fromisoformat(data["onset_low_on"]),
            onset_high_on=dt.date.fromisoformat(data["onset_high_on"]),
            found_on=dt.date.fromisoformat(data["found_on"]),
            until_on=dt.date.fromisoformat(until) if until else None,
            interval=Interval(**data["interval"]),
            judgement=_judgement_of(data["judgement"]),
            scope=ScopeFinding(
                scope=Scope(scope["scope"]),
                sentence=scope["sentence"],
                points_to=scope["points_to"],
                moved=tuple(scope["moved"]),
                still=tuple(scope["still"]),
                untold=tuple(scope["untold"]),
                sensor=scope["sensor"],
            ),
            causes=tuple(Cause(**cause) for cause in data["causes"]),
        )


_PLAIN = (
    "measure",
    "ended_by",
    "size_pct",
    "slope_pct_per_week",
    "n_weeks",
    "n_weeks_before",
    "n_trucks",
    "phi",
    "week_sd_pct",
    "false_alarms_per_lane_year",
    "rule",
    "adjusted",
)


def _interval_dict(interval: Interval) -> dict[str, float]:
    return {"low": interval.low, "high": interval.high, "level": interval.level}


def _judgement_of(data: Mapping[str, Any]) -> Judgement:
    interval = data["interval"]
    return Judgement(
        quantity=data["quantity"],
        value=data["value"],
        unit=data["unit"],
        n=data["n"],
        interval=Interval(**interval) if interval else None,
        rule=data["rule"],
        limit=data["limit"],
        verdict=Verdict(data["verdict"]),
        sentence=data["sentence"],
        standing=data["standing"],
        details=tuple(data["details"].items()),
    )
