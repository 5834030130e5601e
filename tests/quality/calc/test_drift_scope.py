"""What moved with a lane: sensor, lane, lanes, site or region."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from quality.calc.drift_episode import DriftEpisode, Scope
from quality.calc.drift_scope import LaneSeries, change_at, compare_scope
from quality.calc.drift_search import find_episodes
from quality.calc.false_alarms import simulate_weeks
from quality.calc.week_series import WeekSeries

MONDAY = np.datetime64("2030-01-07")
STEP = np.where(np.arange(110) >= 60, 3.0, 0.0)
STILL = np.zeros(110)


def weeks(true: np.ndarray, seed: int, sd: float = 0.8) -> WeekSeries:
    n = len(true)
    rng = np.random.default_rng(seed)
    noise = simulate_weeks(phi=0.3, n_weeks=n, n_runs=1, rng=rng, sd=sd)[0]
    mean = 4900.0 * (1 + (noise + true) / 100)
    return WeekSeries(MONDAY + 7 * np.arange(n), mean, np.full(n, 300))


def lane(name: str, true: np.ndarray, seed: int, sd: float = 0.8) -> LaneSeries:
    """A lane "OV-001 L1" of site OV-001."""
    return LaneSeries(name, name.split()[0], "north", weeks(true, seed, sd))


@pytest.fixture(scope="module")
def own() -> LaneSeries:
    return lane("OV-001 L1", STEP, 1)


@pytest.fixture(scope="module")
def episode(own: LaneSeries) -> DriftEpisode:
    (found,) = find_episodes(own.series)
    return found


def told(episode: DriftEpisode, own: LaneSeries, *others: LaneSeries):
    return compare_scope(episode, own, [own, *others])


def test_the_lane_alone(episode: DriftEpisode, own: LaneSeries) -> None:
    finding = told(
        episode, own, lane("OV-001 L2", STILL, 2), lane("OV-002 L1", STILL, 3)
    )
    assert finding.scope is Scope.LANE
    assert finding.still == ("OV-001 L2", "OV-002 L1")
    assert "moved alone" in finding.sentence
    assert "OV-001 L2 at the same site did not" in finding.sentence
    assert "pavement of this lane" in finding.points_to


def test_the_whole_site(episode: DriftEpisode, own: LaneSeries) -> None:
    finding = told(
        episode, own, lane("OV-001 L2", STEP, 2), lane("OV-001 L3", STEP * 0.8, 4),
        lane("OV-002 L1", STILL, 3), lane("OV-003 L1", STILL, 5),
    )  # fmt: skip
    assert finding.scope is Scope.SITE
    assert "controller" in finding.points_to
    assert "0 of 2 other sites" in finding.sentence


def test_some_lanes_of_the_site(episode: DriftEpisode, own: LaneSeries) -> None:
    finding = told(
        episode, own, lane("OV-001 L2", STEP, 2), lane("OV-001 L3", STILL, 4)
    )
    assert finding.scope is Scope.LANES
    assert "OV-001 L2 moved the same way" in finding.sentence
    assert "OV-001 L3 did not" in finding.sentence


def test_the_whole_region(episode: DriftEpisode, own: LaneSeries) -> None:
    others = [lane(f"OV-00{site} L1", STEP, site) for site in (2, 3, 4)]
    finding = told(episode, own, *others, lane("OV-001 L2", STEP, 9))
    assert finding.scope is Scope.REGION
    assert "3 of 3 other sites" in finding.sentence
    assert "not the site" in finding.points_to


def test_a_site_that_moves_where_the_region_does_is_not_blamed_when_its_lane_stands(
    episode: DriftEpisode, own: LaneSeries
) -> None:
    others = [lane(f"OV-00{site} L1", STEP, site) for site in (2, 3, 4)]
    finding = told(episode, own, *others, lane("OV-001 L2", STILL, 9))
    assert finding.scope is Scope.LANE


def test_another_region_does_not_count(episode: DriftEpisode, own: LaneSeries) -> None:
    far = LaneSeries("OV-009 L1", "OV-009", "south", weeks(STILL, 3))
    finding = told(episode, own, far)
    assert finding.scope is Scope.UNKNOWN
    assert finding.moved == finding.still == finding.untold == ()


def test_a_move_the_other_way_is_not_the_same(
    episode: DriftEpisode, own: LaneSeries
) -> None:
    finding = told(episode, own, lane("OV-001 L2", -STEP, 2))
    assert finding.scope is Scope.LANE


def test_neighbours_too_uncertain_say_nothing(
    episode: DriftEpisode, own: LaneSeries
) -> None:
    finding = told(episode, own, lane("OV-001 L2", STILL, 2, sd=9.0))
    assert finding.scope is Scope.UNKNOWN
    assert finding.untold == ("OV-001 L2",)
    assert "too uncertain" in finding.sentence


def test_a_neighbours_calibration_is_not_its_move(
    episode: DriftEpisode, own: LaneSeries
) -> None:
    """Its own factor changed ten weeks after the onset: those weeks are not read."""
    moved = np.where(np.arange(110) >= 70, 3.0, 0.0)
    calibrated = (dt.date(2030, 1, 7) + dt.timedelta(weeks=70),)
    other = LaneSeries("OV-001 L2", "OV-001", "north", weeks(moved, 2, 0.5), calibrated)
    change = change_at(other.series, episode, calibrated_on=calibrated)
    assert change.interval.low < 0 < change.interval.high
    assert told(episode, own, other).scope is Scope.LANE


def test_too_few_weeks_around_the_onset_say_nothing(episode: DriftEpisode) -> None:
    late = weeks(STEP, 2)
    late = late.without(np.arange(110) < 56)
    assert change_at(late, episode) is None


def test_one_sensor_of_two() -> None:
    left, right = weeks(2 * STEP, 11), weeks(STILL, 12)
    mean = WeekSeries(left.week_on, (left.mean_kg + right.mean_kg) / 2, left.n_trucks)
    own = LaneSeries(
        "OV-001 L1", "OV-001", "north", mean, (), {"left": left, "right": right}
    )
    episode = find_episodes(mean)[-1]
    finding = told(episode, own, lane("OV-001 L2", STILL, 2))
    assert finding.scope is Scope.SENSOR
    assert finding.sensor == "left"
    assert "only left moved" in finding.sentence
    both = LaneSeries(
        "OV-001 L1", "OV-001", "north", mean, (), {"left": left, "right": left}
    )
    assert told(episode, both, lane("OV-001 L2", STILL, 2)).scope is Scope.LANE


def test_scope_is_kept_with_the_episode(episode: DriftEpisode, own: LaneSeries) -> None:
    finding = told(episode, own, lane("OV-001 L2", STILL, 2))
    kept = episode.with_scope(finding)
    assert DriftEpisode.from_dict(kept.as_dict()).scope == finding
    assert episode.scope.scope is Scope.UNKNOWN
