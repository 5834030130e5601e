"""One reading against a limit; many readings against time."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from installs.calc.electrical import (
    LEAST_DAYS,
    electrical_trend,
    judge_reading,
    judge_trend,
    limit_crossing,
)
from installs.calc.types import (
    DAYS_PER_YEAR,
    AcceptanceLimit,
    DatedReading,
    ElectricalQuantity,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

INSULATION = ElectricalQuantity.INSULATION_RESISTANCE
CAPACITANCE = ElectricalQuantity.CAPACITANCE
FIRST = date(2024, 1, 1)
AT_LEAST_20 = AcceptanceLimit(20.0, None, "maker's sheet")
AT_MOST_20 = AcceptanceLimit(None, 20.0, "maker's sheet")
BETWEEN = AcceptanceLimit(8.0, 12.0, "maker's sheet")


def readings(values, every_days=100):
    return [
        DatedReading(FIRST + timedelta(days=every_days * i), value)
        for i, value in enumerate(values)
    ]


# --- one reading -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "value", "verdict"),
    [
        (AT_LEAST_20, 20.0, Verdict.MEETS),
        (AT_LEAST_20, 19.999, Verdict.MISSES),
        (AT_LEAST_20, 0.0, Verdict.MISSES),
        (AT_MOST_20, 20.0, Verdict.MEETS),
        (AT_MOST_20, 20.001, Verdict.MISSES),
        (BETWEEN, 8.0, Verdict.MEETS),
        (BETWEEN, 12.0, Verdict.MEETS),
        (BETWEEN, 7.9, Verdict.MISSES),
        (BETWEEN, 12.1, Verdict.MISSES),
        (None, 10.0, Verdict.CANNOT_SAY),
        (AT_LEAST_20, None, Verdict.CANNOT_SAY),
        (None, None, Verdict.CANNOT_SAY),
    ],
)
def test_reading_against_its_limit(limit, value, verdict):
    judged = judge_reading(CAPACITANCE, value, limit)
    assert judged.verdict == verdict
    assert judged.n == (0 if value is None else 1)
    assert judged.value == value
    assert judged.interval is None
    assert str(verdict) in judged.sentence


@pytest.mark.parametrize(
    ("limit", "value", "verdict"),
    [
        (AT_LEAST_20, 20.0, Verdict.MEETS),
        (AT_LEAST_20, 2000.0, Verdict.MEETS),
        (AT_LEAST_20, 10.0, Verdict.CANNOT_SAY),
        (AT_MOST_20, 20.0, Verdict.MISSES),
        (AT_MOST_20, 10.0, Verdict.CANNOT_SAY),
        (BETWEEN, 10.0, Verdict.CANNOT_SAY),
        (BETWEEN, 5.0, Verdict.CANNOT_SAY),
        (BETWEEN, 15.0, Verdict.MISSES),
        (None, 15.0, Verdict.CANNOT_SAY),
    ],
)
def test_reading_above_the_meters_range(limit, value, verdict):
    judged = judge_reading(INSULATION, value, limit, over_range=True)
    assert judged.verdict == verdict
    assert "above" in judged.sentence
    assert dict(judged.details)["over range"] is True


def test_judgement_says_value_limit_rule_and_source():
    judged = judge_reading(INSULATION, 2000.0, AT_LEAST_20, over_range=True)
    assert (
        judged.sentence
        == "Insulation resistance above 2,000 MΩ; at least 20 MΩ: meets."
    )
    assert "maker's sheet" in judged.rule
    assert (judged.unit, judged.standing) == ("MΩ", "agency's own")
    assert judge_reading(CAPACITANCE, 9.5, BETWEEN).limit == "8 to 12 nF"
    unlimited = judge_reading(ElectricalQuantity.DISSIPATION_FACTOR, 0.02, None)
    assert unlimited.limit == unlimited.standing == "no limit entered"
    factor = AcceptanceLimit(None, 0.04, "practice", "from memory")
    judged = judge_reading(ElectricalQuantity.DISSIPATION_FACTOR, 0.02, factor)
    assert judged.sentence == "Dissipation factor 0.02; at most 0.04: meets."
    assert judged.standing == "from memory"


@pytest.mark.parametrize("value", [-0.1, float("nan"), float("inf")])
def test_impossible_readings_are_refused(value):
    with pytest.raises(DomainError, match="insulation resistance"):
        judge_reading(INSULATION, value, AT_LEAST_20)
    with pytest.raises(DomainError, match="insulation resistance"):
        electrical_trend(INSULATION, readings([5.0, value, 6.0]))


# --- trends ------------------------------------------------------------------------


@pytest.mark.parametrize("n", range(LEAST_DAYS))
def test_fewer_than_four_readings_have_no_trend(n):
    trend = electrical_trend(CAPACITANCE, readings([10.0] * n))
    assert not trend.is_known
    assert trend.n == n
    assert limit_crossing(trend, BETWEEN) is None
    judged = judge_trend(trend, BETWEEN)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert "too few readings" in judged.sentence
    assert (trend.first_on, trend.last_on) == (
        (FIRST, FIRST + timedelta(days=100 * (n - 1))) if n else (None, None)
    )


def test_readings_of_one_day_count_as_one_day():
    trend = electrical_trend(CAPACITANCE, readings([10, 11, 12, 13], every_days=0))
    assert not trend.is_known
    assert trend.n == 4


def test_insulation_falls_by_powers_of_ten():
    """A tenth every 365.25 / 100 readings' days: one decade a year by construction."""
    values = [1000.0 * 10 ** (-100 * i / DAYS_PER_YEAR) for i in range(5)]
    trend = electrical_trend(INSULATION, readings(values))
    assert trend.slope_per_year == pytest.approx(-1.0)
    assert trend.interval.low == pytest.approx(-1.0)
    assert trend.fitted_last == pytest.approx(values[-1])
    assert "falling, × 0.1 a year" in trend.sentence
    crossing = limit_crossing(trend, AcceptanceLimit(50.0, None, "own"))
    # log10(1000 / 50) = 1.30103 years of 365.25 days after the first reading.
    assert crossing.expected_on == FIRST + timedelta(days=475)
    assert crossing.earliest_on == crossing.latest_on == crossing.expected_on
    assert crossing.limit_value == 50.0


def test_one_wild_reading_does_not_turn_the_trend():
    calm = [10.0, 10.1, 10.2, 10.3, 10.4, 10.5, 10.6]
    wild = [*calm[:3], 100.0, *calm[4:]]
    slope = electrical_trend(CAPACITANCE, readings(calm)).slope_per_year
    got = electrical_trend(CAPACITANCE, readings(wild)).slope_per_year
    assert got == pytest.approx(slope, rel=0.2)


def test_readings_without_a_number_are_left_out_and_said():
    kept = readings([900, 700, 500, 400, 300])
    extra = [
        DatedReading(FIRST - timedelta(days=100), 2000.0, over_range=True),
        DatedReading(FIRST - timedelta(days=50), 2000.0, over_range=True),
        DatedReading(FIRST + timedelta(days=450), 0.0),
    ]
    trend = electrical_trend(INSULATION, extra + kept)
    assert (trend.n, trend.n_over_range, trend.n_zero) == (5, 2, 1)
    assert trend.slope_per_year == electrical_trend(INSULATION, kept).slope_per_year
    assert "(2 above the meter's range and 1 of zero left out)" in trend.sentence


def test_zero_is_a_number_on_a_plain_scale():
    trend = electrical_trend(CAPACITANCE, readings([0.0, 1.0, 2.0, 3.0]))
    assert (trend.n, trend.n_zero) == (4, 0)
    assert trend.slope_per_year == pytest.approx(DAYS_PER_YEAR / 100)
    assert "rising" in trend.sentence


def test_all_readings_above_the_range_have_no_trend():
    above = [
        DatedReading(FIRST + timedelta(days=i), 2000.0, over_range=True)
        for i in range(8)
    ]
    trend = electrical_trend(INSULATION, above)
    assert (trend.n, trend.n_over_range) == (0, 8)
    assert "8 above the meter's range" in trend.sentence
    assert judge_trend(trend, AT_LEAST_20).verdict == Verdict.CANNOT_SAY


def test_four_readings_claim_no_more_than_they_can():
    four = electrical_trend(CAPACITANCE, readings([10, 11, 9, 12]), level=0.95)
    assert four.interval.level == pytest.approx(11 / 12)
    five = electrical_trend(CAPACITANCE, readings([10, 11, 9, 12, 10]), level=0.95)
    assert five.interval.level == 0.95


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0.01, 1000.0), min_size=4, max_size=15),
    st.floats(0.1, 10.0),
    st.randoms(use_true_random=False),
)
def test_unit_and_order_change_nothing_that_counts(values, factor, random):
    given_readings = readings(values)
    shuffled = list(given_readings)
    random.shuffle(shuffled)
    trend = electrical_trend(INSULATION, given_readings)
    assert electrical_trend(INSULATION, shuffled) == trend
    other = electrical_trend(INSULATION, readings([v * factor for v in values]))
    assert other.slope_per_year == pytest.approx(trend.slope_per_year, abs=1e-6)
    assert trend.interval.low <= trend.slope_per_year <= trend.interval.high


# --- reaching the limit ------------------------------------------------------------


def noisy(slope_a_step, noise=0.05):
    signs = [1, -1, 1, -1, 1, -1, 1, -1, 1]
    return readings([10 + slope_a_step * i + noise * s for i, s in enumerate(signs)])


def test_no_limit_no_verdict():
    trend = electrical_trend(CAPACITANCE, noisy(0.1))
    assert limit_crossing(trend, None) is None
    judged = judge_trend(trend, None)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert "no limit has been entered" in judged.sentence


def test_steep_and_sure_misses():
    trend = electrical_trend(CAPACITANCE, noisy(0.2))
    crossing = limit_crossing(trend, BETWEEN)
    assert crossing.earliest_on <= crossing.expected_on <= crossing.latest_on
    assert trend.last_on < crossing.earliest_on
    assert crossing.latest_on <= crossing.reach_until
    assert crossing.limit_value == 12.0
    judged = judge_trend(trend, BETWEEN)
    assert judged.verdict == Verdict.MISSES
    assert crossing.latest_on.isoformat() in judged.sentence
    assert judged.interval == trend.interval
    assert judged.n == 9


def test_flat_and_sure_meets_as_far_as_the_readings_carry():
    trend = electrical_trend(CAPACITANCE, noisy(0.0))
    crossing = limit_crossing(trend, BETWEEN)
    assert crossing.expected_on is None
    assert crossing.earliest_on is None
    # 800 days of readings, so 800 days ahead.
    assert crossing.reach_until == trend.last_on + timedelta(days=800)
    judged = judge_trend(trend, BETWEEN)
    assert judged.verdict == Verdict.MEETS
    assert crossing.reach_until.isoformat() in judged.sentence


def test_never_followed_beyond_its_reach():
    """The line comes to 12 after 1,600 days, the last that may be told, or a day on."""
    at_end = electrical_trend(CAPACITANCE, readings([10 + i / 8 for i in range(9)]))
    assert limit_crossing(at_end, BETWEEN).expected_on == FIRST + timedelta(days=1600)
    later = AcceptanceLimit(None, 12.002, "own")
    assert limit_crossing(at_end, later).expected_on is None


def test_perhaps_is_cannot_say():
    unsure = electrical_trend(CAPACITANCE, noisy(0.14, noise=0.4))
    crossing = limit_crossing(unsure, BETWEEN)
    assert crossing.expected_on is not None
    assert crossing.latest_on is None
    judged = judge_trend(unsure, BETWEEN)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert "by the line" in judged.sentence
    less = electrical_trend(CAPACITANCE, noisy(0.08, noise=0.4))
    crossing = limit_crossing(less, BETWEEN)
    assert crossing.expected_on is None
    assert crossing.earliest_on is not None
    judged = judge_trend(less, BETWEEN)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert "perhaps not at all" in judged.sentence


@pytest.mark.parametrize(("step", "side"), [(-0.4, 8.0), (0.4, 12.0)])
def test_already_past_says_so(step, side):
    trend = electrical_trend(CAPACITANCE, noisy(step))
    crossing = limit_crossing(trend, BETWEEN)
    assert crossing.already_past
    assert crossing.limit_value == side
    judged = judge_trend(trend, BETWEEN)
    assert judged.verdict == Verdict.MISSES
    assert "already past" in judged.sentence


def test_no_crossing_is_dated_in_the_past():
    """The medians lie just below the limit, the fitted line is back above it; a line
    with the slope's lower end was below all along: its day is the last reading's."""
    trend = electrical_trend(
        CAPACITANCE, readings([8.0, 7.0, 9.0, 7.5, 8.0, 7.9, 8.6, 7.4, 9.0])
    )
    limit = AcceptanceLimit(8.05, None, "own")
    assert trend.middle_value < 8.05 < trend.fitted_last
    crossing = limit_crossing(trend, limit)
    assert crossing.earliest_on == trend.last_on
    assert crossing.expected_on is None


def test_zero_readings_forbid_an_all_clear():
    zeroed = [*readings([900, 890, 905, 880, 900]), DatedReading(FIRST, 0.0)]
    judged = judge_trend(electrical_trend(INSULATION, zeroed), AT_LEAST_20)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert "reading of zero" in judged.sentence


def test_a_limit_of_zero_is_never_reached_on_a_log_scale():
    trend = electrical_trend(INSULATION, readings([900, 500, 200, 100, 40]))
    crossing = limit_crossing(trend, AcceptanceLimit(0.0, None, "own"))
    assert crossing.expected_on is None
    assert crossing.limit_value is None
