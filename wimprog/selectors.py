"""Reads behind the pages that join all apps: program health, a site, a lane.

The health of all lanes is computed from stored facts and kept in the cache under a key
made of the facts' own versions, so that it can never be older than what it rests on.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from django.core.cache import cache
from django.db.models import Count, Max

from calibration import selectors as calibration_reads
from calibration.models import (
    CalibrationSession,
    CalibrationSettings,
    FactorSet,
    StandardValue,
    TruckRun,
)
from installs import selectors as installs_reads
from installs.models import (
    ElectricalLimit,
    ElectricalTest,
    HazardEffect,
    Installation,
    MaintenanceVisit,
    TechnologyProfile,
)
from quality import selectors as quality_reads
from quality.calc.condition import (
    ConditionLimits,
    LaneCondition,
    LaneEvidence,
    lane_condition,
)
from quality.models import (
    CheckLimit,
    DayReview,
    DriftEpisode,
    RecordFile,
    RecordReplacement,
)
from sites.models import Lane, Program, Site, SiteState
from wimprog.lib.judgement import Condition

VERSIONED = (
    Program,
    Site,
    Lane,
    Installation,
    ElectricalLimit,
    ElectricalTest,
    TechnologyProfile,
    HazardEffect,
    MaintenanceVisit,
    CalibrationSession,
    CalibrationSettings,
    FactorSet,
    StandardValue,
    TruckRun,
    RecordFile,
    RecordReplacement,
    DayReview,
    DriftEpisode,
    CheckLimit,
)
METHOD_VERSION = "2"


@dataclass(frozen=True)
class LaneHealth:
    """One row of the health page, with what it was judged from."""

    lane_id: int
    site_code: str
    label: str
    route: str
    technologies: tuple[str, ...]
    condition: Condition
    reasons: tuple[str, ...]
    evidence: LaneEvidence
    n_drift_trucks: int = 0
    last_bias_pct: float | None = None
    p_fail_2y: float | None = None
    is_open: bool = True

    @property
    def name(self) -> str:
        """The lane as it is called: "OV-014 E1"."""
        return f"{self.site_code} {self.label}"

    @property
    def sentence(self) -> str:
        """Why, in one sentence."""
        return self.reasons[0] if self.reasons else ""

    @property
    def drift_pct(self) -> float | None:
        """Drift since the last calibration, for sorting and export."""
        return self.evidence.drift_pct


@dataclass(frozen=True)
class ProgramHealth:
    """All lanes judged, and the totals for the head of the page."""

    as_of: dt.date
    lanes: tuple[LaneHealth, ...]
    totals: Mapping[Condition, int] = field(default_factory=dict)
    n_sites: int = 0

    def of_lane(self, lane_id: int) -> LaneHealth | None:
        """The row of one lane."""
        return next((row for row in self.lanes if row.lane_id == lane_id), None)


def facts_version(today: dt.date) -> str:
    """A fingerprint of every fact that health rests on, in one query a model."""
    parts = [METHOD_VERSION, today.isoformat()]
    for model in VERSIONED:
        row = model._default_manager.aggregate(n=Count("pk"), last=Max("updated_at"))
        parts.append(f"{model.__name__}:{row['n']}:{row['last']}")
    return hashlib.sha256("|".join(parts).encode()).hexdigest()[:24]


def program_health(program: Program, today: dt.date) -> ProgramHealth:
    """Every lane's condition as of ``today``."""
    key = f"program-health:{facts_version(today)}"
    kept = cache.get(key)
    if kept is None:
        kept = _program_health(program, today)
        cache.set(key, kept, 24 * 3600)
    return kept


def _day(day: np.datetime64 | None) -> dt.date | None:
    return None if day is None else day.astype(dt.date)


def _empty_positions(lanes: Iterable[Lane]) -> dict[int, tuple[str, ...]]:
    """Positions whose last sensor failed and was not replaced, by lane."""
    live: dict[int, set[str]] = defaultdict(set)
    failed: dict[int, set[str]] = defaultdict(set)
    rows = Installation.objects.filter(lane__in=lanes).values_list(
        "lane_id", "position", "ended_on", "end_reason"
    )
    for lane_id, position, ended_on, reason in rows:
        if ended_on is None:
            live[lane_id].add(position)
        elif reason == "failed":
            failed[lane_id].add(position)
    return {
        lane_id: tuple(sorted(positions - live[lane_id]))
        for lane_id, positions in failed.items()
        if positions - live[lane_id]
    }


def _program_health(program: Program, today: dt.date) -> ProgramHealth:
    lanes = list(
        Lane.objects.select_related("wim_site").exclude(
            wim_site__state__in=[SiteState.RETIRED, SiteState.PLANNED]
        )
    )
    ids = [lane.pk for lane in lanes]
    last_data = quality_reads.last_data_on(ids)
    results = calibration_reads.latest_results(ids)
    dues = calibration_reads.lane_dues(program, today)
    calibrated = {
        lane_id: max((r.session.held_on for r in rows), default=None)
        for lane_id, rows in results.items()
    }
    drifts = quality_reads.lane_drifts(
        ids, {pk: day for pk, day in calibrated.items() if day}, today=today
    )
    chances = installs_reads.chances_by_lane(today)
    electrical = installs_reads.electrical_findings(ids)
    empty = _empty_positions(lanes)
    technologies = installs_reads.technologies_by_lane(ids)
    limits = ConditionLimits(
        watch_drift_pct=program.watch_drift_pct,
        act_drift_pct=program.act_drift_pct,
        silent_days=program.silent_days,
    )
    rows = []
    for lane in lanes:
        drift = drifts.get(lane.pk)
        result = calibration_reads.last_word(results.get(lane.pk, []))
        found = electrical.get(lane.pk)
        worst = max(
            chances.get(lane.pk, []), key=lambda c: c.within[1][0], default=None
        )
        evidence = LaneEvidence(
            is_open=lane.closed_on is None
            and lane.wim_site.state == SiteState.IN_SERVICE,
            last_data_on=last_data.get(lane.pk),
            last_calibrated_on=calibrated.get(lane.pk),
            calibration_due_on=dues[lane.pk].due_on if lane.pk in dues else None,
            drift_pct=drift.change_pct if drift else None,
            drift_low_pct=drift.interval.low if drift and drift.interval else None,
            drift_high_pct=drift.interval.high if drift and drift.interval else None,
            drift_since=_day(drift.since_on) if drift else None,
            drift_n_weeks=drift.n_weeks if drift else 0,
            drift_why_not=drift.judgement.sentence
            if drift
            else "Drift cannot be said before the first calibration.",
            last_verdict=result.verdict_word if result else "",
            last_class=result.session.wanted_class if result else "",
            empty_positions=empty.get(lane.pk, ()),
            misses=found.misses if found else (),
            crossings=found.crossings if found else (),
            p_fail_1y=worst.within[1][0] if worst else None,
            p_fail_position=worst.position if worst else "",
        )
        judged: LaneCondition = lane_condition(evidence, limits, today=today)
        rows.append(
            LaneHealth(
                lane_id=lane.pk,
                site_code=lane.wim_site.code,
                label=lane.label,
                route=lane.wim_site.route,
                technologies=technologies.get(lane.pk, ()),
                condition=judged.condition,
                reasons=judged.reasons,
                evidence=evidence,
                n_drift_trucks=drift.n_trucks if drift else 0,
                last_bias_pct=result.gvw_mean_pct if result else None,
                p_fail_2y=max(
                    (c.within[2][0] for c in chances.get(lane.pk, [])), default=None
                ),
                is_open=evidence.is_open,
            )
        )
    rows.sort(key=lambda row: (row.condition.rank, row.site_code, row.label))
    return ProgramHealth(
        as_of=today,
        lanes=tuple(rows),
        totals=Counter(row.condition for row in rows),
        n_sites=len({lane.wim_site_id for lane in lanes}),
    )
