"""One location against every site standard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sites.calc.suitability.base import (
    DEFAULT_SETTINGS,
    LineJudgement,
    LineState,
    StandardSuitability,
    SuitabilitySettings,
    check_type,
    first_to_fail,
)
from sites.calc.suitability.registry import all_standards
from sites.calc.suitability.words import counted, listed
from sites.calc.types import SurveyFacts
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict


@dataclass(frozen=True)
class Suitability:
    """What all standards together say about a location.

    One physical condition may stand in several standards; it counts once, by the line
    that fails first.

    Attributes
    ----------
    wanted
        E1318 type that the location is judged for.
    standards
        What each standard says, governing ones first.
    sentence
        The whole thing for people.
    """

    wanted: str
    standards: tuple[StandardSuitability, ...]
    sentence: str

    @property
    def lines(self) -> tuple[LineJudgement, ...]:
        """Every line of every standard."""
        return tuple(line for one in self.standards for line in one.lines)

    @property
    def governing_lines(self) -> tuple[LineJudgement, ...]:
        """Lines that count for or against the location."""
        return tuple(line for line in self.lines if line.is_governing)

    @property
    def conditions(self) -> tuple[LineJudgement, ...]:
        """Each governing condition once.

        Of the lines that several standards have on it, a miss decides; then one that
        is not known; then the one with the smallest margin.
        """
        found: dict[str, list[LineJudgement]] = {}
        for line in self.governing_lines:
            found.setdefault(line.key, []).append(line)
        return tuple(_deciding(same) for same in found.values())

    @property
    def misses(self) -> tuple[LineJudgement, ...]:
        """Governing conditions missed, the one that fails first in front."""
        missed = [one for one in self.conditions if one.state is LineState.MISSES]
        return tuple(sorted(missed, key=lambda one: one.relative_margin or 0.0))

    @property
    def unmeasured(self) -> tuple[LineJudgement, ...]:
        """Governing conditions that were not measured."""
        return self._in_state(LineState.NOT_MEASURED)

    @property
    def left_open(self) -> tuple[LineJudgement, ...]:
        """Governing conditions measured, about which the rule says only "may"."""
        return self._in_state(LineState.MAY)

    @property
    def advice(self) -> tuple[LineJudgement, ...]:
        """Lines missed or left open that do not count against the location."""
        return tuple(
            line
            for line in self.lines
            if not line.is_governing and line.state in (LineState.MISSES, LineState.MAY)
        )

    @property
    def fails_first(self) -> LineJudgement | None:
        """The governing condition that fails first; None when nothing is known."""
        return first_to_fail(self.conditions)

    @property
    def verdict(self) -> Verdict:
        """Misses on any governing miss; meets only when every condition is known."""
        if self.misses:
            return Verdict.MISSES
        conditions = self.conditions
        if conditions and all(one.is_known for one in conditions):
            return Verdict.MEETS
        return Verdict.CANNOT_SAY

    @property
    def overall(self) -> Judgement:
        """The whole as one judgement; its value is that of what fails first."""
        first = self.fails_first
        governing = [one.title for one in self.standards if one.is_governing]
        return Judgement(
            quantity="site",
            value=first.judgement.value if first else None,
            unit=first.judgement.unit if first else "",
            n=sum(one.judgement.n for one in self.conditions),
            interval=None,
            rule=f"every condition of {listed(governing)}",
            limit=f"{first.name} {first.judgement.limit}" if first else "",
            verdict=self.verdict,
            sentence=self.sentence,
            standing="; ".join(
                f"{one.title}: {one.standing}"
                for one in self.standards
                if one.is_governing
            ),
        )

    @property
    def carried(self) -> dict[str, str]:
        """The class that the location can carry, by standard's title."""
        return {one.title: one.carries for one in self.standards if one.carries}

    def standard_of(self, key: str) -> StandardSuitability:
        """What one standard says, by its key.

        Raises
        ------
        KeyError
            When there is none.
        """
        for one in self.standards:
            if one.standard == key:
                return one
        raise KeyError(key)

    def with_margin(self, line: LineJudgement) -> str:
        """A line in a few words: "curve radius (ASTM E1318: 329 ft short)"."""
        title = self.standard_of(line.standard).title
        margin = f": {line.margin_text}" if line.margin_text else ""
        return f"{line.name} ({title}{margin})"

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values, for ``--json`` and for stored results."""
        return {
            "wanted": self.wanted,
            "verdict": self.verdict.value,
            "sentence": self.sentence,
            "carried": self.carried,
            "misses": [one.key for one in self.misses],
            "unmeasured": [one.key for one in self.unmeasured],
            "left_open": [one.key for one in self.left_open],
            "standards": [one.as_dict() for one in self.standards],
        }

    def _in_state(self, state: LineState) -> tuple[LineJudgement, ...]:
        return tuple(one for one in self.conditions if one.state is state)


def assess(
    facts: SurveyFacts,
    *,
    wanted: str,
    settings: SuitabilitySettings = DEFAULT_SETTINGS,
) -> Suitability:
    """Judge a surveyed location line by line against every site standard.

    Parameters
    ----------
    facts
        The survey; what is None was not measured.
    wanted
        The E1318 type that is wanted here: "Type I" to "Type IV".
    settings
        Unit system, governing standards, thresholds of advice, the agency's own
        values.

    Returns
    -------
    Suitability

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is no such type, a governing standard does not exist, or the agency
        sets a value that a standard does not have.
    """
    wanted = check_type(wanted)
    standards = all_standards()
    strangers = [key for key in settings.governing if key not in standards]
    if strangers:
        raise DomainError(
            f"There is no site standard “{strangers[0]}”. There are "
            f"{', '.join(standards)}."
        )
    unknown = [key for key in settings.agency_values if key not in standards]
    if unknown:
        raise DomainError(
            f"The agency sets values of a site standard “{unknown[0]}”, which there is "
            f"not. There are {', '.join(standards)}."
        )
    judged = [
        one.judge(facts, wanted=wanted, settings=settings) for one in standards.values()
    ]
    judged.sort(key=lambda one: not one.is_governing)
    bare = Suitability(wanted=wanted, standards=tuple(judged), sentence="")
    return Suitability(wanted, bare.standards, _sentence(bare))


def _deciding(lines: list[LineJudgement]) -> LineJudgement:
    for state in (LineState.MISSES, LineState.NOT_MEASURED, LineState.MAY):
        same = [line for line in lines if line.state is state]
        if same:
            return first_to_fail(same) or same[0]
    return first_to_fail(lines) or lines[0]


def _sentence(found: Suitability) -> str:
    conditions, misses = found.conditions, found.misses
    n, n_known = len(conditions), sum(one.is_known for one in conditions)
    unmeasured, left_open = found.unmeasured, found.left_open
    if misses:
        names = listed([found.with_margin(line) for line in misses])
        text = f"Not fit for {found.wanted} as it is: misses {names}."
    elif not n_known:
        text = f"Cannot say whether it is fit for {found.wanted}."
    elif n_known == n:
        text = f"Fit for {found.wanted}: meets all {n} conditions."
    else:
        text = (
            f"Cannot yet say whether it is fit for {found.wanted}: meets the "
            f"{counted(n_known, 'condition')} of {n} that can be judged."
        )
    if len(unmeasured) == n:
        text += " Nothing was measured."
    elif unmeasured:
        text += f" Not measured: {listed([one.name for one in unmeasured])}."
    if left_open:
        text += f" Left open: {listed([one.name for one in left_open])}."
    carried = [f"{title}, {words}" for title, words in found.carried.items()]
    if carried and len(unmeasured) < n:
        text += f" It can carry: {'; '.join(carried)}."
    return text
