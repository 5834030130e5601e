"""What the year's report states, as plain values: no Django, nothing to look up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class LaneYear:
    """One lane's year: days expected, recorded and decided, and its months."""

    lane_id: int
    site_code: str
    name: str
    technologies: tuple[str, ...]
    expected_days: int
    recorded_days: int
    accepted_days: int
    set_aside_days: int
    hours_seen: int
    n_vehicles: int
    months: tuple[float | None, ...]

    @property
    def undecided_days(self) -> int:
        """Days recorded that nobody has judged."""
        return self.recorded_days - self.accepted_days - self.set_aside_days


@dataclass(frozen=True)
class SetAside:
    """Days set aside for one reason."""

    lane: str
    from_on: dt.date
    to_on: dt.date
    n_days: int
    reason: str
    decided_by: str
    decided_on: dt.date


@dataclass(frozen=True)
class CalibrationRow:
    """One session's result, as found or as left."""

    lane: str
    held_on: dt.date
    purpose: str
    stage: str
    n_runs: int
    mean_pct: float | None
    low_pct: float | None
    high_pct: float | None
    sd_pct: float | None
    standard: str
    wanted_class: str
    verdict: str
    factor_before: float | None
    factor_after: float | None


@dataclass(frozen=True)
class DriftRow:
    """A lane's drift at the end of the period."""

    lane: str
    since: dt.date | None
    change_pct: float | None
    low_pct: float | None
    high_pct: float | None
    n_weeks: int
    n_trucks: int
    why_not: str


@dataclass(frozen=True)
class ElectricalRow:
    """A reading that missed its limit."""

    lane: str
    sensor: str
    tested_on: dt.date
    quantity: str
    value: float
    limit: str
    source: str


@dataclass(frozen=True)
class SensorChange:
    """A sensor that came or went."""

    lane: str
    on: dt.date
    what: str
    sensor: str
    technology: str


@dataclass(frozen=True)
class VisitRow:
    """One visit."""

    site_code: str
    on: dt.date
    purpose: str
    people: str
    findings: str


@dataclass(frozen=True)
class FileTotals:
    """Record files taken in for the period."""

    n_files: int
    n_read: int
    n_kept: int
    n_refused: int


@dataclass(frozen=True)
class YearFacts:
    """Everything that the report states."""

    agency: str
    scope: str
    year: int
    first_on: dt.date
    last_on: dt.date
    as_of: dt.date
    n_sites: int
    lanes: tuple[LaneYear, ...]
    set_aside: tuple[SetAside, ...]
    calibrations: tuple[CalibrationRow, ...]
    drifts: tuple[DriftRow, ...]
    n_tests: int
    n_sensors_tested: int
    n_sensors_live: int
    electrical: tuple[ElectricalRow, ...]
    changes: tuple[SensorChange, ...]
    visits: tuple[VisitRow, ...]
    files: FileTotals
    calibration_interval_months: int
    watch_drift_pct: float
    act_drift_pct: float
    weeks: Mapping[str, tuple[tuple[dt.date, float], ...]] = field(default_factory=dict)
