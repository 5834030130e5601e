"""Conditions as data, and the functions that judge any of them.

A limit is inclusive or it is not, as its document says; a value within a billionth of
a limit is at the limit.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from sites.calc.suitability.base import (
    FROM_MEMORY,
    LineJudgement,
    LineState,
    SuitabilitySettings,
)
from sites.calc.suitability.words import (
    Scale,
    capital,
    is_equal,
)
from sites.calc.types import SurveyFacts
from wimprog.lib.judgement import Judgement
from wimprog.lib.units import UnitSystem


@dataclass(frozen=True)
class Bound:
    """One side of a limit.

    Attributes
    ----------
    si
        The limit [SI].
    us
        The limit that the document gives in US customary units, turned to SI; None
        where it gives none.
    is_inclusive
        Whether a value at the limit is inside.
    key
        Under which an agency may set its own; empty where the limit was held against
        a public text.
    """

    si: float
    us: float | None = None
    is_inclusive: bool = True
    key: str = ""

    def value(self, system: UnitSystem) -> float:
        """The limit that holds in a unit system [SI]."""
        return self.us if system == UnitSystem.US and self.us is not None else self.si

    def shown(self, scale: Scale, system: UnitSystem) -> str:
        """The limit in words; the document's own figure behind it where they differ."""
        if system == UnitSystem.US and self.us is None and scale.us != scale.si:
            own_figure = scale.shown(self.si, UnitSystem.SI)
            return f"{scale.shown(self.si, system)} ({own_figure})"
        return scale.exact(self.value(system), system)


@dataclass(frozen=True)
class Limits:
    """A lower limit, an upper limit, or both."""

    low: Bound | None = None
    high: Bound | None = None

    def sides(self) -> tuple[tuple[str, Bound], ...]:
        """The limits that there are, each with the words before its figure."""
        found = []
        if self.low is not None:
            found.append(("at least" if self.low.is_inclusive else "above", self.low))
        if self.high is not None:
            found.append(("at most" if self.high.is_inclusive else "below", self.high))
        return tuple(found)

    def words(self, scale: Scale, system: UnitSystem) -> str:
        """The limits in words: "at least 5,700 ft", "below 3 %"."""
        return " and ".join(
            f"{how} {bound.shown(scale, system)}" for how, bound in self.sides()
        )


@dataclass(frozen=True)
class Requirement:
    """One condition on one number, with its limits for each class.

    Attributes
    ----------
    key, name, field
        The condition, its name for people, and the survey's fact.
    scale
        How its values are shown.
    limits
        Limits by class; a class that is missing does not ask.
    too_low, too_high
        What would have to be mended on either side; ``{gap}`` and ``{limit}`` are
        filled in.
    rule
        Where the limit stands.
    standing
        What was checked of it.
    standings
        The same by class, where it is not the same for all: a class whose limit is the
        agency's own.
    """

    key: str
    name: str
    field: str
    scale: Scale
    limits: Mapping[str, Limits]
    rule: str
    too_low: str = ""
    too_high: str = ""
    standing: str = FROM_MEMORY
    standings: Mapping[str, str] = dataclasses.field(default_factory=dict)

    def value(self, facts: SurveyFacts) -> float | None:
        """The size of the fact; infinite for the radius of a straight."""
        if self.field == "curve_radius_m" and facts.curve_is_straight:
            return math.inf
        value: float | None = getattr(facts, self.field)
        return None if value is None else abs(value)


@dataclass(frozen=True)
class _Side:
    """A value against one side of its limits."""

    bound: Bound
    limit: float
    margin: float
    is_low: bool

    @property
    def relative(self) -> float:
        return self.margin / self.limit

    @property
    def is_at_limit(self) -> bool:
        return self.margin == 0.0

    @property
    def is_inside(self) -> bool:
        if self.is_at_limit:
            return self.bound.is_inclusive
        return self.margin > 0.0

    def words(self, scale: Scale, system: UnitSystem) -> str:
        if self.is_at_limit:
            which = "" if self.is_inside else ", which is not inside it"
            return f"exactly at the limit{which}"
        gap = scale.shown(abs(self.margin), system)
        if self.is_inside:
            return f"{gap} to spare"
        return f"{gap} short" if self.is_low else f"{gap} over"


def state_of(
    requirement: Requirement, facts: SurveyFacts, class_name: str, system: UnitSystem
) -> LineState:
    """What a condition comes to for one class; met where the class does not ask."""
    limits = requirement.limits.get(class_name)
    if limits is None:
        return LineState.MEETS
    value = requirement.value(facts)
    if value is None:
        return LineState.NOT_MEASURED
    is_inside = all(side.is_inside for side in _sides(value, limits, system))
    return LineState.MEETS if is_inside else LineState.MISSES


def judge_requirement(
    requirement: Requirement,
    facts: SurveyFacts,
    class_name: str,
    *,
    standard: str,
    carries: str,
    settings: SuitabilitySettings,
) -> LineJudgement:
    """One condition judged for one class.

    Parameters
    ----------
    requirement
        The condition.
    facts
        The survey.
    class_name
        A class for which the condition has limits.
    standard
        Key of the standard.
    carries
        What this line lets the location carry, in words.
    settings
        Unit system, and which standards govern.
    """
    system, scale = settings.unit_system, requirement.scale
    limits = requirement.limits[class_name]
    words = limits.words(scale, system)
    value = requirement.value(facts)
    state = state_of(requirement, facts, class_name, system)
    side = None
    if value is None:
        sentence = f"Cannot say: {requirement.name} not measured; {words} is asked."
    elif math.isinf(value):
        sentence = f"{capital(requirement.name)}: the lane is straight; {words}: meets."
    else:
        side = min(_sides(value, limits, system), key=lambda one: one.relative)
        shown = scale.against(value, side.limit, system)
        sentence = (
            f"{capital(requirement.name)} {shown}; {words}: {state}, "
            f"{side.words(scale, system)}."
        )
    return make_line(
        key=requirement.key,
        name=requirement.name,
        fields=(requirement.field,),
        standard=standard,
        state=state,
        value=None if side is None else value,
        unit=scale.si,
        limit=words,
        rule=requirement.rule,
        sentence=sentence,
        standing=requirement.standings.get(class_name, requirement.standing),
        settings=settings,
        margin=None if side is None else side.margin,
        relative_margin=None if side is None else side.relative,
        margin_text=side.words(scale, system) if side else "",
        mend=_mend(requirement, side, state, settings),
        carries=carries,
        is_measured=value is not None,
    )


def make_line(
    *,
    key: str,
    name: str,
    fields: tuple[str, ...],
    standard: str,
    state: LineState,
    limit: str,
    rule: str,
    sentence: str,
    standing: str,
    settings: SuitabilitySettings,
    is_measured: bool,
    value: float | None = None,
    unit: str = "",
    margin: float | None = None,
    relative_margin: float | None = None,
    margin_text: str = "",
    mend: str = "",
    carries: str = "",
) -> LineJudgement:
    """A line from its parts; see :class:`LineJudgement` for what they are."""
    return LineJudgement(
        key=key,
        fields=fields,
        standard=standard,
        judgement=Judgement(
            quantity=name,
            value=value,
            unit=unit,
            n=int(is_measured),
            interval=None,
            rule=rule,
            limit=limit,
            verdict=state.verdict,
            sentence=sentence,
            standing=standing,
            details=(("margin", margin), ("relative margin", relative_margin)),
        ),
        state=state,
        is_governing=standard in settings.governing,
        margin=margin,
        margin_unit=unit if margin is not None else "",
        relative_margin=relative_margin,
        margin_text=margin_text,
        mend=mend,
        carries=carries,
    )


# --- choices -----------------------------------------------------------------------


@dataclass(frozen=True)
class Choice:
    """What one choice of the survey comes to, and what would have to be mended."""

    state: LineState
    mend: str = ""


@dataclass(frozen=True)
class ChoiceRequirement:
    """One condition on something that is chosen from a list, not measured."""

    key: str
    name: str
    field: str
    wanted: str
    choices: Mapping[StrEnum, Choice]
    rule: str
    standing: str


def judge_choice(
    requirement: ChoiceRequirement,
    facts: SurveyFacts,
    *,
    standard: str,
    settings: SuitabilitySettings,
) -> LineJudgement:
    """One chosen condition judged."""
    chosen: StrEnum | None = getattr(facts, requirement.field)
    if chosen is None:
        choice = Choice(LineState.NOT_MEASURED)
        sentence = f"Cannot say: {requirement.name} not recorded."
    else:
        choice = requirement.choices[chosen]
        sentence = (
            f"{capital(requirement.name)}: {chosen}; wanted: {requirement.wanted}: "
            f"{choice.state}."
        )
    return make_line(
        key=requirement.key,
        name=requirement.name,
        fields=(requirement.field,),
        standard=standard,
        state=choice.state,
        limit=requirement.wanted,
        rule=requirement.rule,
        sentence=sentence,
        standing=requirement.standing,
        settings=settings,
        is_measured=chosen is not None,
        mend=choice.mend,
    )


def _sides(value: float, limits: Limits, system: UnitSystem) -> list[_Side]:
    sides = []
    for bound, is_low in ((limits.low, True), (limits.high, False)):
        if bound is None:
            continue
        limit = bound.value(system)
        margin = value - limit if is_low else limit - value
        if is_equal(value, limit):
            margin = 0.0
        sides.append(_Side(bound, limit, margin, is_low))
    return sides


def _mend(
    requirement: Requirement,
    side: _Side | None,
    state: LineState,
    settings: SuitabilitySettings,
) -> str:
    if state is LineState.NOT_MEASURED:
        return f"Measure {requirement.name}."
    if side is None or state is not LineState.MISSES:
        return ""
    system, scale = settings.unit_system, requirement.scale
    text = requirement.too_low if side.is_low else requirement.too_high
    gap = "a little" if side.is_at_limit else scale.shown(abs(side.margin), system)
    return text.format(gap=gap, limit=side.bound.shown(scale, system))
