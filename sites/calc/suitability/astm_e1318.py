"""ASTM E1318-09 (reapproved 2017), section 6: conditions of the site for Types I to IV.

All limits are from memory and were not checked against the document; the radius of
1,700 m and the grade of ±2 % also stand in public Australian road-agency guidance for
weigh-in-motion sites. The document writes its limits in both unit systems, rounded from
each other (5,700 ft is 1,737 m, beside 1.7 km). The limit of the program's unit system
holds, so that a value typed at the limit meets it in either; all limits are inclusive.

The range of speeds is that for which each type is meant, not a condition of section 6;
a location whose traffic is outside it cannot serve the type.
"""

from __future__ import annotations

from dataclasses import dataclass

from sites.calc.suitability.astm_e1318_limits import (
    EDGE_KEY,
    EDITABLE_VALUES,
    REQUIREMENTS,
    RULE,
    STRAIGHTEDGE_M,
    types_words,
)
from sites.calc.suitability.base import (
    DEFAULT_SETTINGS,
    E1318_TYPES,
    FROM_MEMORY,
    ClassOutcome,
    LineJudgement,
    LineState,
    StandardSuitability,
    SuitabilitySettings,
    check_type,
)
from sites.calc.suitability.lines import (
    Requirement,
    judge_requirement,
    make_line,
    state_of,
)
from sites.calc.suitability.overall import overall_of
from sites.calc.suitability.values import (
    LimitValue,
    requirements_in_use,
    standing_in_use,
    values_in_use,
)
from sites.calc.suitability.words import LENGTH, is_equal
from sites.calc.types import SurveyFacts
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

GROSS_TOLERANCE = {
    "Type I": "gross weight ±10 %",
    "Type II": "gross weight ±15 %",
    "Type III": "gross weight ±6 %",
    "Type IV": "gross weight ±2,500 lb (1,100 kg) at low speed",
}
"""What each type stands for; Types I and II as printed in FHWA, Traffic Monitoring
Guide (2022), table D-1; III and IV from memory."""


@dataclass(frozen=True)
class AstmE1318:
    """Conditions of the site for Types I to IV of ASTM E1318."""

    key: str = "astm-e1318"
    title: str = "ASTM E1318"
    edition: str = "09 (reapproved 2017)"
    standing: str = (
        f"Limits {FROM_MEMORY}. Radius and grade also stand in public Australian "
        "road-agency guidance. Where the document gives a limit in both unit systems, "
        "that of the program's unit system holds."
    )
    does_not_cover: str = (
        "The conditions are the same for Types I, II and III: a location that carries "
        "one carries all three as far as section 6 goes, and AASHTO M 331 tells them "
        "apart by roughness. Power, communications and shelter are not judged here."
    )
    editable_values: tuple[LimitValue, ...] = EDITABLE_VALUES

    def judge(
        self,
        facts: SurveyFacts,
        *,
        wanted: str,
        settings: SuitabilitySettings = DEFAULT_SETTINGS,
    ) -> StandardSuitability:
        """Judge a location for the wanted type, and say which types it can carry.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type.
        """
        wanted = check_type(wanted)
        values = values_in_use(self, settings)
        requirements = requirements_in_use(REQUIREMENTS, values)
        standing = values.standing_with_own(self.standing)
        plate = plate_line(facts, settings)
        lines = [
            judge_requirement(
                one,
                facts,
                wanted,
                standard=self.key,
                carries=_types_words(
                    [_state(one, facts, name, settings) for name in E1318_TYPES]
                ),
                settings=settings,
            )
            for one in requirements
        ]
        at = next(i for i, one in enumerate(lines) if one.key == "smooth_before")
        lines.insert(at, plate)
        outcomes = tuple(
            _outcome(requirements, facts, name, plate, settings) for name in E1318_TYPES
        )
        return StandardSuitability(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            standing=standing,
            is_governing=self.key in settings.governing,
            judged_class=wanted,
            lines=tuple(lines),
            outcomes=outcomes,
            overall=overall_of(
                lines,
                class_name=wanted,
                rule=f"{RULE}; every condition",
                standing=standing,
            ),
            carries=_carried_words(outcomes),
            does_not_cover=self.does_not_cover,
        )


def plate_line(facts: SurveyFacts, settings: SuitabilitySettings) -> LineJudgement:
    """Smoothness by plate and straightedge.

    The gap under a long straightedge is nowhere smaller than under a short one laid at
    the same place. So a plate that passes under a short straightedge would pass under
    the standard's, and one that does not pass under a long one would not; the other two
    cases cannot be told.
    """
    passes, length = facts.plate_passes, facts.straightedge_length_m
    values = values_in_use(STANDARD, settings)
    shortest, longest = STRAIGHTEDGE_M
    us = settings.unit_system == UnitSystem.US
    edge = "16 ft" if us else "5 m"
    if values.is_own(EDGE_KEY):
        shortest = longest = values[EDGE_KEY]
        edge = LENGTH.exact(longest, settings.unit_system)
    plate = "a plate 6 in across and 1/8 in thick" if us else "a plate 150 mm × 3 mm"
    limit = f"{plate} does not pass under a {edge} straightedge"
    state, mend = LineState.NOT_MEASURED, ""
    if passes is None:
        sentence = "Cannot say: not tried with plate and straightedge."
        mend = f"Try the plate under a {edge} straightedge."
    elif length is None:
        sentence = "Cannot say: the straightedge's length was not recorded."
        mend = f"Record the straightedge's length ({edge} is asked)."
    else:
        shown = LENGTH.shown(length, settings.unit_system)
        is_short = length < shortest and not is_equal(length, shortest)
        is_long = length > longest and not is_equal(length, longest)
        did = "passes" if passes else "does not pass"
        sentence = f"The plate {did} under a {shown} straightedge"
        if (passes and is_long) or (not passes and is_short):
            other = "shorter" if is_long else "longer"
            sentence = f"Cannot say: {sentence[0].lower()}{sentence[1:]}; {edge} is "
            sentence += f"asked, and under the {other} one it might do otherwise."
            mend = f"Try the plate again under a {edge} straightedge."
        else:
            state = LineState.MISSES if passes else LineState.MEETS
            sentence += f"; it must not pass under {edge}: {state}."
            if passes:
                mend = (
                    "Grind or resurface wheel paths and lane edges until the plate no "
                    "longer passes."
                )
    return make_line(
        key="plate",
        name="smoothness under the straightedge",
        fields=("plate_passes", "straightedge_length_m"),
        standard=STANDARD.key,
        state=state,
        limit=limit,
        rule=f"{RULE} (the 1994 text asks 20 ft)",
        sentence=sentence,
        standing=standing_in_use([EDGE_KEY], values, FROM_MEMORY),
        settings=settings,
        is_measured=state is not LineState.NOT_MEASURED,
        mend=mend,
        carries=_types_words([state] * len(E1318_TYPES)),
    )


def _state(
    requirement: Requirement,
    facts: SurveyFacts,
    name: str,
    settings: SuitabilitySettings,
) -> LineState:
    return state_of(requirement, facts, name, settings.unit_system)


def _outcome(
    requirements: tuple[Requirement, ...],
    facts: SurveyFacts,
    name: str,
    plate: LineJudgement,
    settings: SuitabilitySettings,
) -> ClassOutcome:
    states = {one.name: _state(one, facts, name, settings) for one in requirements}
    states[plate.name] = plate.state
    return ClassOutcome(
        name=name,
        accuracy=GROSS_TOLERANCE[name],
        missed=tuple(k for k, v in states.items() if v is LineState.MISSES),
        unknown=tuple(k for k, v in states.items() if v is LineState.NOT_MEASURED),
    )


def _types_words(states: list[LineState]) -> str:
    if LineState.NOT_MEASURED in states:
        return "cannot say"
    pairs = zip(E1318_TYPES, states, strict=True)
    return types_words([name for name, state in pairs if state is LineState.MEETS])


def _carried_words(outcomes: tuple[ClassOutcome, ...]) -> str:
    met = [one.name for one in outcomes if one.verdict is Verdict.MEETS]
    possible = [one.name for one in outcomes if one.verdict is Verdict.CANNOT_SAY]
    if met:
        return types_words(met)
    if not possible:
        return "no type"
    n = min(len(one.unknown) for one in outcomes if not one.missed)
    return f"at best {types_words(possible)} ({n} not measured)"


STANDARD = AstmE1318()
