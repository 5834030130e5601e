"""COST 323, European WIM Specification 3.0 (1999): classes of weigh-in-motion sites.

Slopes and radius are confirmed by a public handbook that quotes the specification
(Jacob, OBrien and Jehaes, 2002); pavement limits and the accuracy classes that each
site class can carry are from memory. As the handbook writes them, slopes and radius are
strict ("<", ">"), pavement limits inclusive ("≤"). Where two classes share a border
(roughness index 1.3 and 2.6 m/km) a value at the border belongs to the better class.

The specification is metric only: US customary sentences show the translated limit and
the document's own figure behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

from sites.calc.suitability.base import (
    DEFAULT_SETTINGS,
    FROM_MEMORY,
    ClassOutcome,
    LineJudgement,
    LineState,
    StandardSuitability,
    SuitabilitySettings,
    check_type,
)
from sites.calc.suitability.cost_323_limits import (
    CLASS_NAMES,
    DEFLECTION_ALONE,
    DIFFERENCE,
    EDITABLE_VALUES,
    GEOMETRY,
    RULE,
    SURFACE,
    deflection_requirements,
    name_of,
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
    values_in_use,
)
from sites.calc.suitability.words import (
    capital,
)
from sites.calc.types import SiteClass, SurveyFacts
from wimprog.lib.judgement import Verdict

ACCURACY: dict[SiteClass, str] = {
    SiteClass.EXCELLENT: "A(5), B+(7) and coarser",
    SiteClass.GOOD: "B+(7), B(10) and coarser",
    SiteClass.ACCEPTABLE: "C(15) and coarser",
}
"""Accuracy classes that a site class can carry (from memory)."""

CLASS_FOR_TYPE: dict[str, SiteClass] = {
    "Type I": SiteClass.GOOD,
    "Type II": SiteClass.ACCEPTABLE,
    "Type III": SiteClass.EXCELLENT,
    "Type IV": SiteClass.EXCELLENT,
}
"""The worst site class whose accuracy is as good as the type's for gross weight.

Our own reading, in neither document: ±10 % of Type I is class B(10), carried by site
class II; ±15 % of Type II is C(15), carried by III; ±6 % of Type III lies between B+(7)
and A(5), carried by I only. Type IV is an absolute tolerance of about 4 % at its
threshold (2,500 of 60,000 lb), so I.
"""


@dataclass(frozen=True)
class Cost323:
    """Site classes I, II and III of COST 323."""

    key: str = "cost-323"
    title: str = "COST 323"
    edition: str = "European WIM Specification 3.0 (1999)"
    standing: str = (
        "Slopes and radius confirmed by a public handbook that quotes the "
        f"specification. Pavement limits and attainable accuracy {FROM_MEMORY}; those "
        "of deflection on flexible pavement are the least certain."
    )
    does_not_cover: str = (
        "There are no limits of deflection for concrete and for asphalt over concrete. "
        "Whether a system at the location reaches its accuracy class is judged by test "
        "runs, not by the site."
    )
    editable_values: tuple[LimitValue, ...] = EDITABLE_VALUES

    def judge(
        self,
        facts: SurveyFacts,
        *,
        wanted: str,
        settings: SuitabilitySettings = DEFAULT_SETTINGS,
    ) -> StandardSuitability:
        """Judge a location for the site class that the wanted type asks for.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type.
        """
        wanted = check_type(wanted)
        wanted_class = settings.site_class_wanted or CLASS_FOR_TYPE[wanted]
        class_name = name_of(wanted_class)
        values = values_in_use(self, settings)
        requirements, notes = _requirements(facts)
        requirements = requirements_in_use(requirements, values)
        standing = values.standing_with_own(self.standing)
        unknown = _deflection_unknown(facts, self.key, settings)
        judged = tuple(
            judge_requirement(
                one,
                facts,
                class_name,
                standard=self.key,
                carries=_supported(one, facts, settings),
                settings=settings,
            )
            for one in requirements
        )
        lines = (*judged, *unknown)
        outcomes = tuple(
            _outcome(requirements, unknown, facts, one, settings) for one in SiteClass
        )
        best = next(
            (one for one in outcomes if one.verdict is not Verdict.MISSES), None
        )
        next_class = _better_than(best)
        if settings.site_class_wanted is None:
            notes.append(
                f"{capital(class_name)} is our own reading of what {wanted} asks for "
                "by its tolerance of gross weight; the agency can set another."
            )
        return StandardSuitability(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            standing=standing,
            is_governing=self.key in settings.governing,
            judged_class=class_name,
            lines=lines,
            outcomes=outcomes,
            overall=overall_of(
                lines,
                class_name=class_name,
                rule=f"{RULE}; the worst condition decides",
                standing=standing,
            ),
            carries=_carried_words(best),
            next_class=next_class,
            next_needs=_needs(requirements, facts, next_class, self.key, settings),
            does_not_cover=self.does_not_cover,
            notes=tuple(notes),
        )


def _requirements(facts: SurveyFacts) -> tuple[tuple[Requirement, ...], list[str]]:
    """The conditions that have limits for this pavement, and remarks."""
    fixed = (*GEOMETRY, *SURFACE)
    kind = facts.pavement_kind
    if kind is None:
        return fixed, []
    measured = deflection_requirements(kind)
    notes = [] if measured else [f"No limits of deflection for {kind} pavement."]
    return (*fixed, *measured), notes


def _deflection_unknown(
    facts: SurveyFacts, standard: str, settings: SuitabilitySettings
) -> tuple[LineJudgement, ...]:
    """The lines on deflection where the kind of pavement was not recorded."""
    if facts.pavement_kind is not None:
        return ()
    return tuple(
        make_line(
            key=one.key,
            name=one.name,
            fields=(one.field, "pavement_kind"),
            standard=standard,
            state=LineState.NOT_MEASURED,
            limit="depends on the kind of pavement",
            rule=one.rule,
            sentence=f"Cannot say: the limit of {one.name} depends on the kind of "
            "pavement, which was not recorded.",
            standing=one.standing,
            settings=settings,
            is_measured=False,
            mend=f"Record the kind of pavement, and measure {one.name}.",
            carries="cannot say",
        )
        for one in (DEFLECTION_ALONE, DIFFERENCE)
    )


def _supported(
    requirement: Requirement, facts: SurveyFacts, settings: SuitabilitySettings
) -> str:
    """The best site class that one condition allows, in words."""
    for site_class, name in zip(SiteClass, CLASS_NAMES, strict=True):
        state = state_of(requirement, facts, name, settings.unit_system)
        if state is LineState.NOT_MEASURED:
            return "cannot say"
        if state is LineState.MEETS:
            return f"{name}: {ACCURACY[site_class]}"
    return "no site class"


def _outcome(
    requirements: tuple[Requirement, ...],
    without_limit: tuple[LineJudgement, ...],
    facts: SurveyFacts,
    site_class: SiteClass,
    settings: SuitabilitySettings,
) -> ClassOutcome:
    name = name_of(site_class)
    states = {
        one.name: state_of(one, facts, name, settings.unit_system)
        for one in requirements
    }
    states |= {line.name: line.state for line in without_limit}
    return ClassOutcome(
        name=name,
        accuracy=ACCURACY[site_class],
        missed=tuple(k for k, v in states.items() if v is LineState.MISSES),
        unknown=tuple(k for k, v in states.items() if v is LineState.NOT_MEASURED),
    )


def _carried_words(best: ClassOutcome | None) -> str:
    if best is None:
        return "no site class"
    text = f"{best.name}: {best.accuracy}"
    if best.verdict is Verdict.MEETS:
        return text
    return f"at best {text} ({len(best.unknown)} not measured)"


def _better_than(best: ClassOutcome | None) -> str:
    if best is None:
        return CLASS_NAMES[-1]
    at = CLASS_NAMES.index(best.name)
    return CLASS_NAMES[at - 1] if at else ""


def _needs(
    requirements: tuple[Requirement, ...],
    facts: SurveyFacts,
    class_name: str,
    standard: str,
    settings: SuitabilitySettings,
) -> tuple[str, ...]:
    """What stops the next better class: each miss of it, and its mending."""
    if not class_name:
        return ()
    lines = (
        judge_requirement(
            one, facts, class_name, standard=standard, carries="", settings=settings
        )
        for one in requirements
    )
    return tuple(
        f"{one.judgement.sentence} {one.mend}"
        for one in lines
        if one.state is LineState.MISSES
    )


STANDARD = Cost323()
