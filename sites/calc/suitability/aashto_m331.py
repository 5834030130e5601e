"""AASHTO M 331 (once MP 14): smoothness of the approach to a weigh-in-motion scale.

Four indices of roughness are each held against a lower and an upper limit. Below the
lower one the system is expected to stay inside its E1318 tolerance as far as roughness
goes; above the upper one it is expected not to; between them, either limit included, it
may. That this is how the document works is confirmed by public summaries; the limits,
of Type I only, are from memory.

The limits of Type II are not on file. What can be said of other types is inferred: the
tolerances of Type II are wider than those of Type I, so a location good enough for
Type I is good enough for Type II; those of Type III are narrower, so a location too
rough for Type I is too rough for Type III. Type IV weighs at a crawl and is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

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
from sites.calc.suitability.lines import make_line
from sites.calc.suitability.overall import overall_of
from sites.calc.suitability.values import (
    LimitValue,
    standing_in_use,
    values_in_use,
)
from sites.calc.suitability.words import ROUGHNESS, capital, is_equal
from sites.calc.survey_bounds import BOUNDS
from sites.calc.types import SurveyFacts
from wimprog.lib.judgement import Verdict
from wimprog.lib.standard_values import ValuesInUse

TYPE_I = "Type I"
JUDGED_TYPES = ("Type I", "Type II", "Type III")

_RULE = "AASHTO M 331: below the lower limit, above the upper one, or between"
_EXPECTED = {
    LineState.MEETS: "is expected to comply",
    LineState.MISSES: "is expected not to comply",
    LineState.MAY: "may or may not comply",
}


@dataclass(frozen=True)
class Index:
    """One index of roughness with its Type I limits [m/km]."""

    key: str
    name: str
    field: str
    lower: float
    upper: float

    @property
    def keys(self) -> tuple[str, str]:
        """Keys of the lower and of the upper limit."""
        return f"{self.key}_lower", f"{self.key}_upper"


INDICES = (
    Index("lri", "long-range index (LRI)", "lri_m_per_km", 0.50, 2.1),
    Index("peak_lri", "peak long-range index", "peak_lri_m_per_km", 0.50, 2.1),
    Index("sri", "short-range index (SRI)", "sri_m_per_km", 0.50, 2.1),
    Index("peak_sri", "peak short-range index", "peak_sri_m_per_km", 0.75, 2.9),
)

EDITABLE_VALUES = tuple(
    LimitValue(
        key=key,
        name=f"{index.name}, {side} limit of {TYPE_I}",
        value=value,
        unit=ROUGHNESS.si,
        source="AASHTO M 331, limits of Type I",
        at_most=BOUNDS[index.field].most,
        scale=ROUGHNESS,
        not_above=above,
    )
    for index in INDICES
    for side, key, value, above in (
        ("lower", index.keys[0], index.lower, index.keys[1]),
        ("upper", index.keys[1], index.upper, ""),
    )
)


def state_of(index: Index, value: float | None, type_name: str) -> LineState:
    """What an index comes to for a type.

    Parameters
    ----------
    index
        The index.
    value
        Its value [m/km], or None.
    type_name
        One of :data:`JUDGED_TYPES`.
    """
    if value is None:
        return LineState.NOT_MEASURED
    if value < index.lower and not is_equal(value, index.lower):
        is_sure = type_name != "Type III"
        return LineState.MEETS if is_sure else LineState.MAY
    if value > index.upper and not is_equal(value, index.upper):
        is_sure = type_name != "Type II"
        return LineState.MISSES if is_sure else LineState.MAY
    return LineState.MAY


@dataclass(frozen=True)
class AashtoM331:
    """Limits of roughness for Type I of AASHTO M 331."""

    key: str = "aashto-m331"
    title: str = "AASHTO M 331"
    edition: str = "limits of Type I"
    standing: str = (
        f"Limits {FROM_MEMORY}; that there are a lower and an upper one is confirmed. "
        "Types II and III are inferred from the limits of Type I."
    )
    does_not_cover: str = (
        "Roughness only. The document's own limits of Type II are not on file, and "
        "Type IV is not judged."
    )
    editable_values: tuple[LimitValue, ...] = EDITABLE_VALUES

    def judge(
        self,
        facts: SurveyFacts,
        *,
        wanted: str,
        settings: SuitabilitySettings = DEFAULT_SETTINGS,
    ) -> StandardSuitability:
        """Judge the roughness of a location for the wanted type.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such type.
        """
        wanted = check_type(wanted)
        values = values_in_use(self, settings)
        indices = tuple(
            replace(one, lower=values[one.keys[0]], upper=values[one.keys[1]])
            for one in INDICES
        )
        standing = values.standing_with_own(self.standing)
        is_judged = wanted in JUDGED_TYPES
        lines = (
            tuple(self._line(one, facts, wanted, settings, values) for one in indices)
            if is_judged
            else ()
        )
        outcomes = tuple(_outcome(indices, facts, name) for name in JUDGED_TYPES)
        notes = {
            "Type I": (),
            "Type II": (
                "Type II is inferred: its tolerances are wider than Type I's.",
            ),
            "Type III": (
                "Type III is inferred: its tolerances are narrower than Type I's, so "
                "roughness can be seen to be too great for it, never to be low enough.",
            ),
            "Type IV": ("Type IV weighs at a crawl; roughness is not judged here.",),
        }[wanted]
        return StandardSuitability(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            standing=standing,
            is_governing=self.key in settings.governing,
            judged_class=wanted,
            lines=lines,
            outcomes=outcomes,
            overall=overall_of(
                lines,
                class_name=wanted,
                rule=f"{_RULE}; every index",
                standing=standing,
            ),
            carries=_carried_words(indices, facts),
            does_not_cover=self.does_not_cover,
            notes=notes,
        )

    def _line(
        self,
        index: Index,
        facts: SurveyFacts,
        wanted: str,
        settings: SuitabilitySettings,
        values: ValuesInUse,
    ) -> LineJudgement:
        system = settings.unit_system
        value: float | None = getattr(facts, index.field)
        state = state_of(index, value, wanted)
        lower, upper = (
            (ROUGHNESS.exact if values.is_own(key) else ROUGHNESS.shown)(
                values[key], system
            )
            for key in index.keys
        )
        recalled = FROM_MEMORY
        if wanted != TYPE_I:
            recalled = f"inferred from {TYPE_I}, {FROM_MEMORY}"
        standing = standing_in_use(index.keys, values, recalled)
        if wanted != TYPE_I and values.is_own(*index.keys):
            standing = f"inferred from {TYPE_I}, {standing}"
        margin = relative = None
        margin_text = mend = ""
        if value is None:
            sentence = f"Cannot say: {index.name} not measured."
            mend = "Profile the lane and compute the indices."
        else:
            is_rough = value > index.upper and not is_equal(value, index.upper)
            limit_si = index.upper if is_rough else index.lower
            margin = 0.0 if is_equal(value, limit_si) else limit_si - value
            relative = margin / limit_si
            gap = ROUGHNESS.shown(abs(margin), system)
            where = "upper limit" if is_rough else "lower limit"
            side = "below" if margin > 0 else "above"
            margin_text = f"{gap} {side} the {where}" if margin else f"at the {where}"
            shown = ROUGHNESS.against(value, limit_si, system)
            sentence = (
                f"{capital(index.name)} {shown}, {margin_text} of {TYPE_I} "
                f"({lower} and {upper}): {wanted} {_EXPECTED[state]}, as far as "
                "roughness goes."
            )
            if margin <= 0:
                # the lower limit is what makes it sure, wherever the value is
                target = ROUGHNESS.shown(value - index.lower, system)
                by = f"by more than {target} " if value > index.lower else ""
                mend = f"Grind or resurface the approach: lower the index {by}to be "
                mend += f"sure of {TYPE_I}."
        return make_line(
            key=index.key,
            name=index.name,
            fields=(index.field,),
            standard=self.key,
            state=state,
            value=value,
            unit=ROUGHNESS.si,
            limit=f"below {lower} to be expected to comply, above {upper} not to",
            rule=_RULE,
            sentence=sentence,
            standing=standing,
            settings=settings,
            is_measured=value is not None,
            margin=margin,
            relative_margin=relative,
            margin_text=margin_text,
            mend=mend,
            carries=_line_carries(index, value),
        )


def _line_carries(index: Index, value: float | None) -> str:
    state = state_of(index, value, TYPE_I)
    return {
        LineState.NOT_MEASURED: "cannot say",
        LineState.MEETS: "Types I and II",
        LineState.MAY: "Type I only perhaps",
        LineState.MISSES: "neither Type I nor Type III",
    }[state]


def _outcome(indices: tuple[Index, ...], facts: SurveyFacts, name: str) -> ClassOutcome:
    states = {
        index.name: state_of(index, getattr(facts, index.field), name)
        for index in indices
    }
    return ClassOutcome(
        name=name,
        accuracy="roughness keeps errors inside the E1318 tolerance",
        missed=tuple(k for k, v in states.items() if v is LineState.MISSES),
        unknown=tuple(k for k, v in states.items() if v.verdict is Verdict.CANNOT_SAY),
    )


def _carried_words(indices: tuple[Index, ...], facts: SurveyFacts) -> str:
    states = [state_of(i, getattr(facts, i.field), TYPE_I) for i in indices]
    if LineState.MISSES in states:
        return "neither Type I nor Type III"
    if all(state is LineState.MEETS for state in states):
        return "Types I and II"
    n_open, n_not = (
        states.count(one) for one in (LineState.MAY, LineState.NOT_MEASURED)
    )
    parts = [f"{n_open} between the limits"] if n_open else []
    parts += [f"{n_not} not measured"] if n_not else []
    return f"at best Types I and II ({', '.join(parts)})"


STANDARD = AashtoM331()
