"""Gaps and lane-day checks: hand-computed probabilities and simulated faults."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest, nbinom

from quality.calc.checks import (
    CHECKS,
    LaneDays,
    Proposal,
    Weight,
    propose,
    wilson_lower,
)
from quality.calc.daily import HOUR_COLUMNS
from quality.calc.gaps import empty_runs, trailing_rates, zero_probability

MONDAY = np.datetime64("2030-01-07")
PROFILE = np.r_[[0.3] * 5, [1.0] * 3, [1.8] * 10, [1.0] * 4, [0.4] * 2]
PROFILE /= PROFILE.sum()
WEEKDAY = np.array([1, 1, 1, 1, 0.95, 0.4, 0.3])


def lane(per_day: float, seed: int, n_days: int = 364) -> np.ndarray:
    """Hourly counts: day and week profile, weekly factor 8 %, overdispersed (K 20)."""
    rng = np.random.default_rng(seed)
    week = np.repeat(rng.normal(0, 0.08, n_days // 7 + 1), 7)[:n_days, None]
    rate = per_day * WEEKDAY[np.arange(n_days) % 7][:, None] * PROFILE * np.exp(week)
    return rng.poisson(rate * rng.gamma(20, 1 / 20, (n_days, 24)))


def days(hourly: np.ndarray, **changes: np.ndarray) -> LaneDays:
    n = len(hourly)
    values = {
        "date": MONDAY + np.arange(n),
        "is_recorded": np.ones(n, dtype=bool),
        "n_vehicles": hourly.sum(axis=1),
        "n_unclassified": np.zeros(n, dtype=int),
        "n_implausible": np.zeros(n, dtype=int),
        "hours_seen": (hourly > 0) @ (1 << np.arange(24)),
        "hourly": hourly,
    }
    return LaneDays(**{**values, **changes})


def test_zero_probability_is_the_negative_binomials() -> None:
    """Rate 3, K 20: 0.0611, against 0.0498 of Poisson; cross-check scipy nbinom."""
    assert float(zero_probability(3.0)) == pytest.approx(0.0611, abs=5e-5)
    for rate in (0.2, 3.0, 40.0):
        expected = nbinom.pmf(0, 20, 20 / (20 + rate))
        assert float(zero_probability(rate)) == pytest.approx(expected, rel=1e-12)
    assert float(zero_probability(0.0)) == 1.0


def test_rates_are_the_same_hours_of_the_eight_weeks_before() -> None:
    counts = np.zeros((70, 24))
    counts[:, 5] = np.arange(70) // 7  # week 0 holds 0, week 9 holds 9
    rates = trailing_rates(counts, np.ones(counts.shape, bool))
    assert np.isnan(rates[:28]).all()  # fewer than four weeks before
    assert rates[28:35, 5].tolist() == [1.5] * 7  # weeks 0 to 3
    assert rates[63:70, 5].tolist() == [4.5] * 7  # weeks 1 to 8
    known = np.ones(counts.shape, bool)
    known[56:63] = False
    assert trailing_rates(counts, known)[63:70, 5].tolist() == [4.0] * 7  # 1 to 7


def test_the_chance_of_a_run_is_the_product_of_its_hours() -> None:
    counts = np.full((63, 24), 3)
    counts[60, 10:14] = 0
    (run,) = empty_runs(counts, watch=1e-3)
    assert (run.start, run.stop) == (60 * 24 + 10, 60 * 24 + 14)
    assert run.probability == pytest.approx((20 / 23) ** 80, rel=1e-9)
    assert run.expected == pytest.approx(12.0)


def test_a_gap_does_not_teach_the_weeks_after_it() -> None:
    counts = np.full((140, 24), 2)
    counts[77:84] = 0  # a dead week
    counts[91, 8:20] = 0  # twelve hours, a week later
    runs = empty_runs(counts)
    found = {(run.start // 24, run.stop - run.start) for run in runs}
    assert (91, 12) in found
    late = next(run for run in runs if run.start // 24 == 91)
    assert late.probability == pytest.approx((20 / 22) ** 240, rel=1e-6)


@pytest.mark.parametrize(
    ("per_day", "hours", "least"),
    # own simulation, statistics of zero runs: at 200 a day 3 h .71, 6 h .99 at 1e-6;
    # at 1,000 a day 3 h always; a day at 50 always. Allowance for 40 tries: 4 se.
    [(200, 6, 0.93), (1000, 3, 0.93), (50, 24, 0.93)],
)
def test_outages_are_found(per_day: float, hours: int, least: float) -> None:
    found = 0
    for seed in range(40):
        counts = lane(per_day, seed, n_days=105)
        day = 94 + seed % 5  # a Wednesday and what follows it
        start = 0 if hours == 24 else 9
        counts[day, start : start + hours] = 0
        proposals = propose(days(counts))
        found += (
            any(finding.key == "hours-missing" for finding in proposals[day].findings)
            and proposals[day].proposal is Proposal.SET_ASIDE
        )
    assert found / 40 >= least


@pytest.mark.parametrize("per_day", [25, 100, 1000])
def test_a_healthy_year_raises_hardly_a_flag(per_day: float) -> None:
    """Six lane-years. Own simulation: no gap at 1e-6; volume < .0015 a day."""
    proposals = [p for seed in range(6) for p in propose(days(lane(per_day, seed)))]
    found = [finding for p in proposals for finding in p.findings]
    gaps = [f for f in found if f.key == "hours-missing"]
    assert sum(f.weight is Weight.SET_ASIDE for f in gaps) <= 1
    assert len(gaps) <= 12  # "look at", beyond 1 in 10,000: two a lane-year at most
    assert sum(f.key == "volume" for f in found) <= 8


def test_half_the_trucks_lost_is_found_the_same_day() -> None:
    """Found on the day: .99 at 1,000 trucks a day (own simulation)."""
    found = 0
    for seed in range(30):
        counts = lane(1000, 100 + seed, n_days=140)
        counts[129] = np.random.default_rng(seed).binomial(counts[129], 0.5)
        found += "volume" in {f.key for f in propose(days(counts))[129].findings}
    assert found >= 27


def test_marked_hours_are_not_gaps() -> None:
    counts = np.full((70, 24), 5)
    counts[65, 6:18] = 0
    missing = propose(days(counts))[65]
    assert missing.proposal is Proposal.SET_ASIDE
    assert "from 06:00 to 18:00" in missing.reason
    assert "about 60 vehicles" in missing.reason
    whole = np.full(70, (1 << 24) - 1)
    marked = propose(days(counts, hours_seen=whole))[65]
    assert "hours-missing" not in {finding.key for finding in marked.findings}


def test_a_day_not_delivered_is_no_data_and_never_zero() -> None:
    counts = np.full((70, 24), 5)
    counts[65] = 0
    recorded = np.ones(70, dtype=bool)
    recorded[65] = False
    proposals = propose(days(counts, is_recorded=recorded))
    assert proposals[65].proposal is Proposal.NO_DATA
    assert proposals[65].findings == ()
    assert {p.proposal for p in proposals[:65]} == {Proposal.ACCEPT}


@pytest.mark.parametrize(
    ("part", "n", "fires"),
    # Wilson one-sided 95 %: 10 of 100 gives 0.0612 > 5 %, 9 of 100 gives 0.0536,
    # 8 of 100 gives 0.0462; two of three tells nothing against 20 % but 5 %
    [(10, 100, True), (9, 100, True), (8, 100, False), (0, 100, False), (1, 10, False)],
)
def test_shares_are_held_with_their_uncertainty(part: int, n: int, fires: bool) -> None:
    counts = np.zeros((1, 24), dtype=int)
    counts[0, 8] = n
    lane_day = days(counts, n_unclassified=np.array([part]))
    (proposal,) = propose(lane_day, limits={"unclassified": 0.05})
    assert bool(proposal.findings) is fires
    lower = binomtest(part, n, alternative="greater").proportion_ci(0.95, "wilson").low
    assert float(wilson_lower(part, n)) == pytest.approx(lower, abs=1e-9)
    if fires:
        assert proposal.proposal is Proposal.LOOK
        assert f"of {n} vehicles" in proposal.reason


def test_wilson_published_example() -> None:
    """NIST e-Handbook 7.2.4.1: 26 of 200, one-sided 95 % lower 0.09577."""
    assert float(wilson_lower(26, 200)) == pytest.approx(0.09577, abs=5e-6)


def test_implausible_records_set_the_day_aside() -> None:
    counts = np.full((1, 24), 10)
    (proposal,) = propose(days(counts, n_implausible=np.array([60])))
    assert proposal.proposal is Proposal.SET_ASIDE
    assert "60 of 240 vehicles (25.0 %" in proposal.reason


def test_every_check_states_its_unit_source_and_standing() -> None:
    assert len({check.key for check in CHECKS}) == len(CHECKS)
    for check in CHECKS:
        assert check.unit
        assert check.source
        assert check.standing
        assert check.sentence.endswith(".")
    with pytest.raises(ValueError, match="no check “volumes”"):
        propose(days(np.full((1, 24), 1)), limits={"volumes": 1.0})


def test_a_frame_is_laid_on_the_calendar() -> None:
    frame = pd.DataFrame(
        {
            "date": pd.to_datetime(["2031-05-14", "2031-05-12"]),
            "n_vehicles": [7, 5],
            "hours_seen": [1, 2],
            **{name: [0, 0] for name in HOUR_COLUMNS},
        }
    )
    lane_days = LaneDays.from_frame(
        frame, first_on=dt.date(2031, 5, 11), last_on=dt.date(2031, 5, 14)
    )
    assert lane_days.is_recorded.tolist() == [False, True, False, True]
    assert lane_days.n_vehicles.tolist() == [0, 5, 0, 7]
    with pytest.raises(ValueError, match="give first_on"):
        LaneDays.from_frame(frame.iloc[:0])
