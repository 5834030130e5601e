"""Causes are suggested with their evidence; a factor only where it is measured well."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json

import numpy as np
import pytest

from quality.calc.back_correction import (
    CorrectionLimits,
    PeakChanges,
    propose_correction,
)
from quality.calc.change_point import Shape
from quality.calc.drift_cause import (
    CauseFacts,
    EffectFact,
    TestFact,
    Work,
    WorkFact,
    suggest_causes,
)
from quality.calc.drift_episode import SUGGESTION, DriftEpisode, Scope, ScopeFinding
from wimprog.lib.judgement import Interval, Judgement, Verdict


def episode(**changes: object) -> DriftEpisode:
    """A step of −4 % (−4.4 to −3.6) on 4 March 2030, of one lane."""
    interval = Interval(-4.4, -3.6)
    judgement = Judgement(
        "steering axle of class 9", -4.0, "%", 60, interval, "rule", "±3 %",
        Verdict.MISSES, "sentence", details=(("phi", 0.3),),
    )  # fmt: skip
    whole = DriftEpisode(
        measure="steering axle of class 9",
        shape=Shape.STEP,
        onset_on=dt.date(2030, 3, 4),
        onset_low_on=dt.date(2030, 2, 25),
        onset_high_on=dt.date(2030, 3, 17),
        found_on=dt.date(2030, 3, 24),
        until_on=dt.date(2030, 9, 2),
        ended_by="calibration",
        size_pct=-4.0,
        interval=interval,
        slope_pct_per_week=None,
        n_weeks=26,
        n_weeks_before=34,
        n_trucks=18_000,
        phi=0.3,
        week_sd_pct=0.8,
        false_alarms_per_lane_year=0.03,
        rule="rule",
        adjusted="Not adjusted.",
        judgement=judgement,
        scope=ScopeFinding(Scope.LANE, "The lane moved alone."),
    )
    return dataclasses.replace(whole, **changes)


def test_no_facts_suggest_nothing() -> None:
    assert suggest_causes(episode(), CauseFacts()) == ()


def test_a_test_that_met_and_then_missed_is_evidence() -> None:
    causes = suggest_causes(
        episode(),
        CauseFacts(
            tests=[
                TestFact(dt.date(2030, 4, 2), "leading sensor", True, "insulation"),
                TestFact(dt.date(2029, 10, 1), "leading sensor", False),
                TestFact(dt.date(2030, 4, 2), "trailing sensor", False),
                TestFact(dt.date(2033, 4, 2), "trailing sensor", True),
            ]
        ),
    )
    (cause,) = causes
    assert cause.what == "an electrical fault of leading sensor"
    assert cause.evidence == (
        "leading sensor: insulation missed its limit on 2 Apr 2030; "
        "it met on 1 Oct 2029."
    )
    assert cause.standing == SUGGESTION == "suggestion, not a finding"


def test_work_in_the_interval_comes_before_work_near_it() -> None:
    causes = suggest_causes(
        episode(),
        CauseFacts(
            work=[
                WorkFact(dt.date(2030, 2, 20), Work.SURFACING),
                WorkFact(dt.date(2030, 3, 6), Work.SETTINGS, "thresholds"),
                WorkFact(dt.date(2030, 6, 1), Work.REPAIR),
            ]
        ),
    )
    assert [cause.rank for cause in causes] == [1, 2]
    assert causes[0].evidence == (
        "Settings on 6 Mar 2030: thresholds, within the interval of the onset."
    )
    assert "near the interval" in causes[1].evidence


@pytest.mark.parametrize(
    ("slope", "low", "high", "moved", "is_told"),
    [
        (0.2, 0.1, 0.3, -15.0, True),  # explains −3 of −4 %
        (0.2, 0.1, 0.3, 15.0, False),  # the other way
        (0.2, 0.1, 0.3, -5.0, False),  # a quarter
        (0.2, -0.1, 0.5, -15.0, False),  # may be no effect
    ],
)
def test_temperature_is_told_when_it_explains_half(
    slope: float, low: float, high: float, moved: float, is_told: bool
) -> None:
    fact = EffectFact("temperature", "°C", slope, Interval(low, high), moved)
    causes = suggest_causes(episode(), CauseFacts(effects=[fact]))
    assert len(causes) == is_told
    if is_told:
        assert "−3.0 of −4.0 %" in causes[0].evidence


def test_the_region_comes_first_and_a_ramp_suggests_ageing() -> None:
    region = ScopeFinding(Scope.REGION, "3 of 3 other sites moved.")
    work = CauseFacts(work=[WorkFact(dt.date(2030, 3, 6), Work.SETTINGS)])
    causes = suggest_causes(episode(scope=region), work)
    assert causes[0].what == "season, loads or traffic of the region"
    assert causes[0].evidence == "3 of 3 other sites moved."
    ramp = suggest_causes(
        episode(shape=Shape.RAMP, slope_pct_per_week=-0.15), CauseFacts()
    )
    assert "−0.15 % a week" in ramp[0].evidence
    kept = episode().with_causes(causes)
    assert DriftEpisode.from_dict(kept.as_dict()).causes == causes


def test_a_step_well_measured_is_proposed_with_its_interval() -> None:
    """Weights 4 % light are brought back by 1/0.96."""
    proposal = propose_correction(episode())
    assert proposal.is_proposed
    assert proposal.factor == pytest.approx(1 / 0.96)
    assert proposal.interval.low == pytest.approx(1 / 0.964)
    assert proposal.interval.high == pytest.approx(1 / 0.956)
    # weeks in the interval of the onset are doubtful
    assert proposal.doubtful_from_on == dt.date(2030, 2, 25)
    assert proposal.from_on == dt.date(2030, 3, 18)
    weeks = np.array(
        ["2030-02-18", "2030-03-04", "2030-03-18", "2030-08-26", "2030-09-02"],
        dtype="datetime64[D]",
    )
    assert proposal.factors(weeks) == pytest.approx(
        [1.0, np.nan, 1 / 0.96, 1 / 0.96, 1.0], nan_ok=True
    )
    assert "1.0417 (1.0373 to 1.0460)" in proposal.sentence
    assert "assumes that every axle" in proposal.sentence
    json.dumps(proposal.as_dict(), allow_nan=False)


def test_a_ramp_is_corrected_week_by_week() -> None:
    ramp = episode(shape=Shape.RAMP, slope_pct_per_week=-0.15)
    proposal = propose_correction(ramp)
    weeks = np.datetime64("2030-02-25") + 7 * np.arange(4)
    assert proposal.factors(weeks) == pytest.approx(
        [1.0, *np.exp([0.0015, 0.0030, 0.0045])]
    )


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"interval": Interval(-5.5, -2.5)}, "too uncertain"),
        ({"size_pct": -1.0, "interval": Interval(-1.6, -0.4)}, "too uncertain"),
        ({"onset_high_on": dt.date(2030, 6, 1)}, "known to 14 weeks only"),
        ({"n_weeks": 5}, "Only 5 weeks"),
        ({"shape": Shape.UNCLEAR}, "at once or little by little"),
        ({"scope": ScopeFinding(Scope.REGION, "")}, "that is traffic"),
        ({"scope": ScopeFinding(Scope.UNKNOWN, "")}, "region moved too is not known"),
    ],
)
def test_what_is_not_well_measured_is_refused_in_words(
    changes: dict[str, object], reason: str
) -> None:
    proposal = propose_correction(episode(**changes))
    assert not proposal.is_proposed
    assert proposal.factor is None
    assert reason in proposal.sentence
    assert "within ±1.0 %" in proposal.rule
    with pytest.raises(ValueError, match="no correction is proposed"):
        proposal.factors(np.array(["2030-03-18"], dtype="datetime64[D]"))


def test_the_peaks_are_asked_whether_it_is_a_gain() -> None:
    alike = PeakChanges(Interval(-4.8, -3.0), Interval(-4.3, -3.7))
    assert "moved alike" in propose_correction(episode(), peaks=alike).sentence
    offset = PeakChanges(Interval(-9.0, -7.0), Interval(-4.3, -3.7))
    assert "different" in propose_correction(episode(), peaks=offset).reasons[0]
    other = PeakChanges(Interval(-1.5, -0.5), Interval(-1.2, -0.8))
    assert "another percentage" in propose_correction(episode(), peaks=other).reasons[0]


def test_the_agencys_limits_are_used() -> None:
    strict = CorrectionLimits(most_half_width_pct=0.2)
    assert not propose_correction(episode(), limits=strict).is_proposed
