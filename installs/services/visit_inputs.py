"""What a visit brings with it, as plain values that forms fill and services keep."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from installs.calc.upkeep.types import CabinetFinding, CabinetPart, DowntimeCause
from installs.models import (
    DownSpell,
    Installation,
    MaintenanceVisit,
    PreventiveRule,
    SparePart,
    WorkItem,
)
from sites.models import Lane


@dataclass(frozen=True)
class WorkDone:
    """A work item that was seen to."""

    item: WorkItem
    note: str = ""


@dataclass(frozen=True)
class WorkFound:
    """Something found that somebody should see to: at a site, lane, sensor or part."""

    reason: str
    lane: Lane | None = None
    installation: Installation | None = None
    part: CabinetPart | str = ""
    cause: str = ""
    is_hazard: bool = False
    lane_is_down: bool = False
    spoils_data: bool = False


@dataclass(frozen=True)
class PartCheck:
    """What was found at one part of the cabinet.

    ``raises_work`` puts the part on the work list, with the note as its reason;
    ``as_typed`` holds the meters' values as they were typed, with their units.
    """

    part: CabinetPart
    finding: CabinetFinding
    note: str = ""
    rest_voltage_v: float | None = None
    load_voltage_v: float | None = None
    load_current_a: float | None = None
    earth_resistance_ohm: float | None = None
    raises_work: bool = False
    as_typed: Mapping[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class PartUsed:
    """How many of a spare part the visit used in all (not how many more)."""

    spare_part: SparePart
    quantity: int


@dataclass(frozen=True)
class WentDown:
    """A lane, or one sensor of it, that was found without usable data.

    ``began_at`` None: from the arrival on.
    """

    lane: Lane
    installation: Installation | None
    cause: DowntimeCause
    began_at: dt.datetime | None = None
    note: str = ""


@dataclass(frozen=True)
class CameBack:
    """A time down that ended at the visit; ``ended_at`` None: when the people left."""

    spell: DownSpell
    ended_at: dt.datetime | None = None


@dataclass(frozen=True)
class RuleDone:
    """Preventive work done, at the site or on one sensor."""

    rule: PreventiveRule
    installation: Installation | None = None


@dataclass(frozen=True)
class VisitKept:
    """A visit as it was kept, and what its people should know of it."""

    visit: MaintenanceVisit
    warnings: tuple[str, ...] = ()
