"""Drift in the browser: the list, an episode, its decisions, its corrections."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np
import pytest
from django.urls import reverse

from quality.models import BackCorrection, DriftEpisode, LaneWeek, RecordSettings
from quality.selectors.corrections import corrections_in_force
from quality.services.correcting import correction_decide, corrections_propose
from quality.services.drifting import drift_refresh
from tests.factories import LaneFactory
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]
FIRST = dt.date(2029, 1, 1)


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


def found_in(change) -> DriftEpisode:
    """The episode of a lane whose weeks follow ``change``; its neighbour is still."""
    lane = LaneFactory.create(number=1)
    other = LaneFactory.create(wim_site=lane.wim_site, number=2)
    for one, moves in ((lane, change), (other, lambda week: 1.0)):
        noise = np.random.default_rng(5 + one.number).normal(0.0, 0.003, 70)
        for week in range(70):
            LaneWeek.objects.create(
                lane=one, week_on=FIRST + dt.timedelta(weeks=week), n_vehicles=900,
                n_days=7, steering_mean_kg=5000.0 * moves(week) * (1 + noise[week]),
                steering_sd_kg=400.0, gvw_mean_kg=30_000.0,
            )  # fmt: skip
    drift_refresh(lanes=[lane, other], today=FIRST + dt.timedelta(weeks=70))
    return DriftEpisode.objects.get()


@pytest.fixture
def step():
    return found_in(lambda week: 0.95 if week >= 40 else 1.0)


def test_the_list_states_size_interval_scope_and_false_alarms(
    step, guest, client_for, django_assert_max_num_queries
):
    client = client_for(guest)
    with django_assert_max_num_queries(20):
        text = client.get(page("drift-list")).content.decode()
    assert str(step.lane) in text
    assert "one lane" in text
    assert "False alarms a lane-year" in text
    assert "Look for drift now" not in text
    assert (
        str(step.lane)
        not in client.get(page("drift-list") + "?state=closed").content.decode()
    )


def test_an_episode_shows_its_rule_and_is_explained_with_a_reason(
    step, analyst, client_for
):
    client = client_for(analyst)
    text = client.get(step.get_absolute_url()).content.decode()
    assert "false alarms a lane-year" in text
    assert "onset from" in text
    assert "Proposed: multiply weights" in text
    wrong = client.post(page("drift-decide", step.pk), {"state": "explained"})
    assert wrong.status_code == 422
    client.post(
        page("drift-decide", step.pk), {"state": "explained", "reason": "cable cut"}
    )
    step.refresh_from_db()
    assert (step.state, step.explanation) == ("explained", "cable cut")
    assert "cable cut" in client.get(step.get_absolute_url()).content.decode()


def test_an_episode_without_a_readable_finding_still_opens(step, guest, client_for):
    DriftEpisode.objects.filter(pk=step.pk).update(facts={})
    assert client_for(guest).get(step.get_absolute_url()).status_code == 200
    assert client_for(guest).get(page("drift-list")).status_code == 200


def test_a_step_is_corrected_by_one_factor_only_where_the_policy_says_so(
    step, analyst, client_for
):
    """1 / 0.95 = 1.0526, by hand."""
    client = client_for(analyst)
    client.post(page("correction-propose", step.pk))
    one = BackCorrection.objects.get()
    assert one.factor_low <= 1 / 0.95 <= one.factor_high
    assert one.state == "proposed"
    span = {"first_on": one.from_on, "last_on": one.to_on}
    RecordSettings.objects.create(use_corrections=True)
    assert corrections_in_force([step.lane_id], **span) == []
    client.post(
        page("correction-answer", one.pk), {"state": "allowed", "reason": "well known"}
    )
    assert corrections_in_force([step.lane_id], **span) == [one]
    RecordSettings.objects.update(use_corrections=False)
    assert corrections_in_force([step.lane_id], **span) == []


def test_a_ramp_is_corrected_by_factors_that_grow(analyst):
    """From week 30 on 0.25 % a week: 10 % after 40 weeks, so 1 / 0.905 at the end."""
    episode = found_in(lambda week: np.exp(-0.0025 * max(week - 30, 0)))
    assert episode.shape == "ramp"
    made = corrections_propose(episode=episode, by=analyst)
    factors = [one.factor for one in made]
    assert len(made) >= 8
    assert factors == sorted(factors)
    assert factors[0] < 1.02
    assert factors[-1] == pytest.approx(np.exp(0.0025 * 38), abs=0.02)
    for before, after in pairwise(made):
        assert after.from_on == before.to_on + dt.timedelta(days=1)


def test_two_corrections_of_the_same_days_are_never_allowed(step, analyst):
    (one,) = corrections_propose(episode=step, by=analyst)
    correction_decide(correction=one, state="allowed", reason="seen", by=analyst)
    with pytest.raises(DomainError, match="allowed already"):
        corrections_propose(episode=step, by=analyst)
    with pytest.raises(DomainError, match="cannot become refused"):
        correction_decide(correction=one, state="refused", reason="no", by=analyst)
    other = BackCorrection.objects.create(
        lane=step.lane, from_on=one.from_on, to_on=one.to_on, factor=1.01,
        factor_low=1.0, factor_high=1.02, n_weeks=9, n_trucks=900, basis="another",
    )  # fmt: skip
    with pytest.raises(DomainError, match="Another correction"):
        correction_decide(correction=other, state="allowed", reason="x", by=analyst)
