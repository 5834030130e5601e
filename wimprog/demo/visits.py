"""The demo's visits: each has a cause in the plan. Pure.

Somebody comes to install and to replace, to look after what fell silent, to calibrate,
and twice a year as a matter of routine.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from wimprog.demo.scenario import LanePlan, SensorLife, SitePlan

LEAST_SILENT_DAYS = 4
"""A lane that is silent for less comes back before anybody drives out."""

_CABINET = {
    "power": (
        "No supply at the cabinet; breaker open.",
        "Breaker replaced, batteries tested under load.",
    ),
    "communications": (
        "Controller sound, no link to the office.",
        "Modem replaced, link tested with the office.",
    ),
}


@dataclass(frozen=True)
class VisitPlan:
    """One visit; ``lane`` is the place of its lane in the site, None for the site."""

    on: dt.date
    purpose: str
    lane: int | None
    hours: tuple[float, float]
    findings: str
    actions: str
    next_action: str = ""


def site_visits(site: SitePlan, as_of: dt.date) -> list[VisitPlan]:
    """All visits to a site up to ``as_of``, in order."""
    found = [
        VisitPlan(
            on, "routine check", None, (9.0, 11.5),
            "Cabinet dry; sensors tested.", "Cabinet cleaned, vents checked.",
        )
        for on in site.visits_on
    ]  # fmt: skip
    found += _installations(site)
    for place, lane in enumerate(site.lanes):
        found += [
            VisitPlan(
                session.held_on, "calibration", place, (7.0, 16.0),
                f"Two test trucks, {session.purpose}.",
                _factor(session.factor_before, session.factor_after),
            )
            for session in lane.sessions
        ]  # fmt: skip
        found += _faults(place, lane, as_of)
    return sorted(
        (visit for visit in found if visit.on <= as_of),
        key=lambda visit: (visit.on, visit.hours, visit.purpose, visit.lane or 0),
    )


def fault_visit_on(life: SensorLife, replaced_on: dt.date | None) -> dt.date | None:
    """The day on which somebody looked at a sensor that had failed."""
    if life.end_reason != "failed" or life.ended_on is None:
        return None
    on = life.ended_on + dt.timedelta(days=3 + int(life.serial) % 7)
    return None if replaced_on is not None and on >= replaced_on else on


def replaced_on(lane: LanePlan, life: SensorLife) -> dt.date | None:
    """The day on which the next sensor came into the position."""
    later = [
        other.installed_on
        for other in lane.sensors
        if other.position == life.position and other.installed_on > life.installed_on
    ]
    return min(later, default=None)


def _factor(before: float, after: float) -> str:
    if before == after:
        return "Factor left as it was: the change would be no more than noise."
    return f"Factor changed from {before:.4f} to {after:.4f}."


def _installations(site: SitePlan) -> list[VisitPlan]:
    """One visit for whatever was put into the road of a lane on one day."""
    by_day: dict[tuple[dt.date, int | None], list[str]] = defaultdict(list)
    for place, lane in enumerate(site.lanes):
        for life in lane.sensors:
            is_first = life.installed_on == site.in_service_on
            by_day[life.installed_on, None if is_first else place].append(life.position)
    return [
        VisitPlan(
            on, "installation", place, (8.0, 15.0),
            "Pavement sound at the slots.",
            "All sensors installed and tested."
            if place is None
            else f"Installed and tested: {', '.join(sorted(positions))}.",
            "Calibrate after at least 72 hours of traffic.",
        )
        for (on, place), positions in by_day.items()
    ]  # fmt: skip


def _faults(place: int, lane: LanePlan, as_of: dt.date) -> list[VisitPlan]:
    found = []
    for life in lane.sensors:
        on = fault_visit_on(life, replaced_on(lane, life))
        if on is not None:
            found.append(
                VisitPlan(
                    on, "fault", place, (10.0, 12.0),
                    f"{life.position} has failed: {life.failure_mode}.",
                    "Sensor disconnected.", "Replace it in the next lane closure.",
                )
            )  # fmt: skip
    for fault in lane.faults:
        length = (fault.to_on - fault.from_on).days + 1
        is_over = fault.to_on < as_of
        if fault.kind in _CABINET and length >= LEAST_SILENT_DAYS and is_over:
            findings, actions = _CABINET[fault.kind]
            found.append(
                VisitPlan(
                    fault.to_on, "cabinet work", None, (13.0, 14.5), findings, actions
                )
            )
    return found
