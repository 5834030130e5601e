"""Reads about surveys: one judged line by line, several side by side."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.db.models import Count, Max, Q, QuerySet
from django.db.models.fields import BooleanField

from sites.calc.suitability.assessing import Suitability, assess
from sites.calc.suitability.base import (
    LineJudgement,
    StandardSuitability,
    SuitabilitySettings,
    check_type,
)
from sites.calc.suitability.comparing import RANKING_RULE, RankedCandidate, compare
from sites.calc.types import (
    Communications,
    Distress,
    Drainage,
    FlowKind,
    LineNearby,
    PavementKind,
    PullOff,
    SurveyFacts,
)
from sites.models import SURVEY_GROUPS, RoadProfile, Site, SiteSurvey
from sites.selectors.survey_settings import suitability_settings
from wimprog.lib.units import UnitSystem, format_number, format_si, kind_of_field

NOT_MEASURED = "not measured"
MEASURED = tuple(name for _, names in SURVEY_GROUPS for name in names)
_WORDS = {
    "pavement_kind": PavementKind,
    "distress_level": Distress,
    "flow": FlowKind,
    "drainage": Drainage,
    "pull_off": PullOff,
    "communications": Communications,
    "lines_overhead": LineNearby,
    "lines_underground": LineNearby,
}


def survey_facts(survey: SiteSurvey) -> SurveyFacts:
    """A survey's measured facts as plain values.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the facts contradict each other.
    """
    values: dict[str, Any] = {}
    for name in MEASURED:
        value = getattr(survey, name)
        words = _WORDS.get(name)
        values[name] = (words(value) if value else None) if words else value
    return SurveyFacts(**values)


def shown_fact(survey: SiteSurvey, name: str, system: UnitSystem | str) -> str:
    """A measured fact as typed, else in the program's units; or "not measured"."""
    value = getattr(survey, name)
    if value is None or value == "":
        return NOT_MEASURED
    if isinstance(SiteSurvey._meta.get_field(name), BooleanField):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    kind = kind_of_field(name)
    if kind is not None:
        return format_si(value, kind, UnitSystem(system), typed=survey.typed(name))
    text = format_number(value, 2).rstrip("0").rstrip(".")
    return f"{text} %" if name.endswith("_pct") else text


def survey_list() -> QuerySet[SiteSurvey]:
    """Surveys, newest first, with what their rows name."""
    return SiteSurvey.objects.select_related("wim_site", "lane__wim_site").annotate(
        n_profiles=Count("profiles")
    )


def surveys_of_site(wim_site: Site, n: int = 5) -> list[SiteSurvey]:
    """The latest surveys of a site."""
    return list(survey_list().filter(wim_site=wim_site)[:n])


def study_names() -> list[str]:
    """Studies, the one last surveyed for first."""
    rows = (
        SiteSurvey.objects.exclude(study="")
        .values("study")
        .annotate(last=Max("surveyed_on"))
        .order_by("-last", "study")
    )
    return [row["study"] for row in rows]


def survey_judged(
    survey: SiteSurvey, settings: SuitabilitySettings, wanted: str = ""
) -> Suitability:
    """A survey against every site standard, for its wanted type or another.

    Parameters
    ----------
    settings
        By what the agency judges: :func:`suitability_settings`, read once for many.
    """
    return assess(
        survey_facts(survey), wanted=wanted or survey.wanted_type, settings=settings
    )


@dataclass(frozen=True)
class ShownLine:
    """A line with what the survey says behind it."""

    line: LineJudgement
    measured: str


@dataclass(frozen=True)
class ShownStandard:
    """A standard with its shown lines."""

    standard: StandardSuitability
    lines: tuple[ShownLine, ...]

    @property
    def n_unmeasured(self) -> int:
        """Lines about which the survey says nothing."""
        return sum(one.measured == NOT_MEASURED for one in self.lines)


@dataclass(frozen=True)
class SurveyPage:
    """Everything on a survey's page."""

    survey: SiteSurvey
    suitability: Suitability
    standards: tuple[ShownStandard, ...]
    groups: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    profiles: tuple[RoadProfile, ...]
    history: tuple[Any, ...]
    n_rivals: int
    facts_missing: tuple[str, ...] = field(default=())


def survey_page(survey: SiteSurvey, system: UnitSystem | str) -> SurveyPage:
    """One survey judged by every standard, with its facts, profiles and history."""
    found = survey_judged(survey, suitability_settings(system))
    labels = {name: label_of(name) for name in MEASURED}
    return SurveyPage(
        survey=survey,
        suitability=found,
        standards=tuple(
            ShownStandard(
                one, tuple(_shown_line(survey, line, system) for line in one.lines)
            )
            for one in found.standards
        ),
        groups=tuple(
            (
                title,
                tuple(
                    (labels[name], shown_fact(survey, name, system)) for name in names
                ),
            )
            for title, names in SURVEY_GROUPS
        ),
        profiles=tuple(survey.profiles.all()),
        history=tuple(survey.history.select_related("history_user")[:20]),
        n_rivals=len(_latest_of_places(survey.study)) - 1 if survey.study else 0,
        facts_missing=tuple(
            labels[name] for name in MEASURED if getattr(survey, name) in (None, "")
        ),
    )


def label_of(name: str) -> str:
    """What a field of a survey is called on the screen."""
    return str(SiteSurvey._meta.get_field(name).verbose_name)  # type: ignore[union-attr]


def _shown_line(
    survey: SiteSurvey, line: LineJudgement, system: UnitSystem | str
) -> ShownLine:
    known = [name for name in line.fields if getattr(survey, name) not in (None, "")]
    if "curve_radius_m" in line.fields and survey.curve_is_straight:
        return ShownLine(line, "straight")
    texts = [
        shown_fact(survey, name, system)
        if len(known) == 1
        else f"{label_of(name)}: {shown_fact(survey, name, system)}"
        for name in known
    ]
    return ShownLine(line, "; ".join(texts) or NOT_MEASURED)


# --- several side by side ----------------------------------------------------------


@dataclass(frozen=True)
class Rival:
    """A candidate of a study in its place."""

    survey: SiteSurvey
    ranked: RankedCandidate


@dataclass(frozen=True)
class StudyRow:
    """One condition of one standard for every candidate; None where it is no matter."""

    name: str
    limit: str
    standing: str
    is_governing: bool
    cells: tuple[ShownLine | None, ...]


@dataclass(frozen=True)
class StudyStandard:
    """One standard's rows, and what each candidate can carry by it."""

    title: str
    edition: str
    standing: str
    is_governing: bool
    carries: tuple[str, ...]
    rows: tuple[StudyRow, ...]


@dataclass(frozen=True)
class StudyComparison:
    """The candidates of a study, the best first."""

    study: str
    wanted: str
    rule: str
    rivals: tuple[Rival, ...]
    standards: tuple[StudyStandard, ...]
    n_earlier: int
    other_types: tuple[str, ...]


def study_comparison(
    study: str, system: UnitSystem | str, wanted: str = ""
) -> StudyComparison | None:
    """The candidates of a study side by side, or None where it has no survey.

    Only the latest survey of each place competes. All are judged for one type: the one
    asked for, else the one that most of the surveys want.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is no such type.
    """
    surveys = _latest_of_places(study)
    if not surveys:
        return None
    types = [one.wanted_type for one in surveys]
    wanted = check_type(wanted) if wanted else max(types, key=types.count)
    by_name = {_name_of(one, surveys): one for one in surveys}
    settings = suitability_settings(system)
    judged = {
        name: survey_judged(one, settings, wanted) for name, one in by_name.items()
    }
    ranked = compare(list(judged.items()))
    rivals = tuple(Rival(by_name[one.name], one) for one in ranked)
    n_all = SiteSurvey.objects.filter(study=study).count()
    return StudyComparison(
        study=study,
        wanted=wanted,
        rule=RANKING_RULE,
        rivals=rivals,
        standards=_side_by_side(rivals, system),
        n_earlier=n_all - len(surveys),
        other_types=tuple(sorted({one for one in types if one != wanted})),
    )


def _latest_of_places(study: str) -> list[SiteSurvey]:
    """The latest survey of each place of a study."""
    found: dict[tuple[Any, ...], SiteSurvey] = {}
    for one in survey_list().filter(Q(study=study)):
        place = (one.wim_site_id, one.lane_id, one.place.casefold(), one.route)
        found.setdefault(place, one)
    return list(found.values())


def _name_of(survey: SiteSurvey, among: list[SiteSurvey]) -> str:
    """The place, with its route where two places share a name."""
    name = str(survey)
    same = [one for one in among if str(one).casefold() == name.casefold()]
    return name if len(same) == 1 else f"{name}, {survey.route or f'no. {survey.pk}'}"


def _line_or_none(standard: StandardSuitability, key: str) -> LineJudgement | None:
    """A standard's line, or None where its condition does not arise."""
    return next((line for line in standard.lines if line.key == key), None)


def _side_by_side(
    rivals: tuple[Rival, ...], system: UnitSystem | str
) -> tuple[StudyStandard, ...]:
    columns = [one.ranked.suitability.standards for one in rivals]
    standards = []
    for same in zip(*columns, strict=True):
        first = same[0]
        keys = list(dict.fromkeys(line.key for one in same for line in one.lines))
        rows = []
        for key in keys:
            lines = [_line_or_none(one, key) for one in same]
            known = next(line for line in lines if line is not None)
            rows.append(
                StudyRow(
                    name=known.name,
                    limit=known.judgement.limit,
                    standing=known.judgement.standing,
                    is_governing=known.is_governing,
                    cells=tuple(
                        None
                        if line is None
                        else _shown_line(rival.survey, line, system)
                        for rival, line in zip(rivals, lines, strict=True)
                    ),
                )
            )
        standards.append(
            StudyStandard(
                title=first.title,
                edition=first.edition,
                standing=first.standing,
                is_governing=first.is_governing,
                carries=tuple(one.carries for one in same),
                rows=tuple(rows),
            )
        )
    return tuple(standards)
