"""What the papers of an installation share: the head, and the plan's drawing."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from installs.models import ArrayPlan, InstallationRecord
from installs.selectors.plans import plan_page
from sites.models import Program
from wimprog.lib.units import Kind, UnitSystem, format_si

GOVERNS = (
    "The traffic control plan, the maker’s instructions, local codes and licensed "
    "practice govern the work. Where this sheet and they differ, follow them."
)
PLAN_PICTURE = "plan.svg"


def at_words(at: dt.datetime, zone: str) -> str:
    """An instant on the clock at the site."""
    return f"{at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"


def head_of(record: InstallationRecord, program: Program) -> list[list[str]]:
    """The head of a record, name and value."""
    wim_site = record.lane.wim_site
    rows = [
        ("Agency", program.name),
        ("Site", f"{wim_site.code} {wim_site.name}".strip()),
        ("Route", f"{wim_site.route} {wim_site.location_ref}".strip()),
        ("Lane", f"{record.lane.label} ({record.lane.get_direction_display()})"),
        ("Position", record.position),
        ("Technology", record.technology),
        ("Sensor", str(record.sensor) if record.sensor else "not chosen yet"),
        ("Stages by", str(record.template)),
        ("Array plan", str(record.plan) if record.plan else "none"),
        ("Day of the work", record.work_on.isoformat()),
        ("Traffic control plan", record.traffic_control_plan),
        ("Contract", record.contract_ref or "none given"),
        ("Installer", record.installer or "none given"),
    ]
    return [list(row) for row in rows]


def plan_parts(
    plan: ArrayPlan | None, system: UnitSystem
) -> tuple[dict[str, Any], dict[str, bytes]]:
    """The plan's drawing and positions as a paper's data, and its picture."""
    empty: dict[str, Any] = {"drawing": None, "positions": {"headings": [], "rows": []}}
    if plan is None:
        return empty, {}
    page = plan_page(plan, system=system)
    if not page.drawing:
        return empty, {}
    length = lambda value: format_si(value, Kind.LENGTH, system, digits=2)  # noqa: E731
    rows = [
        [
            str(one.number),
            one.name,
            str(one.kind),
            f"{length(one.measured_m)} ({one.measured_to})",
            f"{length(one.across_from_m)} to {length(one.across_to_m)}",
            "" if one.from_previous_m is None else length(one.from_previous_m),
        ]
        for one in page.positions
    ]
    data = {
        "drawing": {
            "path": PLAN_PICTURE,
            "alt": f"Drawing to scale of {plan}; the table below gives every position.",
            "caption": f"{plan} ({plan.state}); reference line: {plan.reference_line}",
        },
        "positions": {
            "headings": [
                "No.",
                "Name",
                "Kind",
                "From the reference line",
                "Across, from the right edge",
                "From the one before",
            ],
            "rows": rows,
        },
    }
    return data, {PLAN_PICTURE: page.drawing.encode()}
