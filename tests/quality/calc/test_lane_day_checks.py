"""Checks of days against simulated faults of known size, date and kind.

Rates from tests/bench/measure_checks.py (quality/calc/MEASURED_CHECKS.md), with room
for the few lanes that are simulated here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.stats import chi2_contingency

from quality.calc.calendars import clocks_ahead_h, federal_holidays
from quality.calc.checks import CHECKS, PAIR_CHECKS, LaneDays, Proposal, Weight, propose
from quality.calc.checks.lane_day.class_mix import mix_distance
from quality.calc.checks.usual import (
    REACH_WEEKS,
    days_before,
    log_ratio_to_usual,
    middle_and_sd,
    row_medians,
    same_weekdays_before,
)
from quality.calc.clock_shift import ClockFault, clock_shift, day_candidates
from tests.quality.calc import lane_simulation as sim

START = 119  # a Monday, 17 weeks in
TRAFFIC = sim.Traffic(per_day=400, n_days=START + 14)
BY_KEY = {check.key: check for check in CHECKS}


@pytest.fixture(scope="module")
def lanes() -> list[LaneDays]:
    return [sim.simulate(np.random.default_rng([1, k]), TRAFFIC) for k in range(8)]


def days_found(days: LaneDays, key: str) -> list[int]:
    check = BY_KEY[key]
    found = check.run(days, check, check.default_limit)
    return sorted({int((one.date - days.date[0]).astype(int)) for one in found})


def test_healthy_lanes_are_left_alone(lanes: list[LaneDays]) -> None:
    """8 lanes of 19 weeks: 3 lane-years, measured below 1 finding a year and check."""
    for key in ("partial-loss", "class-mix", "speed-shift", "frozen", "clock"):
        assert sum(len(days_found(one, key)) for one in lanes) <= 6, key
    for key in ("frozen", "clock"):
        assert sum(len(days_found(one, key)) for one in lanes) == 0, key


FAULTS: dict[str, Callable[[np.random.Generator, LaneDays], LaneDays]] = {
    "half lost": lambda rng, days: sim.lose(rng, days, START, 0.5),
    "40 % of class 9 as 8": lambda rng, days: sim.misclassify(rng, days, START, 0.4),
    "speed 12 % high": lambda rng, days: sim.speed_error(days, START, 12, rng),
    "speed frozen": lambda _, days: sim.freeze_speed(days, START, 40),
    "clock 4 h": lambda _, days: sim.shift_clock(days, START, 4),
    "clock 12 h": lambda _, days: sim.shift_clock(days, START, 12),
    "no AM and PM": lambda _, days: sim.no_am_pm(days, START),
    "clock 1 h": lambda _, days: sim.shift_clock(days, START, 1),
}


@pytest.mark.parametrize(
    ("name", "key", "within", "least"),
    [
        ("half lost", "partial-loss", 10, 7),
        ("40 % of class 9 as 8", "class-mix", 3, 7),
        ("speed 12 % high", "speed-shift", 3, 7),
        ("speed frozen", "frozen", 1, 8),
        ("clock 4 h", "clock", 4, 8),
        ("clock 12 h", "clock", 4, 8),
        ("no AM and PM", "clock", 4, 8),
        ("clock 1 h", "clock", 10, 6),
    ],
)
def test_faults_are_found(
    lanes: list[LaneDays], name: str, key: str, within: int, least: int
) -> None:
    found = 0
    for seed, days in enumerate(lanes):
        bad = FAULTS[name](np.random.default_rng([2, seed]), days)
        days_after = [day for day in days_found(bad, key) if day >= START]
        found += bool(days_after) and days_after[0] < START + within
    assert found >= least


@pytest.mark.parametrize(
    ("hours", "words", "weight"),
    [
        (4, "was 4 hours ahead", Weight.SET_ASIDE),
        (-3, "was 3 hours behind", Weight.SET_ASIDE),
        (1, "was 1 hour ahead", Weight.LOOK),
        (12, "had AM and PM exchanged", Weight.SET_ASIDE),
    ],
)
def test_the_clocks_fault_is_named(
    lanes: list[LaneDays], hours: int, words: str, weight: Weight
) -> None:
    check = BY_KEY["clock"]
    bad = sim.shift_clock(lanes[0], START, hours)
    found = check.run(bad, check, check.default_limit)
    assert sum(words in one.sentence for one in found) >= 0.7 * len(found) > 0
    assert {one.weight for one in found if words in one.sentence} == {weight}


def test_speeds_are_told_in_both_units(lanes: list[LaneDays]) -> None:
    check = BY_KEY["speed-shift"]
    bad = sim.speed_error(lanes[0], START, 15, np.random.default_rng(0))
    found = check.run(bad, check, check.default_limit)[-1]
    assert found.value == pytest.approx(15, abs=4)
    assert " mph (" in found.sentence
    assert "limit 5 mph (8 km/h) apart" in found.sentence


def test_holidays_are_neither_judged_nor_learnt_from(lanes: list[LaneDays]) -> None:
    hourly = lanes[0].hourly.copy()
    hourly[START + 3] //= 6
    quiet = sim.changed(lanes[0], hourly)
    assert START + 3 in days_found(quiet, "volume")
    holiday = np.zeros(len(hourly), dtype=bool)
    holiday[START + 3] = True
    assert START + 3 not in days_found(replace(quiet, is_holiday=holiday), "volume")


def test_peoples_clocks_explain_an_hour(lanes: list[LaneDays]) -> None:
    """Traffic keeps daylight saving time, records standard time: no fault."""
    for days in lanes[:3]:
        saved = sim.shift_clock(days, START, -1)
        ahead = np.where(np.arange(len(days.date)) >= START, 1, 0)
        assert days_found(saved, "clock")
        assert not days_found(replace(saved, clock_ahead_h=ahead), "clock")


def test_lanes_exchanged_are_found_and_others_not() -> None:
    """Found on each day at 300 vehicles a day and more, no false finding."""
    (check,) = PAIR_CHECKS
    for seed in range(3):
        rng = np.random.default_rng([3, seed])
        traffic = sim.Traffic(per_day=500, n_days=84)
        a, b = sim.simulate(rng, traffic), sim.simulate(rng, traffic, passing=True)
        assert check.run(a, b, check, check.default_limit) == []
        found = check.run(*sim.exchange(a, b, 77), check, check.default_limit)
        assert [one.date for one in found] == list(a.date[77:])
    one_day_more = sim.simulate(rng, sim.Traffic(per_day=500, n_days=85))
    with pytest.raises(ValueError, match="same days"):
        check.run(a, one_day_more, check, 0.3)


def test_without_figures_there_is_no_finding(lanes: list[LaneDays]) -> None:
    old = replace(lanes[0], figures=[{}] * len(lanes[0].date))
    for key in ("class-mix", "speed-shift", "frozen"):
        assert days_found(old, key) == []
    # and the first week of figures has nothing to be held against
    bare = [{}] * (START - 3) + list(lanes[0].figures[START - 3 :])
    frozen = sim.freeze_speed(replace(lanes[0], figures=bare), START, 40)
    for key in ("class-mix", "speed-shift", "frozen"):
        assert min(days_found(frozen, key), default=999) >= START + 4, key


def test_proposals_do_not_depend_on_how_much_later_data_there_is(
    lanes: list[LaneDays],
) -> None:
    """Checks look back only: cutting off later days changes no earlier proposal."""
    bad = sim.shift_clock(lanes[1], START, 3)
    cut = START + 5
    short = LaneDays(
        **{one.name: getattr(bad, one.name)[:cut] for one in fields(LaneDays)}
    )
    whole = propose(bad)
    assert propose(short) == whole[:cut]
    assert any(one.proposal is Proposal.SET_ASIDE for one in whole[START:cut])


def test_what_is_found_lies_within_the_reach() -> None:
    """Days longer ago than REACH_WEEKS change nothing."""
    rng = np.random.default_rng(9)
    days = sim.simulate(rng, sim.Traffic(per_day=80, n_days=7 * REACH_WEEKS + 30))
    hourly = days.hourly.copy()
    hourly[:21] *= 3
    last = slice(-7, None)
    assert propose(sim.changed(days, hourly))[last] == propose(days)[last]


# --- what is usual ------------------------------------------------------------------


def test_medians_are_numpys_whatever_is_known() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(size=(200, 9))
    values[rng.random(values.shape) < 0.3] = np.nan
    some = np.isfinite(values).any(axis=1)
    assert row_medians(values[some]) == pytest.approx(
        np.nanmedian(values[some], axis=1)
    )
    few = np.isfinite(values).sum(axis=1) < 6
    assert np.isnan(row_medians(values, 6))[few].all()


def test_days_before_are_those_before() -> None:
    values = np.arange(100.0)
    assert days_before(values, 3)[50].tolist() == [47, 48, 49]
    assert days_before(values, 3, lag=2)[50].tolist() == [45, 46, 47]
    assert np.isnan(days_before(values, 3)[1]).tolist() == [True, True, False]
    assert same_weekdays_before(values, weeks=3)[50].tolist() == [29, 36, 43]


def test_a_season_that_comes_every_year_is_taken_off() -> None:
    """An exponential rise of 3 % a week for ten weeks, in both years."""
    day = np.arange(3 * 364)
    rise = np.clip((day % 364 - 100) / 7, 0, 10) * 0.03
    fall = np.clip((day % 364 - 250) / 7, 0, 10) * 0.03
    volume = 1000 * np.exp(rise - fall)
    plain, _ = log_ratio_to_usual(volume, season=False)
    ratio, usual = log_ratio_to_usual(volume)
    late = slice(2 * 364 + 120, 2 * 364 + 160)
    assert plain[late].mean() > 0.1
    assert np.abs(ratio[late]).max() < 0.02
    assert usual[late] == pytest.approx(volume[late], rel=0.02)


def test_spread_is_robust() -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(2.0, 0.5, 400)
    values[::11] = 40.0
    middle, sd = middle_and_sd(values)
    assert np.isnan(middle[:14]).all()
    assert middle[-1] == pytest.approx(2.05, abs=0.15)
    assert sd[-1] == pytest.approx(0.55, abs=0.12)


def test_mix_distance_is_chi_square_a_degree_of_freedom() -> None:
    """Outside reference: scipy.stats.chi2_contingency of the two rows."""
    rng = np.random.default_rng(6)
    for _ in range(20):
        counts = rng.integers(20, 200, (1, 6)).astype(float)
        reference = rng.integers(150, 1600, (1, 6)).astype(float)
        distance, moved = mix_distance(counts, reference)
        wanted = chi2_contingency(np.vstack([counts, reference]), correction=False)
        assert distance[0] == pytest.approx(wanted.statistic / wanted.dof, rel=1e-9)
        a, b = counts / counts.sum(), reference / reference.sum()
        assert moved[0] == pytest.approx(np.maximum(a - b, 0).sum(), rel=1e-9)


# --- clocks and calendars -----------------------------------------------------------


@pytest.mark.parametrize("hours", [0, 2, -5, 24, -48, 72, 12])
def test_a_files_clock(hours: int) -> None:
    days = sim.simulate(np.random.default_rng([8, 1]), replace(TRAFFIC, n_days=70))
    usual = days.hourly[:56].reshape(8, 7, 24).mean(axis=0)
    late = np.roll(days.hourly[56:].reshape(-1), hours).reshape(-1, 24)
    shift = clock_shift(late, usual, days.date[56])
    assert shift is not None
    assert shift.hours == hours
    assert shift.is_found() is (hours != 0)
    assert shift.n == late.sum()
    if hours:
        assert shift.agreement_after > 0.8 > shift.agreement_before or hours == 24
        wanted = ClockFault.DAYS if hours % 24 == 0 else ClockFault.HOURS
        assert shift.fault is wanted


def test_a_file_without_am_and_pm_and_one_without_vehicles() -> None:
    days = sim.simulate(np.random.default_rng([8, 2]), replace(TRAFFIC, n_days=70))
    usual = days.hourly[:56].reshape(8, 7, 24).mean(axis=0)
    shift = clock_shift(sim.no_am_pm(days, 56).hourly[56:], usual, days.date[56])
    assert shift is not None
    assert shift.fault is ClockFault.NO_AM_PM
    assert shift.is_found()
    assert clock_shift(np.zeros((3, 24)), usual, days.date[0]) is None
    with pytest.raises(ValueError, match=r"\(days, 24\)"):
        clock_shift(np.zeros((3, 23)), usual, days.date[0])


def test_candidates_are_the_neighbouring_hours() -> None:
    rates = np.arange(72.0).reshape(3, 24)
    shapes = day_candidates(rates, 2)
    assert shapes[1, 2].tolist() == rates[1].tolist()  # no shift
    assert shapes[1, 4].tolist() == list(range(22, 46))  # 2 h ahead: hours before
    assert shapes[1, 0].tolist() == list(range(26, 50))  # 2 h behind
    assert shapes[1, 5, 3] == rates[1, 3] + rates[1, 15]
    assert np.isnan(shapes[0, 4, :2]).all()


def test_federal_holidays_of_2030() -> None:
    """5 U.S.C. 6103 (from memory); 2030 has no fixed holiday on a weekend."""
    wanted = {
        "2030-01-01", "2030-01-21", "2030-02-18", "2030-05-27", "2030-06-19",
        "2030-07-04", "2030-09-02", "2030-10-14", "2030-11-11", "2030-11-28",
        "2030-12-25",
    }  # fmt: skip
    found = federal_holidays(dt.date(2030, 1, 1), dt.date(2030, 12, 30))
    assert {str(day) for day in found} == wanted
    # 4 July 2032 is a Sunday: the day and the Monday that is kept for it
    july = federal_holidays(dt.date(2032, 7, 1), dt.date(2032, 7, 31))
    assert {str(day) for day in july} == {"2032-07-04", "2032-07-05"}


def test_daylight_saving_time_runs_from_march_to_november() -> None:
    """Second Sunday of March to first of November (15 U.S.C. 260a, from memory)."""
    ahead = clocks_ahead_h("America/Denver")
    assert ahead is not None
    days = np.array(["2030-03-09", "2030-03-10", "2030-11-02", "2030-11-03"], "M8[D]")
    assert ahead(days).tolist() == [0, 1, 1, 0]
    assert clocks_ahead_h("no such zone") is None
