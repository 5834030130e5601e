"""Later facts put earlier decisions in question; people answer.

Only accepted days are asked about, only when the fact was entered after the decision,
and each fact asks once. The reaches are our own (common practice, no source).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Max, Min

from calibration.models import RunStage, SessionResult
from installs.calc.types import VisitPurpose
from installs.models import Installation, MaintenanceVisit
from quality.calc.types import EpisodeState
from quality.models import (
    DayDecision,
    DriftEpisode,
    LaneDay,
    RecordReplacement,
    ReviewQuestion,
)
from quality.selectors.weeks import calibration_days
from sites.models import Lane
from wimprog.lib.judgement import Verdict
from wimprog.lib.models import save_with_reason

FAULT_REACH = dt.timedelta(days=30)
"""A fault that is seen on a visit was there before it, nobody knows how long."""
CALIBRATION_REACH = dt.timedelta(days=365)


@dataclass(frozen=True)
class LaterFact:
    """Something learnt later that bears on days before it."""

    lane_id: int
    key: str
    at: dt.datetime
    from_on: dt.date
    to_on: dt.date
    because: str


@transaction.atomic
def questions_refresh(*, by: Any = None) -> int:
    """Ask again about accepted days that later facts bear on; how many new questions.

    Asking twice makes nothing new.
    """
    asked = set(ReviewQuestion.objects.values_list("lane_id", "evidence_key"))
    n_new = 0
    for fact in _facts():
        if (fact.lane_id, fact.key) in asked:
            continue
        span = LaneDay.objects.filter(
            lane_id=fact.lane_id,
            date__range=(fact.from_on, fact.to_on),
            review__decision=DayDecision.ACCEPTED,
            review__decided_at__lt=fact.at,
        ).aggregate(first=Min("date"), last=Max("date"))
        if span["first"] is None:
            continue
        question = ReviewQuestion(
            lane_id=fact.lane_id,
            from_on=span["first"],
            to_on=span["last"],
            because=fact.because[:300],
            evidence_key=fact.key,
        )
        save_with_reason(question, by=by, why="a later fact")
        asked.add((fact.lane_id, fact.key))
        n_new += 1
    return n_new


def _facts() -> Iterator[LaterFact]:
    yield from _calibrations()
    yield from _visits()
    yield from _failures()
    yield from _drifts()
    yield from _replacements()


def _calibrations() -> Iterator[LaterFact]:
    """As found, the lane missed its tolerance: since when is not known."""
    rows = SessionResult.objects.filter(
        stage=RunStage.AS_FOUND, verdict_word=Verdict.MISSES.value
    ).select_related("session")
    found = list(rows)
    days = calibration_days({row.session.lane_id for row in found})
    for row in found:
        session = row.session
        before = [day for day in days.get(session.lane_id, []) if day < session.held_on]
        first = max([*before[-1:], session.held_on - CALIBRATION_REACH])
        yield LaterFact(
            session.lane_id,
            f"session:{session.pk}",
            session.created_at,
            first,
            session.held_on - dt.timedelta(days=1),
            f"The calibration of {session.held_on} found the lane outside its "
            "tolerance before it was adjusted.",
        )


def _visits() -> Iterator[LaterFact]:
    lanes: dict[int, list[int]] = {}
    for pk, site in Lane.objects.values_list("pk", "wim_site_id"):
        lanes.setdefault(site, []).append(pk)
    rows = MaintenanceVisit.objects.filter(
        purpose__in=[VisitPurpose.FAULT.value, VisitPurpose.REPAIR.value]
    )
    for visit in rows:
        on = visit.arrived_at.date()
        what = visit.findings or visit.actions
        said = f": {what[:160]}" if what else "."
        own = [visit.lane_id] if visit.lane_id else lanes.get(visit.wim_site_id, [])
        for lane_id in own:
            yield LaterFact(
                lane_id,
                f"visit:{visit.pk}",
                visit.created_at,
                on - FAULT_REACH,
                on,
                f"The visit of {on} ({visit.purpose}) was entered later{said}",
            )


def _failures() -> Iterator[LaterFact]:
    rows = Installation.objects.filter(end_reason="failed", ended_on__isnull=False)
    for one in rows:
        if one.ended_on is None:
            continue
        yield LaterFact(
            one.lane_id,
            f"installation:{one.pk}",
            one.updated_at,
            one.ended_on - FAULT_REACH,
            one.ended_on,
            f"The sensor at {one.position} was entered as failed on {one.ended_on}.",
        )


def _drifts() -> Iterator[LaterFact]:
    for one in DriftEpisode.objects.filter(state=EpisodeState.OPEN.value):
        yield LaterFact(
            one.lane_id,
            f"drift:{one.pk}",
            one.created_at,
            one.onset_low_on,
            one.last_on + dt.timedelta(days=6),
            f"A drift of {one.size_pct:+.1f} % ({one.size_low_pct:+.1f} to "
            f"{one.size_high_pct:+.1f} %) was found since about {one.onset_on}.",
        )


def _replacements() -> Iterator[LaterFact]:
    for one in RecordReplacement.objects.filter(undone_at=None):
        yield LaterFact(
            one.lane_id,
            f"replacement:{one.pk}",
            one.decided_at,
            one.from_on,
            one.to_on,
            f"Records of these days were replaced by a later delivery: {one.reason}",
        )
