"""Shifts of known size, kind and date are found, dated, sized, and nothing else is."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest

from quality.calc.change_point import Shape
from quality.calc.drift_episode import DriftEpisode
from quality.calc.drift_search import DriftSearch, find_episodes, search_drift
from quality.calc.false_alarms import simulate_weeks
from quality.calc.week_series import WeekSeries
from tests.bench.drift_faults import FAULTS, Fault, run_fault
from wimprog.lib.judgement import Verdict

MONDAY = np.datetime64("2030-01-07")
START = dt.date(2030, 1, 1)


def lane(true: np.ndarray, seed: int = 1, **options: object) -> WeekSeries:
    """Weeks that follow ``true`` [%] with a scatter of 0.8 %, correlation 0.3."""
    n = len(true)
    rng = np.random.default_rng(seed)
    noise = simulate_weeks(phi=0.3, n_weeks=n, n_runs=1, rng=rng)[0]
    return WeekSeries(
        MONDAY + 7 * np.arange(n),
        4900.0 * (1 + (noise + true) / 100),
        np.full(n, 300),
        **options,  # type: ignore[arg-type]
    )


def monday(week: int) -> dt.date:
    return dt.date(2030, 1, 7) + dt.timedelta(weeks=week)


def test_one_step_is_told_whole() -> None:
    true = np.where(np.arange(120) >= 60, -3.0, 0.0)
    (episode,) = find_episodes(lane(true), calibrated_on=[START], limit_pct=2.0)
    assert episode.shape is Shape.STEP
    assert abs((episode.onset_on - monday(60)).days) <= 14
    assert episode.onset_low_on <= monday(60) <= episode.onset_high_on
    assert monday(60) < episode.found_on <= monday(70)
    assert episode.interval.low < -3.0 < episode.interval.high
    assert (episode.until_on, episode.ended_by) == (None, "")
    assert episode.n_weeks + episode.n_weeks_before == 120
    judgement = episode.judgement
    assert judgement.verdict is Verdict.MISSES
    assert judgement.n == 120
    assert judgement.interval == episode.interval
    assert "% lighter" in judgement.sentence
    assert "at once" in judgement.sentence
    assert "36,000 trucks" in judgement.sentence
    assert "false alarms a lane-year (measured" in judgement.rule
    assert 0 < episode.false_alarms_per_lane_year < 0.2


def test_an_episode_comes_back_from_json() -> None:
    true = np.where(np.arange(120) >= 60, -3.0, 0.0)
    (episode,) = find_episodes(lane(true))
    text = json.dumps(episode.as_dict(), allow_nan=False)
    assert DriftEpisode.from_dict(json.loads(text)) == episode


def test_several_shifts_follow_each_other() -> None:
    week = np.arange(150)
    true = 3.0 * (week >= 50) - 4.0 * (week >= 100)
    first, second = find_episodes(lane(true, 3), calibrated_on=[START])
    assert first.size_pct == pytest.approx(3.0, abs=1.0)
    assert first.until_on == second.onset_on
    assert first.ended_by == "next shift"
    assert second.size_pct == pytest.approx(-4.0, abs=1.0)
    assert abs((second.onset_on - monday(100)).days) <= 14
    assert second.until_on is None


def test_a_calibration_starts_a_new_baseline() -> None:
    """The factor set at week 60 moves the level; that is no drift."""
    true = np.where(np.arange(130) >= 60, 5.0, 0.0)
    assert find_episodes(lane(true, 4), calibrated_on=[START]) != []
    assert find_episodes(lane(true, 4), calibrated_on=[START, monday(60)]) == []


def test_a_shift_ends_with_the_calibration_that_mends_it() -> None:
    week = np.arange(130)
    true = np.where((week >= 40) & (week < 80), -4.0, 0.0)
    midweek = monday(80) + dt.timedelta(days=2)
    (episode,) = find_episodes(lane(true, 5), calibrated_on=[START, midweek])
    assert episode.until_on == midweek
    assert episode.ended_by == "calibration"
    # the week of the calibration is of neither side
    assert episode.n_weeks + episode.n_weeks_before == 80


def test_a_slow_ramp_is_one_ramp() -> None:
    true = np.clip((np.arange(156) - 60) * 0.06, 0, None)
    (episode,) = find_episodes(lane(true, 2))
    assert episode.shape is Shape.RAMP
    assert episode.slope_pct_per_week == pytest.approx(0.06, abs=0.02)
    assert episode.interval.low < true[-1] < episode.interval.high
    assert "little by little" in episode.judgement.sentence


def test_found_on_does_not_change_with_later_weeks() -> None:
    true = np.where(np.arange(140) >= 60, -3.0, 0.0)
    whole = lane(true, 7)
    found = set()
    for n in range(75, 141, 13):
        part = WeekSeries(whole.week_on[:n], whole.mean_kg[:n], whole.n_trucks[:n])
        (episode,) = find_episodes(part, adjust=False)
        found.add(episode.found_on)
    assert len(found) == 1


def test_known_temperature_is_taken_out() -> None:
    week = np.arange(150)
    warm = 12 * np.cos(2 * np.pi * (week - 28) / 52.18)
    true = 0.15 * warm + np.where(week >= 100, 3.0, 0.0)
    result = search_drift(lane(true, 7, temperature_c=warm))
    assert result.adjustment.pct_per_c == pytest.approx(0.15, abs=0.04)
    (episode,) = result.episodes
    assert episode.interval.low < 3.0 < episode.interval.high
    assert "Adjusted for temperature" in episode.adjusted
    raw = search_drift(lane(true, 7, temperature_c=warm), adjust=False)
    assert len(raw.episodes) > 1
    assert raw.episodes[0].adjusted.startswith("Not adjusted")


def test_a_single_wild_week_is_left_out_and_named() -> None:
    series = lane(np.zeros(80), 8)
    series.mean_kg[40] *= 1.15
    result = search_drift(series)
    assert result.left_out == (monday(40),)
    assert result.episodes == ()


@pytest.mark.parametrize("n", [1, 9])
def test_too_few_weeks_are_refused_in_words(n: int) -> None:
    result = search_drift(lane(np.zeros(n)))
    assert result.episodes == ()
    assert f"{n} week{'s' if n > 1 else ''} with enough trucks" in result.refusals[0]
    assert "8 before a shift and 2 after it are needed" in result.refusals[0]
    assert "Not adjusted for temperature or season, because" in (
        result.adjustment.sentence
    )


def test_no_weeks_at_all_are_refused_in_words() -> None:
    result = search_drift(lane(np.zeros(30)), least_trucks=301)
    assert isinstance(result, DriftSearch)
    assert result.refusals == (
        "No drift can be searched: no week with data and enough trucks.",
    )


def test_weeks_without_data_are_skipped() -> None:
    series = lane(np.where(np.arange(120) >= 60, -4.0, 0.0), 9)
    series.mean_kg[20:26] = np.nan
    (episode,) = find_episodes(series)
    assert episode.n_weeks + episode.n_weeks_before == 114
    assert abs((episode.onset_on - monday(60)).days) <= 14


def test_a_shift_too_small_to_matter_is_counted_not_told() -> None:
    true = np.where(np.arange(120) >= 60, 1.2, 0.0)
    result = search_drift(lane(true, 10), least_pct=2.0)
    assert (result.episodes, result.n_small) == ((), 1)


def test_weeks_that_never_scatter() -> None:
    flat = WeekSeries(MONDAY + 7 * np.arange(40), np.full(40, 4900.0), np.full(40, 300))
    assert find_episodes(flat) == []


def test_bad_series_are_refused() -> None:
    days = MONDAY + 7 * np.arange(3)
    with pytest.raises(ValueError, match="same length"):
        WeekSeries(days, np.ones(2), np.ones(3))
    with pytest.raises(ValueError, match="in order"):
        WeekSeries(days[::-1], np.ones(3), np.ones(3))
    with pytest.raises(ValueError, match="above 0"):
        WeekSeries(days, np.array([1.0, 0.0, 1.0]), np.ones(3))


@pytest.mark.parametrize(
    ("fault", "least_found", "most_delay"),
    [
        (Fault("step", Shape.STEP, 2.0), 0.9, 8),
        (Fault("step", Shape.STEP, 3.0), 0.95, 4),
        (Fault("step", Shape.STEP, -3.0, season_pct=1.0), 0.9, 6),
        (Fault("ramp", Shape.RAMP, 5.0), 0.85, 36),
    ],
)
def test_known_faults_are_found_in_time(
    fault: Fault, least_found: float, most_delay: float
) -> None:
    """40 lanes each; the whole table is in MEASURED_DRIFT.md."""
    tally = run_fault(fault, lanes=40, seed=11)
    assert tally.found / 40 >= least_found
    assert np.median(tally.delays) <= most_delay
    # 95 % intervals, less 4 standard errors over 40 lanes and a little for choosing
    assert tally.onset_held / tally.found >= 0.75
    assert tally.size_held / tally.found >= 0.75
    assert tally.shape_wrong / tally.found <= 0.2


@pytest.mark.parametrize("place", [0, 9, 11])
def test_lanes_on_which_nothing_moved_stay_quiet(place: int) -> None:
    """40 lanes of 3 years: at most 0.05 a lane-year and 4 standard errors."""
    fault = FAULTS[place]
    assert fault.size_pct == 0.0
    tally = run_fault(fault, lanes=40, seed=12)
    years = tally.false_years
    assert tally.false / years <= 0.05 + 4 * np.sqrt(0.05 / years)
