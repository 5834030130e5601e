"""Drift of known size and date is found, kept, explained, and not raised again."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from quality.calc.drift_episode import DriftEpisode as FoundEpisode
from quality.models import DriftEpisode, LaneWeek
from quality.services.drifting import drift_refresh, episode_decide
from tests.factories import LaneFactory, MaintenanceVisitFactory
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]
FIRST = dt.date(2029, 1, 1)
"""A Monday."""
STEP_WEEK = 40


def monday(place: int) -> dt.date:
    return FIRST + dt.timedelta(weeks=place)


def weeks_of(lane, change_pct: float, n: int = 60, seed: int = 1) -> None:
    """Weeks of a lane that reads ``change_pct`` otherwise from week 40 on."""
    noise = np.random.default_rng(seed + lane.number).normal(0.0, 0.004, n)
    for place in range(n):
        moved = 1 + change_pct / 100 if place >= STEP_WEEK else 1.0
        LaneWeek.objects.create(
            lane=lane, week_on=monday(place), n_vehicles=900, n_days=7,
            steering_mean_kg=5000.0 * moved * (1 + noise[place]),
            steering_sd_kg=400.0, gvw_mean_kg=30_000.0,
        )  # fmt: skip


@pytest.fixture
def lanes():
    """Three lanes of one site; the first loses 5 % in its week 40."""
    first = LaneFactory.create(number=1)
    others = [
        LaneFactory.create(wim_site=first.wim_site, number=number) for number in (2, 3)
    ]
    weeks_of(first, -5.0)
    for other in others:
        weeks_of(other, 0.0)
    return [first, *others]


def look(lanes, weeks: int = 60):
    return drift_refresh(lanes=lanes, today=monday(weeks))


def test_a_step_is_found_with_its_date_size_and_scope(lanes):
    found = look(lanes)
    assert (found.n_lanes, found.n_new) == (3, 1)
    episode = DriftEpisode.objects.get()
    assert episode.lane == lanes[0]
    assert episode.onset_low_on <= monday(STEP_WEEK) <= episode.onset_high_on
    assert episode.size_low_pct <= -5.0 <= episode.size_high_pct
    assert (episode.shape, episode.scope) == ("step", "one lane")
    facts = FoundEpisode.from_dict(episode.facts)
    assert facts.size_pct == episode.size_pct
    assert "false alarms a lane-year" in facts.rule


def test_looking_twice_changes_nothing_and_later_weeks_bring_it_up_to_date(lanes):
    assert look(lanes, 50).n_new == 1
    before = DriftEpisode.objects.get()
    again = look(lanes, 50)
    assert (again.n_new, again.n_updated, again.n_let_be) == (0, 0, 1)
    assert before.history.count() == 1
    later = look(lanes, 60)
    assert (later.n_new, later.n_updated) == (0, 1)
    after = DriftEpisode.objects.get()
    assert after.pk == before.pk
    assert after.n_weeks > before.n_weeks
    assert after.found_on == before.found_on


def test_what_somebody_explained_stays_and_is_not_raised_again(lanes, analyst):
    look(lanes, 50)
    episode = DriftEpisode.objects.get()
    episode_decide(
        episode=episode, state="explained", reason="the cable was cut", by=analyst
    )
    assert look(lanes, 60).n_let_be == 1
    after = DriftEpisode.objects.get()
    assert (after.state, after.explanation) == ("explained", "the cable was cut")
    assert after.decided_by == analyst
    assert after.n_weeks == episode.n_weeks
    episode_decide(episode=after, state="open", reason="it was another one", by=analyst)
    assert look(lanes, 60).n_updated == 1
    assert [one.history_change_reason for one in after.history.all()][1:3] == [
        "it was another one", "the cable was cut",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("state", "reason", "words"),
    [("explained", "  ", "Give the reason"), ("open", "seen", "open already")],
)
def test_a_decision_needs_a_reason_and_a_change(lanes, analyst, state, reason, words):
    look(lanes)
    with pytest.raises(DomainError, match=words):
        episode_decide(
            episode=DriftEpisode.objects.get(), state=state, reason=reason, by=analyst
        )


def test_a_drift_that_the_weeks_no_longer_show_is_closed_and_says_so(lanes):
    look(lanes)
    rows = LaneWeek.objects.filter(lane=lanes[0], week_on__gte=monday(STEP_WEEK))
    for week in rows:
        week.steering_mean_kg /= 0.95
        week.save()
    assert look(lanes).n_withdrawn == 1
    episode = DriftEpisode.objects.get()
    assert episode.state == "closed"
    assert "do not show it" in episode.explanation


def test_a_repair_at_the_onset_is_suggested_as_its_cause(lanes):
    MaintenanceVisitFactory.create(
        wim_site=lanes[0].wim_site, purpose="repair", actions="lead-in spliced",
        arrived_at=dt.datetime.combine(
            monday(STEP_WEEK), dt.time(15), tzinfo=dt.UTC
        ),
    )  # fmt: skip
    look(lanes)
    causes = DriftEpisode.objects.get().causes
    assert causes[0]["what"] == "repair at the site"
    assert "lead-in spliced" in causes[0]["evidence"]


def test_all_lanes_moving_together_point_to_what_they_share():
    first = LaneFactory.create(number=1)
    second = LaneFactory.create(wim_site=first.wim_site, number=2)
    for lane in (first, second):
        weeks_of(lane, 6.0)
    look([first, second])
    assert {one.scope for one in DriftEpisode.objects.all()} == {"whole site"}


def test_a_drift_that_a_calibration_ended_long_ago_is_no_work(lanes, monkeypatch):
    from quality.selectors import drift_series

    day = monday(52)
    monkeypatch.setattr(
        drift_series, "calibration_days", lambda ids, until: {lanes[0].pk: [day]}
    )
    look(lanes)
    episode = DriftEpisode.objects.get()
    assert episode.state == "closed"
    assert f"calibration of {day}" in episode.explanation
