"""Limits of a site standard that an agency may set, found in its conditions.

A limit that is written down from memory bears a key (:attr:`Bound.key`); from the
conditions of a standard follows the list of its editable values, and from an agency's
own values follow the conditions as they are in use. A limit without a key was held
against a public text and cannot be set.

An agency has one value for a limit, where the document may give two that were rounded
from each other: its own holds in either unit system.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from sites.calc.suitability.base import SiteStandard, SuitabilitySettings
from sites.calc.suitability.lines import Bound, Limits, Requirement
from sites.calc.suitability.words import Scale, is_equal
from sites.calc.survey_bounds import BOUNDS
from wimprog.lib.errors import DomainError
from wimprog.lib.standard_values import (
    AGENCYS_OWN,
    EditableValue,
    Show,
    ValuesInUse,
)
from wimprog.lib.units import UnitSystem

NO_SCALE = Scale("", "")


@dataclass(frozen=True)
class LimitValue(EditableValue):
    """One limit of a site standard that an agency may set [SI].

    Attributes
    ----------
    us
        The figure that the document gives in US customary units, turned to SI; None
        where it gives none.
    scale
        How it is shown.
    not_above
        Key of a value of the same standard that this one must not exceed; empty for
        none.
    """

    us: float | None = None
    scale: Scale = NO_SCALE
    not_above: str = ""

    def recalled(self, system: UnitSystem) -> float:
        """The value as written down here, that holds in a unit system [SI]."""
        return (
            self.us if system == UnitSystem.US and self.us is not None else self.value
        )


def shows(system: UnitSystem) -> Show:
    """How values are shown in a unit system: as exactly as they were typed."""

    def show(known: EditableValue, value_si: float) -> str:
        if isinstance(known, LimitValue):
            return known.scale.exact(value_si, system)
        return known.shown(value_si)

    return show


def values_in_use(standard: SiteStandard, settings: SuitabilitySettings) -> ValuesInUse:
    """A standard's editable values with the agency's own in their places.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the agency sets a value that the standard does not have, or one that
        cannot be.
    """
    return ValuesInUse(
        standard.title,
        standard.editable_values,
        settings.agency_values.get(standard.key, {}),
        shows(settings.unit_system),
    )


def check_order(standard: SiteStandard, settings: SuitabilitySettings) -> None:
    """Refuse values that contradict each other, such as a lower limit above the upper.

    Raises
    ------
    wimprog.lib.errors.DomainError
        Naming both, with their values.
    """
    values = values_in_use(standard, settings)
    known = {one.key: one for one in standard.editable_values}

    def used(key: str) -> float:
        own = values.is_own(key)
        return values[key] if own else known[key].recalled(settings.unit_system)

    for one in standard.editable_values:
        if not one.not_above:
            continue
        above = known[one.not_above]
        if used(one.key) > used(above.key) and not is_equal(
            used(one.key), used(above.key)
        ):
            show = shows(settings.unit_system)
            raise DomainError(
                f"{standard.title}: {one.name} ({show(one, used(one.key))}) would lie "
                f"above {above.name} ({show(above, used(above.key))}). Set the other "
                "one first, or correct this one."
            )


def limit_values(
    requirements: Iterable[Requirement],
    class_words: Callable[[list[str]], str],
    not_above: Mapping[str, str],
) -> tuple[LimitValue, ...]:
    """The editable limits of conditions, in the conditions' order.

    Parameters
    ----------
    requirements
        The conditions.
    class_words
        How the classes that share a limit are called together.
    not_above
        {key: key of the value that it must not exceed}.
    """
    found: dict[str, LimitValue] = {}
    for one in requirements:
        classes: dict[str, list[str]] = {}
        bounds: dict[str, tuple[str, Bound]] = {}
        for class_name, limits in one.limits.items():
            for words, bound in limits.sides():
                if bound.key:
                    classes.setdefault(bound.key, []).append(class_name)
                    bounds[bound.key] = words, bound
        for key, (words, bound) in bounds.items():
            found[key] = LimitValue(
                key=key,
                name=f"{one.name} for {class_words(classes[key])}, {words}",
                value=bound.si,
                unit=one.scale.si,
                source=one.rule,
                standing=one.standing,
                at_most=BOUNDS[one.field].most,
                us=bound.us,
                scale=one.scale,
                not_above=not_above.get(key, ""),
            )
    return tuple(found.values())


def requirements_in_use(
    requirements: Iterable[Requirement], values: ValuesInUse
) -> tuple[Requirement, ...]:
    """The conditions with the agency's own limits, each saying where those are from."""
    return tuple(_in_use(one, values) for one in requirements)


def standing_in_use(keys: Sequence[str], values: ValuesInUse, otherwise: str) -> str:
    """Standing of a line that rests on editable values.

    Parameters
    ----------
    keys
        The values that it rests on.
    values
        The values in use.
    otherwise
        Its standing where none of them is the agency's own.
    """
    sources = [values.source(key) for key in keys]
    if not any(sources):
        return otherwise
    if not all(sources):
        return values.standing(*keys, otherwise=otherwise)
    return f"{AGENCYS_OWN}: {'; '.join(dict.fromkeys(sources))}"


def _in_use(requirement: Requirement, values: ValuesInUse) -> Requirement:
    limits = requirement.limits.values()
    keys = {bound.key for one in limits for _, bound in one.sides() if bound.key}
    if not values.is_own(*keys):
        return requirement
    return replace(
        requirement,
        limits={
            name: Limits(low=_own(one.low, values), high=_own(one.high, values))
            for name, one in requirement.limits.items()
        },
        standings={
            name: standing_in_use(
                [bound.key for _, bound in one.sides() if bound.key],
                values,
                requirement.standing,
            )
            for name, one in requirement.limits.items()
        },
    )


def _own(bound: Bound | None, values: ValuesInUse) -> Bound | None:
    if bound is None or not values.is_own(bound.key):
        return bound
    own = values[bound.key]
    return replace(bound, si=own, us=own)
