"""Drift episodes with what their pages show."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q, QuerySet

from calibration.models import CalibrationSession, SessionResult
from installs.models import MaintenanceVisit
from quality.calc.types import EpisodeState
from quality.models import BackCorrection, DriftEpisode
from quality.selectors.drift_series import week_points
from sites.models import Program
from wimprog.lib.judgement import Condition

if TYPE_CHECKING:
    from quality.calc.back_correction import BackCorrection as Proposal
    from quality.calc.drift_episode import DriftEpisode as FoundEpisode

BEFORE = dt.timedelta(weeks=40)
AFTER = dt.timedelta(weeks=26)
"""Time that is shown before the onset and after a drift's end."""


def episode_list(*, state: str = "", site_code: str = "") -> QuerySet[DriftEpisode]:
    """Episodes, the latest onset first; of one state and site where asked."""
    rows = DriftEpisode.objects.select_related("lane__wim_site", "decided_by")
    if state in set(EpisodeState):
        rows = rows.filter(state=state)
    if site_code:
        rows = rows.filter(lane__wim_site__code=site_code)
    return rows.order_by("-onset_on", "lane")


def found_of(episode: DriftEpisode) -> FoundEpisode | None:
    """The whole finding; None where the episode carries none that can be read."""
    from quality.calc.drift_episode import DriftEpisode as FoundEpisode

    try:
        return FoundEpisode.from_dict(episode.facts)
    except (KeyError, ValueError):
        return None


@dataclass(frozen=True)
class EpisodePage:
    """Everything about an episode.

    Attributes
    ----------
    found
        The finding, with its judgement, scope and causes.
    weeks
        Weeks from before the onset on: Monday, trucks, mean and spread [kg].
    events
        Calibrations and visits in that time: day, word, address.
    session_after
        The first calibration since the onset: it proposes to close.
    corrections, proposal
        What is kept of corrections, and what would be proposed now.
    history
        Earlier states of the episode, newest first.
    """

    episode: DriftEpisode
    found: FoundEpisode | None
    weeks: list[tuple[dt.date, int, float, float | None]]
    events: list[tuple[dt.date, str, str]]
    session_after: CalibrationSession | None
    corrections: list[BackCorrection]
    proposal: Proposal | None
    history: list[object]


def episode_page(episode: DriftEpisode) -> EpisodePage:
    """An episode's page, in seven queries; ``episode`` with its lane and site."""
    from quality.calc.back_correction import propose_correction

    found = found_of(episode)
    first = episode.onset_low_on - BEFORE
    last = episode.last_on + dt.timedelta(days=6)
    if found is not None and found.until_on is not None:
        last = min(last, found.until_on + AFTER)
    sessions = list(
        CalibrationSession.objects.filter(
            lane=episode.lane_id, held_on__gte=first
        ).order_by("held_on")
    )
    with_result = set(
        SessionResult.objects.filter(session__in=sessions).values_list(
            "session_id", flat=True
        )
    )
    after = [
        one for one in sessions
        if one.held_on > episode.onset_on and one.pk in with_result
    ]  # fmt: skip
    return EpisodePage(
        episode=episode,
        found=found,
        weeks=list(week_points(episode.lane_id, first_on=first, last_on=last)),
        events=_events(episode, sessions, first, last),
        session_after=after[0] if after else None,
        corrections=list(episode.corrections.select_related("decided_by")),
        proposal=propose_correction(found) if found is not None else None,
        history=list(
            episode.history.select_related("history_user").order_by("-history_date")[
                :20
            ]
        ),
    )


def _events(
    episode: DriftEpisode,
    sessions: list[CalibrationSession],
    first: dt.date,
    last: dt.date,
) -> list[tuple[dt.date, str, str]]:
    lane = episode.lane
    here = Q(lane=lane) | Q(lane__isnull=True, wim_site=lane.wim_site_id)
    visits = MaintenanceVisit.objects.filter(
        here, arrived_at__date__range=(first, last)
    )
    events = [
        (one.held_on, "calibration", one.get_absolute_url())
        for one in sessions
        if one.held_on <= last
    ]
    events += [(one.arrived_at.date(), str(one.purpose), "") for one in visits]
    return sorted(events)


def size_condition(episode: DriftEpisode, program: Program) -> Condition:
    """How much the size of a drift matters, by the agency's two limits."""
    size = abs(episode.size_pct)
    if size >= program.act_drift_pct:
        return Condition.ACT
    return Condition.WATCH if size >= program.watch_drift_pct else Condition.SOUND
