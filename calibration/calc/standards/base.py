"""What a tolerance standard is, and the pieces that all of them share.

A standard is one module of this package that ends in ``STANDARD = ...``; the registry
in ``__init__`` finds it, and nothing else has to change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from calibration.calc.standards.values import (
    CONFIRMED,
    FROM_MEMORY,
    AgencyValues,
    EditableValue,
    ValuesInUse,
)
from calibration.calc.types import EnvironmentPlan, Quantity, RunErrors, TestPlan
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import UnitSystem, format_number

__all__ = [
    "CONFIRMED",
    "DEFAULT_CONDITIONS",
    "FROM_MEMORY",
    "MIN_RUNS",
    "Conditions",
    "EditableValue",
    "StandardVerdict",
    "ToleranceStandard",
    "ValuesInUse",
    "check_class",
    "coverage",
    "editable_values",
    "margin_details",
    "margin_details_of",
    "no_data",
    "overall_judgement",
    "percent",
    "too_few",
    "values_in_use",
]

MIN_RUNS = 10
"""Fewest runs on which a class can be said to be met.

ASTM E1318 asks for at least ten runs of each vehicle (five near each end of the speed
range; from memory). COST 323 tabulates its required confidence from n = 10, and its
formula asks for nothing at all below about n = 5, so that any scatter would pass. With
fewer runs a limit can still be seen to be missed, never to be met.
"""


@dataclass(frozen=True)
class Conditions:
    """Under what conditions the runs were made, as far as a standard asks.

    Attributes
    ----------
    plan, environment
        Test plan and environmental plan (used by COST 323).
    is_initial
        True for an initial verification, False for a check in service (COST 323,
        OIML R 134).
    unit_system
        Where a standard gives a limit in both unit systems, which one is used.
    is_calibration_sample
        True when the system was calibrated with these same runs, so that their bias is
        gone by construction (COST 323).
    agency_values
        The agency's own values in place of editable ones: {key of standard: {key of
        value: (value, where from)}}.
    """

    plan: TestPlan = TestPlan.LIMITED_REPRODUCIBILITY
    environment: EnvironmentPlan = EnvironmentPlan.REPEATABILITY
    is_initial: bool = False
    unit_system: UnitSystem = UnitSystem.US
    is_calibration_sample: bool = False
    agency_values: AgencyValues = field(default_factory=dict, hash=False)


DEFAULT_CONDITIONS = Conditions()


@dataclass(frozen=True)
class StandardVerdict:
    """What a standard says about a set of runs.

    Attributes
    ----------
    standard, title, edition
        The standard's key, title and edition.
    judged_class
        The class that the judgements are about: the wanted one, or else the best
        attained, or else the most lenient when it is missed, or else the default.
    wanted_class
        The class asked for; None when none was.
    attained_class
        The best class that the judged items meet; None when none is met or nothing can
        be said.
    judgements
        One judgement for each criterion of the standard.
    overall
        The judgement of the system.
    covers
        Names of the criteria that could be judged.
    not_covered
        Name of each criterion that could not be judged, and why.
    does_not_cover
        What this judgement leaves out of the standard, for people.
    notes
        Remarks on this particular set of runs.
    """

    standard: str
    title: str
    edition: str
    judged_class: str
    wanted_class: str | None
    attained_class: str | None
    judgements: tuple[Judgement, ...]
    overall: Judgement
    covers: tuple[str, ...]
    not_covered: tuple[tuple[str, str], ...]
    does_not_cover: str
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The overall verdict."""
        return self.overall.verdict

    def judgement_of(self, quantity: str) -> Judgement:
        """The judgement of one criterion, by its quantity."""
        return next(one for one in self.judgements if one.quantity == str(quantity))

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values, for ``--json`` and for stored results."""
        return {
            "standard": self.standard,
            "title": self.title,
            "edition": self.edition,
            "judged_class": self.judged_class,
            "wanted_class": self.wanted_class,
            "attained_class": self.attained_class,
            "judgements": [one.as_dict() for one in self.judgements],
            "overall": self.overall.as_dict(),
            "covers": list(self.covers),
            "not_covered": [list(pair) for pair in self.not_covered],
            "does_not_cover": self.does_not_cover,
            "notes": list(self.notes),
        }


class ToleranceStandard(Protocol):
    """A standard that judges errors of truck runs.

    Attributes
    ----------
    key
        Short name for commands and stored settings ("astm-e1318").
    title, edition
        The document's title and edition.
    standing
        What of it was checked against a public text, and what was not.
    classes
        Names of its classes, strictest first.
    default_class
        The class an agency would ask for first.
    does_not_cover
        What the judgement leaves out of the document.
    values
        Its values that an agency may set.
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
    def classes(self) -> tuple[str, ...]: ...
    @property
    def default_class(self) -> str: ...
    @property
    def does_not_cover(self) -> str: ...
    @property
    def values(self) -> tuple[EditableValue, ...]: ...

    def judge(
        self,
        errors: RunErrors,
        *,
        wanted_class: str | None = None,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> StandardVerdict:
        """Judge the errors against one class, or find the best class attained."""
        ...


def editable_values(standard: ToleranceStandard) -> tuple[EditableValue, ...]:
    """The values of a standard that an agency may set; empty where it has none."""
    values: tuple[EditableValue, ...] = getattr(standard, "values", ())
    return values


def values_in_use(standard: ToleranceStandard, conditions: Conditions) -> ValuesInUse:
    """A standard's editable values with the agency's own in their places.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the agency sets a value that the standard does not have, or one that
        cannot be.
    """
    own = conditions.agency_values.get(standard.key, {})
    return ValuesInUse(standard.title, editable_values(standard), own)


def check_class(standard: ToleranceStandard, wanted_class: str | None) -> str | None:
    """The wanted class as the standard writes it.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the standard has no such class.
    """
    if wanted_class is None:
        return None
    for name in standard.classes:
        if name.casefold() == wanted_class.strip().casefold():
            return name
    raise DomainError(
        f"{standard.title} has no class “{wanted_class}”. It has "
        f"{', '.join(standard.classes)}."
    )


def overall_judgement(
    *,
    judgements: Sequence[Judgement],
    n_runs: int,
    class_name: str,
    rule: str,
    standing: str,
    deciding: Judgement | None = None,
) -> Judgement:
    """The system's judgement from those of its criteria.

    One criterion missed: the system misses. Otherwise, gross weight must have been
    judged; then the system meets the class on the criteria that could be judged, and
    the sentence names them and those that could not. ``deciding`` is the criterion
    whose value and interval are shown; gross weight if it is not given.
    """
    missed = [one for one in judgements if one.verdict is Verdict.MISSES]
    met = [one for one in judgements if one.verdict is Verdict.MEETS]
    silent = [one for one in judgements if one.verdict is Verdict.CANNOT_SAY]
    gross = next(one for one in judgements if one.quantity == Quantity.GROSS_WEIGHT)
    if missed:
        verdict = Verdict.MISSES
        sentence = f"Misses {class_name} on {_names(missed)}."
    elif gross.verdict is Verdict.CANNOT_SAY:
        verdict = Verdict.CANNOT_SAY
        sentence = f"Cannot say whether {class_name} is met. {gross.sentence}"
    else:
        verdict = Verdict.MEETS
        sentence = f"Meets {class_name} on {_names(met)}."
    if silent and gross not in silent:
        sentence += f" Not judged: {_names(silent)}."
    shown = deciding or (missed[0] if missed else gross)
    return Judgement(
        quantity="system",
        value=shown.value,
        unit=shown.unit,
        n=n_runs,
        interval=shown.interval,
        rule=rule,
        limit=f"{class_name}: {shown.quantity} {shown.limit}",
        verdict=verdict,
        sentence=sentence,
        standing=standing,
        details=(
            ("class", class_name),
            ("shown criterion", str(shown.quantity)),
            *margin_details_of(shown),
            ("judged", [str(one.quantity) for one in (*met, *missed)]),
            ("not judged", [str(one.quantity) for one in silent]),
        ),
    )


def margin_details(margin: float | None, unit: str) -> tuple[tuple[str, Any], ...]:
    """How far the statistic is inside its limit, for a judgement's details.

    Parameters
    ----------
    margin
        Distance inside the limit, negative outside; None without data.
    unit
        Unit of the margin.
    """
    return (("margin", margin), ("margin unit", unit))


def margin_details_of(judgement: Judgement) -> tuple[tuple[str, Any], ...]:
    """The margin of a judgement, to be repeated by the one that rests on it."""
    details = dict(judgement.details)
    return margin_details(details.get("margin"), str(details.get("margin unit", "")))


def coverage(
    judgements: Sequence[Judgement],
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Criteria that were judged, and those that were not, with the reason."""
    judged = tuple(
        str(one.quantity) for one in judgements if one.verdict is not Verdict.CANNOT_SAY
    )
    silent = tuple(
        (str(one.quantity), one.sentence)
        for one in judgements
        if one.verdict is Verdict.CANNOT_SAY
    )
    return judged, silent


def too_few(n_runs: int) -> str:
    """The sentence for fewer runs than :data:`MIN_RUNS`."""
    runs = "1 run" if n_runs == 1 else f"{n_runs} runs"
    return (
        f"Cannot say: {runs}, and at least {MIN_RUNS} are needed before a class can be "
        "said to be met."
    )


def no_data(why_none: str) -> str:
    """The sentence for a criterion without errors."""
    why = why_none.strip().rstrip(".") or "no data"
    return f"Cannot say: {why[0].lower()}{why[1:]}."


def percent(value: float, digits: int = 1) -> str:
    """A percentage for people."""
    return f"{format_number(value, digits)} %"


def _names(judgements: Sequence[Judgement]) -> str:
    names = [str(one.quantity) for one in judgements]
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
