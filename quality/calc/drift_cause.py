"""What may have caused a shift, from dated facts; suggestions, never findings.

Each rule looks for one kind of fact near the onset and, when it is there, says it in a
sentence. Nothing is concluded: the list tells whoever goes there what to look at first.
The rules and windows are our own (common practice, no source).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from quality.calc.change_point import Shape
from quality.calc.condition import day_in_words
from quality.calc.drift_episode import Cause, DriftEpisode, Scope
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

NEAR_DAYS = 14
"""Work this near the interval of the onset is told."""
TEST_BEFORE_DAYS = 60
TEST_AFTER_DAYS = 365
EXPLAINS = 0.5
"""Share of the size that temperature or speed must explain to be told."""


class Work(StrEnum):
    """What was done at a visit."""

    CALIBRATION = "calibration"
    REPAIR = "repair"
    SETTINGS = "settings"
    SURFACING = "resurfacing"
    OTHER = "other work"


@dataclass(frozen=True)
class TestFact:
    """An electrical test: its day, the sensor, whether a limit is missed, what."""

    __test__ = False

    on: dt.date
    sensor: str
    misses: bool
    what: str = ""


@dataclass(frozen=True)
class WorkFact:
    """Work at the lane or site: its day, kind, and what was done."""

    on: dt.date
    work: Work
    what: str = ""


@dataclass(frozen=True)
class EffectFact:
    """Effect of temperature or speed on the reading, and how far that moved.

    ``pct_per_unit`` with ``interval`` [% per ``unit``]; ``moved`` [``unit``]: its mean
    after the onset less the mean before.
    """

    name: str
    unit: str
    pct_per_unit: float
    interval: Interval
    moved: float


@dataclass(frozen=True)
class CauseFacts:
    """Everything known of the lane that may bear on a shift."""

    tests: Sequence[TestFact] = ()
    work: Sequence[WorkFact] = ()
    effects: Sequence[EffectFact] = ()


def suggest_causes(episode: DriftEpisode, facts: CauseFacts) -> tuple[Cause, ...]:
    """Likely causes, the strongest first; empty when no fact speaks for any.

    Parameters
    ----------
    episode
        The shift, with its scope where it was compared.
    facts
        Dated facts of the lane.
    """
    found: list[tuple[int, str, str]] = []
    region = episode.scope.scope is Scope.REGION
    if region:
        found.append(
            (0, "season, loads or traffic of the region", episode.scope.sentence)
        )
    found.extend(_tests(episode, facts.tests))
    found.extend(_work(episode, facts.work))
    found.extend(_effects(episode, facts.effects))
    if episode.scope.scope in (Scope.SITE, Scope.LANES):
        found.append(
            (2, "a part that the lanes share, such as the controller",
             episode.scope.sentence)
        )  # fmt: skip
    if episode.scope.scope is Scope.SENSOR:
        found.append(
            (2, f"the {episode.scope.sensor}, its lead-in or its channel",
             episode.scope.sentence)
        )  # fmt: skip
    if episode.shape is Shape.RAMP and not region:
        weekly = format_number(episode.slope_pct_per_week or 0.0, 2)
        found.append(
            (4, "ageing of the sensors, their bond or the pavement around them",
             f"The reading moved little by little, {weekly} % a week since "
             f"{day_in_words(episode.onset_on)}.")
        )  # fmt: skip
    found.sort(key=lambda one: one[0])
    return tuple(
        Cause(what, evidence, rank)
        for rank, (_, what, evidence) in enumerate(found, start=1)
    )


def _tests(
    episode: DriftEpisode, tests: Sequence[TestFact]
) -> list[tuple[int, str, str]]:
    """Sensors whose test missed near the onset, and when they last met."""
    first = episode.onset_low_on - dt.timedelta(days=TEST_BEFORE_DAYS)
    last = episode.onset_high_on + dt.timedelta(days=TEST_AFTER_DAYS)
    if episode.until_on is not None:
        last = min(last, episode.until_on + dt.timedelta(days=NEAR_DAYS))
    out = []
    for sensor in dict.fromkeys(test.sensor for test in tests):
        own = sorted((t for t in tests if t.sensor == sensor), key=lambda t: t.on)
        misses = [t for t in own if t.misses and first <= t.on <= last]
        if not misses:
            continue
        miss = misses[0]
        met = [t for t in own if not t.misses and t.on < miss.on]
        earlier = any(t.misses and t.on < first for t in own)
        what = miss.what or "the electrical test"
        said = f"{sensor}: {what} missed its limit on {day_in_words(miss.on)}"
        said += f"; it met on {day_in_words(met[-1].on)}." if met else "."
        if earlier:
            said += " It had missed before the onset too."
        rank = 3 if earlier else 1
        out.append((rank, f"an electrical fault of {sensor}", said))
    return out


def _work(
    episode: DriftEpisode, work: Sequence[WorkFact]
) -> list[tuple[int, str, str]]:
    """Work within the interval of the onset, or two weeks of it."""
    first = episode.onset_low_on - dt.timedelta(days=NEAR_DAYS)
    last = episode.onset_high_on + dt.timedelta(days=NEAR_DAYS)
    out = []
    for fact in sorted(work, key=lambda one: abs((one.on - episode.onset_on).days)):
        if not first <= fact.on <= last:
            continue
        inside = episode.onset_low_on <= fact.on <= episode.onset_high_on
        where = "within" if inside else "near"
        what = f": {fact.what}" if fact.what else ""
        said = (
            f"{fact.work.value.capitalize()} on {day_in_words(fact.on)}{what}, {where} "
            "the interval of the onset."
        )
        rank = 1 if inside and episode.shape is not Shape.RAMP else 3
        out.append((rank, f"{fact.work.value} at the site", said))
    return out


def _effects(
    episode: DriftEpisode, effects: Sequence[EffectFact]
) -> list[tuple[int, str, str]]:
    """Temperature or speed that moved enough to explain half of the size."""
    out = []
    for fact in effects:
        if fact.interval.low <= 0.0 <= fact.interval.high:
            continue
        explained = fact.pct_per_unit * fact.moved
        if explained / episode.size_pct < EXPLAINS:
            continue
        said = (
            f"The reading follows {fact.name} by {format_number(fact.pct_per_unit, 2)} "
            f"% a {fact.unit} ({format_number(fact.interval.low, 2)} to "
            f"{format_number(fact.interval.high, 2)}), and that moved by "
            f"{format_number(fact.moved, 1)} {fact.unit}: "
            f"{format_number(explained, 1)} of {format_number(episode.size_pct, 1)} %."
        )
        out.append((2, f"the effect of {fact.name}", said))
    return out
