"""What a site standard is, and what it says about a location.

A standard is one module of this package that ends in ``STANDARD = ...``; the registry
finds it, and nothing else has to change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Protocol

from sites.calc.types import SiteClass, SurveyFacts
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.standard_values import CONFIRMED, FROM_MEMORY, AgencyValues
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from sites.calc.suitability.values import LimitValue

__all__ = [
    "COMMON_PRACTICE",
    "CONFIRMED",
    "DEFAULT_SETTINGS",
    "E1318_TYPES",
    "FROM_MEMORY",
    "ClassOutcome",
    "LineJudgement",
    "LineState",
    "SiteStandard",
    "StandardSuitability",
    "SuitabilitySettings",
    "check_type",
    "first_to_fail",
]

COMMON_PRACTICE = "common practice, no source"

E1318_TYPES = ("Type I", "Type II", "Type III", "Type IV")
"""Types of ASTM E1318, as the document counts them."""


class LineState(StrEnum):
    """What one line comes to; "may" and "not measured" are both "cannot say"."""

    MEETS = "meets"
    MISSES = "misses"
    MAY = "may"
    NOT_MEASURED = "not measured"

    @property
    def verdict(self) -> Verdict:
        """The verdict of a judgement in this state."""
        if self in (LineState.MEETS, LineState.MISSES):
            return Verdict(self.value)
        return Verdict.CANNOT_SAY


@dataclass(frozen=True)
class SuitabilitySettings:
    """What the agency decides about suitability.

    Attributes
    ----------
    unit_system
        Units of every sentence. Where a standard gives a limit in both unit systems,
        it is also which of the two limits holds.
    site_class_wanted
        COST 323 site class to judge against; None for the one that the wanted type's
        tolerance of gross weight asks for.
    governing
        Keys of the standards whose misses count against a location; the others are
        judged and shown as advice.
    speed_spread_max_pct
        Standard deviation of speed, as a share of its mean [%].
    trucks_per_day_min
        Trucks a day in the lane, so that its weights can be watched week by week.
    power_distance_max_m
        Distance to a supply [m].
    pavement_thickness_min_mm
        Bound layers, so that the slots end well inside them [mm].
    pavement_age_max_years
        Age of the pavement [years]; None for no limit.
    agency_values
        The agency's own values in place of recalled limits: {key of standard: {key of
        value: (value [SI], where from)}}.

    Notes
    -----
    The thresholds are common practice without a source.
    """

    unit_system: UnitSystem = UnitSystem.US
    site_class_wanted: SiteClass | None = None
    governing: tuple[str, ...] = ("aashto-m331", "astm-e1318", "cost-323")
    speed_spread_max_pct: float = 15.0
    trucks_per_day_min: float = 50.0
    power_distance_max_m: float = 150.0
    pavement_thickness_min_mm: float = 100.0
    pavement_age_max_years: float | None = None
    agency_values: AgencyValues = field(default_factory=dict, hash=False)


DEFAULT_SETTINGS = SuitabilitySettings()


@dataclass(frozen=True)
class LineJudgement:
    """One condition of one standard, judged.

    Attributes
    ----------
    key
        The condition, the same in every standard that has it ("curve_radius").
    fields
        Names of the survey's facts behind it.
    standard
        Key of the standard.
    judgement
        Value, rule, limit, verdict and sentence.
    state
        Finer than the verdict: "may" (measured, and the rule leaves it open) is told
        from "not measured".
    is_governing
        Whether a miss counts against the location, or is advice.
    margin
        Distance inside the limit, in ``margin_unit``; negative outside, None where
        there is no number (not measured, yes or no, a straight).
    margin_unit
        SI unit of the margin.
    relative_margin
        The margin as a share of the limit.
    margin_text
        The margin in words and in the program's units ("344 ft short").
    mend
        What would have to be mended, and by how much; empty where nothing has to.
    carries
        The classes that this line alone lets the location carry, in words.
    """

    key: str
    fields: tuple[str, ...]
    standard: str
    judgement: Judgement
    state: LineState
    is_governing: bool
    margin: float | None
    margin_unit: str
    relative_margin: float | None
    margin_text: str
    mend: str
    carries: str

    @property
    def name(self) -> str:
        """The condition in the trade's words."""
        return self.judgement.quantity

    @property
    def verdict(self) -> Verdict:
        """Verdict of the judgement."""
        return self.judgement.verdict

    @property
    def is_known(self) -> bool:
        """Whether the line says yes or no."""
        return self.verdict is not Verdict.CANNOT_SAY

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "key": self.key,
            "fields": list(self.fields),
            "standard": self.standard,
            "judgement": self.judgement.as_dict(),
            "state": self.state.value,
            "is_governing": self.is_governing,
            "margin": self.margin,
            "margin_unit": self.margin_unit,
            "relative_margin": self.relative_margin,
            "margin_text": self.margin_text,
            "mend": self.mend,
            "carries": self.carries,
        }


@dataclass(frozen=True)
class ClassOutcome:
    """What a location's lines come to for one class of a standard.

    Attributes
    ----------
    name
        "Type I", "site class II".
    accuracy
        Accuracy that the class stands for, in words.
    missed, unknown
        Names of the conditions missed, and of those about which nothing can be said.
    """

    name: str
    accuracy: str
    missed: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def verdict(self) -> Verdict:
        """Misses on any condition missed; meets only when all are known."""
        if self.missed:
            return Verdict.MISSES
        return Verdict.CANNOT_SAY if self.unknown else Verdict.MEETS

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "name": self.name,
            "accuracy": self.accuracy,
            "missed": list(self.missed),
            "unknown": list(self.unknown),
            "verdict": self.verdict.value,
        }


@dataclass(frozen=True)
class StandardSuitability:
    """What one standard says about a location.

    Attributes
    ----------
    standard, title, edition, standing
        The standard, and what of it was checked.
    is_governing
        Whether its misses count against the location.
    judged_class
        The class that the lines are judged against.
    lines
        One line for each condition.
    outcomes
        What the lines come to for every class of the standard, best first.
    overall
        The judgement of the location by this standard.
    carries
        The class the location can carry, in words, and what it rests on.
    next_class
        The next better class than the location carries; empty at the best, or where
        the classes do not rank.
    next_needs
        For each condition that stops it: what it is and what would have to be mended.
    does_not_cover
        What of the document is not judged.
    notes
        Remarks on this location.
    """

    standard: str
    title: str
    edition: str
    standing: str
    is_governing: bool
    judged_class: str
    lines: tuple[LineJudgement, ...]
    outcomes: tuple[ClassOutcome, ...]
    overall: Judgement
    carries: str
    does_not_cover: str
    next_class: str = ""
    next_needs: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The overall verdict."""
        return self.overall.verdict

    def line_of(self, key: str) -> LineJudgement:
        """The line of one condition.

        Raises
        ------
        KeyError
            When the standard has no such condition here.
        """
        for line in self.lines:
            if line.key == key:
                return line
        raise KeyError(key)

    def outcome_of(self, name: str) -> ClassOutcome:
        """The outcome of one class, by its name."""
        return next(one for one in self.outcomes if one.name == name)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {
            "standard": self.standard,
            "title": self.title,
            "edition": self.edition,
            "standing": self.standing,
            "is_governing": self.is_governing,
            "judged_class": self.judged_class,
            "lines": [line.as_dict() for line in self.lines],
            "outcomes": [one.as_dict() for one in self.outcomes],
            "overall": self.overall.as_dict(),
            "carries": self.carries,
            "next_class": self.next_class,
            "next_needs": list(self.next_needs),
            "does_not_cover": self.does_not_cover,
            "notes": list(self.notes),
        }


class SiteStandard(Protocol):
    """A document with conditions that a WIM location has to meet.

    Attributes
    ----------
    key
        Short name for settings and stored results ("astm-e1318").
    title, edition
        The document's title and edition.
    standing
        What of it was checked against a public text, and what was not.
    does_not_cover
        What the judgement leaves out of the document.
    editable_values
        The limits that an agency may set, since they are not held against the
        document.
    """

    @property
    def key(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def edition(self) -> str: ...
    @property
    def standing(self) -> str: ...
    @property
    def does_not_cover(self) -> str: ...
    @property
    def editable_values(self) -> tuple[LimitValue, ...]: ...

    def judge(
        self,
        facts: SurveyFacts,
        *,
        wanted: str,
        settings: SuitabilitySettings = DEFAULT_SETTINGS,
    ) -> StandardSuitability:
        """Judge a location for a system of an E1318 type."""
        ...


def check_type(wanted: str) -> str:
    """The wanted type as E1318 writes it.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When there is no such type.
    """
    for name in E1318_TYPES:
        if name.casefold() == wanted.strip().casefold():
            return name
    raise DomainError(
        f"ASTM E1318 has no type “{wanted}”. It has {', '.join(E1318_TYPES)}."
    )


def first_to_fail(lines: Sequence[LineJudgement]) -> LineJudgement | None:
    """The line that fails first: the smallest relative margin among those known.

    Misses come before everything else, a miss with a number before one without.
    """
    known = [line for line in lines if line.is_known]
    missed = [line for line in known if line.state is LineState.MISSES]
    if missed:
        return min(missed, key=lambda line: line.relative_margin or 0.0)
    with_margin = [line for line in known if line.relative_margin is not None]
    return min(with_margin, key=lambda line: line.relative_margin or 0.0, default=None)
