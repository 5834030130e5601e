"""Reads of array plans, of work settings and of curing tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Max, Min, QuerySet

from installs.calc.layout.array import (
    check_layout,
    controller_spacing_m,
    positions_table,
)
from installs.calc.layout.drawing import drawing_svg
from installs.calc.layout.outline import outline
from installs.calc.layout.types import (
    ArrayElement,
    ArrayLayout,
    ElementKind,
    LayoutCheck,
    PositionRow,
)
from installs.calc.types import Technology
from installs.models import ArrayPlan, CuringTable, PlanElement, WorkSettings
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

HALF_A_MILLIMETRE = 0.0005


def work_settings_get() -> WorkSettings:
    """What the agency works by; common practice until it has written its own."""
    return WorkSettings.objects.filter(pk=1).first() or WorkSettings(pk=1)


def curing_tables() -> QuerySet[CuringTable]:
    """All makers' tables, each with its number of rows and their reach."""
    return CuringTable.objects.annotate(
        n_rows=Count("rows"),
        coldest_c=Min("rows__temp_c"),
        hottest_c=Max("rows__temp_c"),
    ).order_by("product", "document")


def plans_of_lane(lane: Lane) -> Sequence[ArrayPlan]:
    """A lane's plans, the newest of each technology first."""
    plans = (
        ArrayPlan.objects.filter(lane=lane)
        .select_related("approved_by")
        .annotate(n_elements=Count("elements"))
        .order_by("technology", "-version")
    )
    found = list(plans)
    for plan in found:
        plan.lane = lane
    return found


def plan_rows(plan: ArrayPlan) -> list[PlanElement]:
    """A plan's elements in the order of traffic."""
    return list(plan.elements.order_by("order", "start_m", "across_from_m"))


def layout_of(plan: ArrayPlan, rows: Sequence[PlanElement]) -> ArrayLayout:
    """A plan and its elements as the pure layout that is drawn and judged."""
    return ArrayLayout(
        technology=Technology(plan.technology),
        lane_width_m=plan.lane_width_m,
        shoulder_width_m=plan.shoulder_width_m,
        elements=tuple(
            ArrayElement(
                kind=ElementKind(row.kind),
                name=row.name,
                start_m=row.start_m,
                length_m=row.length_m,
                across_from_m=row.across_from_m,
                across_to_m=row.across_to_m,
                slot_width_mm=row.slot_width_mm,
                slot_depth_mm=row.slot_depth_mm,
                sensor_area_mm2=row.sensor_area_mm2,
                turns=row.turns,
            )
            for row in rows
        ),
        cabinet_along_m=plan.cabinet_along_m,
        cabinet_from_edge_m=plan.cabinet_from_edge_m,
        longest_lead_m=plan.longest_lead_m,
    )


@dataclass(frozen=True)
class PlanPage:
    """A plan with its drawing, its positions, and what is wrong with it."""

    plan: ArrayPlan
    rows: list[PlanElement]
    layout: ArrayLayout
    check: LayoutCheck
    positions: tuple[PositionRow, ...]
    spacing_m: float | None
    drawing: str

    @property
    def differs_from_controller(self) -> bool:
        """Whether the controller's setting is not the spacing that is drawn."""
        setting = self.plan.controller_spacing_m
        return (
            setting is not None
            and self.spacing_m is not None
            and abs(setting - self.spacing_m) > HALF_A_MILLIMETRE
        )


def plan_page(plan: ArrayPlan, *, system: UnitSystem) -> PlanPage:
    """All that a plan's page and its sheet show, in one query."""
    rows = plan_rows(plan)
    layout = layout_of(plan, rows)
    return PlanPage(
        plan=plan,
        rows=rows,
        layout=layout,
        check=check_layout(layout, system=system),
        positions=positions_table(layout),
        spacing_m=controller_spacing_m(layout),
        drawing=_drawing(layout, system),
    )


def _drawing(layout: ArrayLayout, system: UnitSystem) -> str:
    """The drawing, or nothing where nothing can be drawn to scale."""
    try:
        return drawing_svg(
            outline(layout, system=system), drawing_id="array", system=system
        )
    except (DomainError, ValueError):
        return ""
