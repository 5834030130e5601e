"""Changes of array plans, of what the agency works by, and of curing tables."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from simple_history.utils import bulk_create_with_history

from installs.calc.layout.array import check_layout
from installs.calc.layout.types import ArrayElement, ElementKind
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from installs.calc.types.records import PlanState
from installs.models import (
    ArrayPlan,
    CuringRow,
    CuringTable,
    PlanElement,
    WorkSettings,
)
from installs.selectors.plans import layout_of, plan_rows
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.models import save_with_reason
from wimprog.lib.units import M_PER_FT, UnitSystem

#: What a new version takes over from the plan that it is made from.
_HEADER = (
    "drawing_ref", "reference_line", "lane_width_m", "shoulder_width_m", "speed_kmh",
    "controller_spacing_m", "cabinet_along_m", "cabinet_from_edge_m", "longest_lead_m",
    "note",
)  # fmt: skip
_ELEMENT = (
    "order", "kind", "name", "start_m", "length_m", "across_from_m", "across_to_m",
    "slot_width_mm", "slot_depth_mm", "sensor_area_mm2", "turns",
)  # fmt: skip

_OWN_TO_ROWS = ("order", "kind")


# --- what the agency works by -------------------------------------------------------


@transaction.atomic
def work_settings_save(*, work: WorkSettings, by: Any, why: str) -> WorkSettings:
    """Keep what the agency plans and installs by."""
    save_with_reason(work, by=by, why=why or "work settings")
    return work


@transaction.atomic
def curing_table_save(
    *, table: CuringTable, rows: Sequence[CuringRow], by: Any, why: str
) -> CuringTable:
    """Keep a maker's table with all its rows, or nothing of it.

    The rows given replace the rows kept.

    Raises
    ------
    DomainError
        Without a row, with a temperature twice, or for a row that cannot be.
    django.core.exceptions.ValidationError
        When the table's own fields break a rule.
    """
    complaints = _row_complaints(rows)
    if complaints:
        raise DomainError("The table was not kept.", tuple(complaints))
    if table.pk is not None:
        CuringTable.objects.select_for_update().get(pk=table.pk)
    save_with_reason(table, by=by, why=why or "curing table")
    reason = why or "curing table"
    for old in table.rows.all():
        old._history_user = by  # type: ignore[attr-defined]
        old._change_reason = reason  # type: ignore[attr-defined]
        old.delete()
    for row in rows:
        row.pk, row.table = None, table
        row._state.adding = True
    bulk_create_with_history(
        list(rows), CuringRow, default_user=by, default_change_reason=reason
    )
    return table


def _row_complaints(rows: Sequence[CuringRow]) -> list[Complaint]:
    if not rows:
        return [
            Complaint(
                "A table needs at least one row.",
                remedy="Copy the rows of the maker's sheet.",
            )
        ]
    complaints = []
    seen: dict[float, int] = {}
    for number, row in enumerate(rows, start=1):
        try:
            row.clean_fields(exclude=["table"])
        except ValidationError as error:
            for name, words in error.message_dict.items():
                complaints.append(
                    Complaint(" ".join(words), row=number, field=name.replace("_", " "))
                )
            continue
        temperature = round(row.temp_c, 3)
        if temperature in seen:
            complaints.append(
                Complaint(
                    f"The temperature stands in line {seen[temperature]} already.",
                    row=number,
                    field="temperature",
                    remedy="Keep one row a temperature.",
                )
            )
        seen.setdefault(temperature, number)
    return complaints


# --- plans --------------------------------------------------------------------------

#: Width of a lane whose own is not known yet. Common practice, no source.
USUAL_LANE_WIDTH_M = {UnitSystem.US: 12.0 * M_PER_FT, UnitSystem.SI: 3.6}
REFERENCE_LINE = (
    "Upstream edge of the first loop, square to the lane’s right edge; write here how "
    "to find it again (a mark on the shoulder, the distance from a fixed object)."
)


@transaction.atomic
def plan_start(
    *,
    lane: Lane,
    technology: Technology,
    system: UnitSystem = UnitSystem.US,
    by: Any,
    why: str,
) -> ArrayPlan:
    """A draft: a copy of the approved plan, else the usual array of the technology.

    Parameters
    ----------
    system
        Whether the usual array falls on whole feet or on whole 0.3 m.

    Raises
    ------
    DomainError
        While another draft is open, or when the lane cannot take the array.
    """
    approved = ArrayPlan.objects.filter(
        lane=lane, technology=technology, state=PlanState.APPROVED
    ).first()
    if approved is not None:
        return plan_new_version(plan=approved, by=by, why=why)
    draft = _next_draft(lane.pk, technology)
    draft.reference_line = REFERENCE_LINE
    draft.lane_width_m = lane.width_m or USUAL_LANE_WIDTH_M[system]
    if lane.width_m and lane.typed("width_m"):
        draft.as_typed = {"lane_width_m": lane.as_typed["width_m"]}
    usual = usual_array(technology, lane_width_m=draft.lane_width_m, system=system)
    draft.shoulder_width_m = usual.shoulder_width_m
    draft.cabinet_along_m = usual.cabinet_along_m
    draft.cabinet_from_edge_m = usual.cabinet_from_edge_m
    why = why or f"usual array of {technology}"
    save_with_reason(draft, by=by, why=why)
    _elements_create([_row(draft, one) for one in usual.elements], by=by, why=why)
    _number_elements(draft)
    return draft


def _row(plan: ArrayPlan, one: ArrayElement) -> PlanElement:
    return PlanElement(
        plan=plan,
        kind=one.kind.value,
        **{name: getattr(one, name) for name in _ELEMENT if name not in _OWN_TO_ROWS},
    )


@transaction.atomic
def plan_new_version(*, plan: ArrayPlan, by: Any, why: str) -> ArrayPlan:
    """A draft of the next version, as a copy of ``plan``; ``plan`` stays as it is.

    Raises
    ------
    DomainError
        While another draft for the lane and technology is open.
    """
    draft = _next_draft(plan.lane_id, plan.technology)
    for name in _HEADER:
        setattr(draft, name, getattr(plan, name))
    draft.as_typed = {k: v for k, v in plan.as_typed.items() if k in _HEADER}
    why = why or f"copy of plan {plan.version}"
    save_with_reason(draft, by=by, why=why)
    copies = []
    for element in plan.elements.all():
        copy = PlanElement(plan=draft, as_typed=dict(element.as_typed))
        for name in _ELEMENT:
            setattr(copy, name, getattr(element, name))
        copies.append(copy)
    _elements_create(copies, by=by, why=why)
    return draft


def _next_draft(lane_id: int, technology: str) -> ArrayPlan:
    """An unsaved draft of the next version; the lane is held while it is made."""
    Lane.objects.select_for_update().get(pk=lane_id)  # one planner at a time
    versions = ArrayPlan.objects.filter(lane_id=lane_id, technology=technology)
    open_draft = versions.filter(state=PlanState.DRAFT).first()
    if open_draft is not None:
        raise DomainError(
            f"Plan {open_draft.version} of this lane for {technology} is still a "
            "draft; change that one, or approve it first."
        )
    last = versions.order_by("-version").values_list("version", flat=True).first()
    return ArrayPlan(lane_id=lane_id, technology=technology, version=(last or 0) + 1)


def _elements_create(elements: Sequence[PlanElement], *, by: Any, why: str) -> None:
    for element in elements:
        element.full_clean(exclude=["plan"])
    bulk_create_with_history(
        list(elements), PlanElement, default_user=by, default_change_reason=why
    )


@transaction.atomic
def plan_save(
    *,
    plan: ArrayPlan,
    elements: Sequence[PlanElement],
    removed: Sequence[PlanElement] = (),
    seen: dt.datetime | None = None,
    by: Any,
    why: str,
) -> ArrayPlan:
    """Keep a draft with its elements; they are numbered in the order of traffic.

    Parameters
    ----------
    plan
        The draft, changed in memory.
    elements
        New and changed elements; those that are not named stay as they are.
    removed
        Elements to take out of the plan (their history stays).
    seen
        When the plan was last changed as the person saw it; a later change by
        somebody else is not typed over.

    Raises
    ------
    DomainError
        For a plan that is approved, or that was changed by somebody else meanwhile.
    django.core.exceptions.ValidationError
        When the plan or an element breaks one of its own rules.
    """
    stored = _hold_draft(plan)
    if seen is not None and stored.updated_at > seen:
        last = stored.history.select_related("history_user").first()
        who = getattr(last, "history_user", None) or "somebody else"
        raise DomainError(
            f"This draft was changed by {who} while you had it open, so nothing of "
            "yours was kept. Open it again in another window and carry your changes "
            "over."
        )
    why = why or "plan changed"
    plan.state, plan.version = stored.state, stored.version
    save_with_reason(plan, by=by, why=why)
    for element in removed:
        element._history_user = by  # type: ignore[attr-defined]
        element._change_reason = why  # type: ignore[attr-defined]
        element.delete()
    _park_names(plan, elements)
    for element in elements:
        element.plan = plan
        save_with_reason(element, by=by, why=why)
    _number_elements(plan)
    return plan


def _hold_draft(plan: ArrayPlan) -> ArrayPlan:
    """The stored row, held; a plan that is no draft any more is refused."""
    stored = ArrayPlan.objects.select_for_update().get(pk=plan.pk)
    if stored.state != PlanState.DRAFT:
        raise DomainError(
            f"Plan {stored.version} is {stored.state} and frozen; make a new version "
            "and change that."
        )
    return stored


def _park_names(plan: ArrayPlan, elements: Sequence[PlanElement]) -> None:
    """Free the names of what is about to be renamed, so that two can swap names."""
    kept = dict(PlanElement.objects.filter(plan=plan).values_list("pk", "name"))
    for element in elements:
        if element.pk in kept and kept[element.pk] != element.name:
            PlanElement.objects.filter(pk=element.pk).update(name=f"\u241f{element.pk}")


def _number_elements(plan: ArrayPlan) -> None:
    """Number what lies in the lane as traffic meets it, then the ways out."""
    kinds = {kind.value: place for place, kind in enumerate(ElementKind)}

    def place_of(row: PlanElement) -> tuple[Any, ...]:
        group = -1 if ElementKind(row.kind).is_in_lane else kinds[row.kind]
        return group, row.start_m, row.across_from_m, row.pk

    moved = []
    for place, row in enumerate(sorted(plan.elements.all(), key=place_of), start=1):
        if row.order != place:
            row.order = place
            moved.append(row)
    PlanElement.objects.bulk_update(moved, ["order"])


@transaction.atomic
def plan_approve(
    *, plan: ArrayPlan, system: UnitSystem = UnitSystem.US, by: Any, why: str
) -> ArrayPlan:
    """Freeze a draft as the lane's plan; it takes the place of the one before.

    Raises
    ------
    DomainError
        With every fault of the array as a complaint; nothing is changed then.
    """
    stored = _hold_draft(plan)
    found = check_layout(layout_of(stored, plan_rows(stored)), system=system)
    if found.faults:
        raise DomainError(
            "The plan cannot be approved: it cannot be built as drawn.", found.faults
        )
    former = ArrayPlan.objects.select_for_update().filter(
        lane=stored.lane, technology=stored.technology, state=PlanState.APPROVED
    )
    for one in former:
        one.state = PlanState.REPLACED.value
        save_with_reason(one, by=by, why=f"replaced by plan {stored.version}")
    stored.state = PlanState.APPROVED.value
    stored.approved_by, stored.approved_at = by, clock.now()
    save_with_reason(stored, by=by, why=why or "approved")
    return stored
