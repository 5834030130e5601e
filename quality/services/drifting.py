"""Drift found in lanes' weeks, kept as episodes, explained or closed by people."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction

from quality.calc.types import EpisodeState
from quality.models import DriftEpisode
from quality.selectors.drift_series import cause_facts, lane_series, pooled_prior
from sites.models import Lane
from sites.selectors import program_get
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

if TYPE_CHECKING:
    from quality.calc.drift_episode import DriftEpisode as FoundEpisode
    from quality.calc.drift_scope import LaneSeries
    from quality.calc.week_spread import SpreadPrior

MEASURE = "steering axle"
SCOPE_WORDS = {"several lanes of the site": "several lanes"}
ENDED = "It had ended with the calibration of {} before it was first looked for."
NOT_SEEN = "The weeks since then do not show it any more."


@dataclass
class DriftFound:
    """What a look at the lanes came to."""

    n_lanes: int = 0
    n_new: int = 0
    n_updated: int = 0
    n_let_be: int = 0
    n_withdrawn: int = 0
    refusals: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The whole in one sentence."""
        return (
            f"Drift looked for in {self.n_lanes} lanes: {self.n_new} new episodes, "
            f"{self.n_updated} brought up to date, {self.n_let_be} as they were, "
            f"{self.n_withdrawn} no longer seen; {len(self.refusals)} stretches too "
            "short to search."
        )


def drift_refresh(
    *,
    lanes: Sequence[Lane],
    today: dt.date,
    by: Any = None,
    progress: Callable[[int, int], None] | None = None,
) -> DriftFound:
    """Search lanes for drift and bring their episodes up to date.

    Open episodes follow the weeks; one that somebody explained or closed stays as it
    was, and so that it is not raised again under another date, a shift whose onset
    interval meets its own is taken for it. Each lane is whole or as it was.

    Parameters
    ----------
    lanes
        Whose episodes to look for; all lanes are compared with.
    today
        Only whole weeks before it count.
    """
    from quality.calc.steering import MIN_TRUCKS

    every = lane_series(until=today)
    prior = pooled_prior(
        (one.series for one in every.values()), least_trucks=MIN_TRUCKS
    )
    limit_pct = program_get().act_drift_pct
    found = DriftFound()
    for place, lane in enumerate(lanes, start=1):
        if lane.pk in every:
            _lane(lane, every, prior, limit_pct, by, found)
        if progress is not None:
            progress(place, len(lanes))
    return found


@transaction.atomic
def _lane(
    lane: Lane,
    every: dict[int, LaneSeries],
    prior: SpreadPrior,
    limit_pct: float,
    by: Any,
    found: DriftFound,
) -> None:
    from quality.calc.drift_cause import suggest_causes
    from quality.calc.drift_scope import compare_scope
    from quality.calc.drift_search import search_drift
    from quality.calc.steering import MIN_TRUCKS

    own = every[lane.pk]
    search = search_drift(
        own.series,
        calibrated_on=own.calibrated_on,
        limit_pct=limit_pct,
        least_trucks=MIN_TRUCKS,
        prior=prior,
    )
    found.n_lanes += 1
    found.refusals += tuple(f"{lane}: {one}" for one in search.refusals)
    stored = list(
        DriftEpisode.objects.select_for_update().filter(lane=lane, measure=MEASURE)
    )
    facts = cause_facts(lane) if search.episodes else None
    others = list(every.values())
    last_on = own.series.week_on[-1].astype(dt.date)
    for one in search.episodes:
        compared = one.with_scope(compare_scope(one, own, others, prior=prior))
        if facts is not None:
            compared = compared.with_causes(suggest_causes(compared, facts))
        before = _same(stored, compared)
        if before is not None:
            stored.remove(before)
        _keep(lane, before, compared, last_on, by, found)
    for gone in stored:
        if gone.state == EpisodeState.OPEN.value:
            gone.state = EpisodeState.CLOSED.value
            gone.explanation = NOT_SEEN
            gone.decided_at = clock.now()
            save_with_reason(gone, by=by, why=NOT_SEEN)
            found.n_withdrawn += 1


def _same(stored: Sequence[DriftEpisode], one: FoundEpisode) -> DriftEpisode | None:
    """The stored episode that a found one is, by its way and its onset's interval."""
    alike = [
        episode for episode in stored
        if (episode.size_pct > 0) == (one.size_pct > 0)
        and episode.onset_low_on <= one.onset_high_on
        and episode.onset_high_on >= one.onset_low_on
    ]  # fmt: skip
    return min(
        alike, key=lambda old: abs((old.onset_on - one.onset_on).days), default=None
    )


def _keep(
    lane: Lane,
    before: DriftEpisode | None,
    one: FoundEpisode,
    last_on: dt.date,
    by: Any,
    found: DriftFound,
) -> None:
    """Store a found episode: new, or in place of the open one that it was."""
    from quality.calc.drift_words import METHOD_VERSION

    is_open = before is None or before.state == EpisodeState.OPEN.value
    reopened = before is not None and before.explanation == NOT_SEEN
    if not is_open and not reopened:
        found.n_let_be += 1
        return
    facts = one.as_dict()
    if before is not None and before.facts == facts and not reopened:
        if before.last_on != last_on:
            DriftEpisode.objects.filter(pk=before.pk).update(last_on=last_on)
        found.n_let_be += 1
        return
    episode = before or DriftEpisode(lane=lane, measure=MEASURE)
    episode.onset_on = one.onset_on
    episode.onset_low_on = min(one.onset_low_on, one.onset_on)
    episode.onset_high_on = max(one.onset_high_on, one.onset_on)
    episode.found_on = before.found_on if before else one.found_on
    episode.last_on = last_on
    episode.size_pct = one.size_pct
    episode.size_low_pct = one.interval.low
    episode.size_high_pct = one.interval.high
    episode.n_weeks, episode.n_trucks = one.n_weeks, one.n_trucks
    episode.shape = one.shape.value
    scope = one.scope.scope.value
    episode.scope = SCOPE_WORDS.get(scope, scope)
    episode.causes, episode.facts = facts["causes"], facts
    episode.method_version = METHOD_VERSION
    if reopened:
        episode.state, episode.explanation = EpisodeState.OPEN.value, ""
        episode.decided_at = None
    if before is None and one.ended_by == "calibration":
        episode.state = EpisodeState.CLOSED.value
        episode.explanation = ENDED.format(one.until_on)
        episode.decided_at = clock.now()
    why = "found in the weeks" if before is None else "found again with later weeks"
    save_with_reason(episode, by=by, why=why)
    if before is None:
        found.n_new += 1
    else:
        found.n_updated += 1


@transaction.atomic
def episode_decide(
    *, episode: DriftEpisode, state: EpisodeState | str, reason: str, by: Any
) -> DriftEpisode:
    """Explain an episode, close it, or open it again.

    Raises
    ------
    DomainError
        Without a reason, or when it is in that state already.
    """
    state = EpisodeState(state)
    if not reason.strip():
        raise DomainError("Give the reason; it stands in the report.")
    if episode.state == state.value:
        raise DomainError(f"The episode is {state.value} already.")
    episode.state = state.value
    is_open = state is EpisodeState.OPEN
    episode.explanation = "" if is_open else reason.strip()
    episode.decided_by = None if is_open else by
    episode.decided_at = None if is_open else clock.now()
    save_with_reason(episode, by=by, why=reason.strip())
    return episode
