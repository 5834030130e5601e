"""Whether the items of a stage template can be asked and judged as they are written."""

from __future__ import annotations

from collections.abc import Sequence

from installs.calc.record_limits import (
    CURE_TIME,
    HARDENER,
    PAVEMENT_TEMPERATURE,
    POT_TIME,
    RESIN_TEMPERATURE,
)
from installs.calc.types.judging import ItemSpec
from installs.calc.types.records import ItemKind, LimitRule, LimitSource
from wimprog.lib.errors import Complaint

#: Items that a curing table has something to say about, by their keys.
BY_CURING_TABLE = (
    CURE_TIME, POT_TIME, HARDENER, PAVEMENT_TEMPERATURE, RESIN_TEMPERATURE,
)  # fmt: skip
#: Kinds whose answer is a number that limits can hold.
NUMERIC = (
    ItemKind.MEASUREMENT, ItemKind.SERIES, ItemKind.READING, ItemKind.TRIANGLE,
)  # fmt: skip
YES_OR_NO = ("yes", "no")


def answers_of(spec: ItemSpec) -> tuple[str, ...]:
    """The answers that another item can hang on; empty where it cannot."""
    if spec.kind is ItemKind.YES_NO:
        return YES_OR_NO
    return spec.options if spec.kind is ItemKind.CHOICE else ()


def is_branch(spec: ItemSpec) -> bool:
    """Whether either answer passes, so that the next questions may hang on it."""
    return bool(answers_of(spec)) and not spec.expected


def item_faults(
    spec: ItemSpec, *, earlier: Sequence[ItemSpec], test_stage: str = ""
) -> tuple[Complaint, ...]:
    """What keeps an item from being asked and judged, each with its mending.

    Parameters
    ----------
    earlier
        The items of the template before this one, stage by stage.
    test_stage
        The electrical test that a reading belongs to.
    """
    return (
        *_answer_faults(spec),
        *_number_faults(spec, test_stage),
        *_limit_faults(spec),
        *_condition_faults(spec, earlier),
    )


def _fault(spec: ItemSpec, field: str, message: str, remedy: str) -> Complaint:
    return Complaint(f"“{spec.prompt}”: {message}", field=field, remedy=remedy)


def _answer_faults(spec: ItemSpec) -> list[Complaint]:
    found = []
    if spec.kind is ItemKind.CHOICE and len(set(spec.options)) < 2:
        found.append(
            _fault(
                spec,
                "options",
                "one of several needs two different answers at least.",
                "Write one answer a line.",
            )
        )
    passes = answers_of(spec)
    if spec.expected and spec.expected not in passes:
        found.append(
            _fault(
                spec,
                "expected",
                f"“{spec.expected}” is none of its answers.",
                f"Choose one of {', '.join(passes)}, or none."
                if passes
                else "Leave it empty; this kind of item has no answer that passes.",
            )
        )
    if spec.kind is ItemKind.PHOTO and spec.least_photos < 1:
        found.append(
            _fault(
                spec, "least_photos", "it asks for no photo.", "Ask for one at least."
            )
        )
    return found


def _number_faults(spec: ItemSpec, test_stage: str) -> list[Complaint]:
    found = []
    if spec.measure is not None and spec.unit:
        found.append(
            _fault(
                spec,
                "unit",
                "it names a kind of quantity and a unit of its own.",
                "Keep one of the two.",
            )
        )
    if spec.kind is ItemKind.SERIES and (spec.points is None or spec.points < 2):
        found.append(
            _fault(
                spec,
                "points",
                "a series needs two points at least.",
                "Say how many numbers are taken along the sensor.",
            )
        )
    reads = spec.kind is ItemKind.READING
    if reads and not (spec.quantity or spec.measure or spec.unit):
        found.append(
            _fault(
                spec,
                "quantity",
                "nothing says what the instrument reads.",
                "Choose the quantity.",
            )
        )
    if reads and spec.quantity and not test_stage:
        found.append(
            _fault(
                spec,
                "test_stage",
                "no electrical test is named for it.",
                "Say at which step it is read, such as bench.",
            )
        )
    return found


def _limit_faults(spec: ItemSpec) -> list[Complaint]:
    found = []
    if spec.has_limits and spec.kind not in NUMERIC:
        found.append(
            _fault(spec, "low", "only numbers can have limits.", "Leave them empty.")
        )
    if spec.largest_range is not None and spec.largest_range < 0:
        found.append(
            _fault(
                spec,
                "largest_range",
                "a range cannot be below zero.",
                "Write the largest difference between two of its numbers.",
            )
        )
    if (
        spec.limit_source is not LimitSource.COMMON_PRACTICE
        and not spec.limit_reference
        and spec.has_limits
    ):
        found.append(
            _fault(
                spec,
                "limit_reference",
                f"its limit is said to be the {spec.limit_source}’s, but not where.",
                "Name the clause, sheet or drawing.",
            )
        )
    if spec.limit_rule is LimitRule.SENSOR_MODEL and spec.quantity is None:
        found.append(
            _fault(
                spec,
                "limit_rule",
                "a sensor model has limits for electrical readings only.",
                f"Choose “{LimitRule.FIXED}”.",
            )
        )
    if spec.limit_rule is LimitRule.CURING_TABLE and spec.key not in BY_CURING_TABLE:
        found.append(
            _fault(
                spec,
                "limit_rule",
                "a curing table says nothing about it.",
                f"Choose “{LimitRule.FIXED}”; the table is read for the items named "
                f"{', '.join(BY_CURING_TABLE)}.",
            )
        )
    return found


def _condition_faults(spec: ItemSpec, earlier: Sequence[ItemSpec]) -> list[Complaint]:
    if not spec.only_if_key:
        return []
    before = next((one for one in earlier if one.key == spec.only_if_key), None)
    if before is None:
        return [
            _fault(
                spec,
                "only_if_key",
                f"it hangs on “{spec.only_if_key}”, which is not asked before it.",
                "Move it behind that item, or take the condition away.",
            )
        ]
    if spec.only_if_answer not in answers_of(before):
        return [
            _fault(
                spec,
                "only_if_answer",
                f"it hangs on the answer “{spec.only_if_answer}”, which "
                f"“{before.prompt}” does not have.",
                "Choose an answer that can be given.",
            )
        ]
    return []
