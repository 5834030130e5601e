"""A reading against the sensor's own data sheet and its own first readings."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.comparisons import (
    BASELINE_DAYS,
    baseline_of,
    judge_against_baseline,
    judge_against_data_sheet,
)
from installs.calc.published import data_sheet_tolerance, first_readings_tolerance
from installs.calc.types import Baseline, DatedReading, ElectricalQuantity, Tolerance
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

Q = ElectricalQuantity
FIRST = date(2031, 5, 14)
WITHIN_20 = Tolerance.within_pct(20.0, "own")
A_DECADE = Tolerance(0.1, None, "own")


def reading(day, value, over=False):
    return DatedReading(FIRST + timedelta(days=day), value, over)


# --- data sheet --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (5.6, Verdict.MEETS),
        (8.4, Verdict.MEETS),  # 1.2 × 7 in binary is a hair below 8.4
        (5.59, Verdict.MISSES),
        (8.41, Verdict.MISSES),
    ],
)
def test_within_20_per_cent_of_the_data_sheet(value, verdict):
    judged = judge_against_data_sheet(Q.CAPACITANCE, reading(0, value), 7.0, WITHIN_20)
    assert judged.verdict == verdict
    assert judged.n == 1
    assert "within ±20 % of its data sheet's 7 nF" in judged.sentence
    assert dict(judged.details)["times what it is held against"] == value / 7.0


@pytest.mark.parametrize(
    ("one", "sheet", "tolerance", "why"),
    [
        (reading(0, 7.0), None, WITHIN_20, "gives no value"),
        (reading(0, 7.0), 7.0, None, "no tolerance"),
        (None, 7.0, WITHIN_20, "nothing was read"),
        (None, None, None, "gives no value"),
        (reading(0, 6.0, True), 7.0, WITHIN_20, "range ends short"),
    ],
)
def test_without_both_sides_nothing_is_said(one, sheet, tolerance, why):
    judged = judge_against_data_sheet(Q.CAPACITANCE, one, sheet, tolerance)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert why in judged.sentence
    assert judged.n == (1 if one else 0)


def test_impossible_data_sheets_and_tolerances_are_refused():
    with pytest.raises(DomainError, match="above zero"):
        judge_against_data_sheet(Q.CAPACITANCE, reading(0, 7.0), 0.0, WITHIN_20)
    for pct in (0.0, -1.0, 101.0):
        with pytest.raises(DomainError, match="cannot be used"):
            Tolerance.within_pct(pct, "own")


def test_tolerances_say_themselves():
    assert WITHIN_20.words == "within ±20 % of"
    assert A_DECADE.words == "at least 0.1 times"
    assert Tolerance(None, 1.5, "own").words == "at most 1.5 times"
    assert Tolerance(0.8, 1.5, "own").words == "0.8 to 1.5 times"


def test_only_the_standing_ones_are_built_in():
    assert data_sheet_tolerance(Q.CAPACITANCE).standing == "from memory"
    assert data_sheet_tolerance(Q.INDUCTANCE) is None
    assert first_readings_tolerance(Q.ZERO_OUTPUT) is None
    assert first_readings_tolerance(Q.INSULATION_RESISTANCE).low == 0.1


# --- first readings ----------------------------------------------------------------


def test_the_baseline_is_the_middle_of_the_first_month():
    readings = [reading(BASELINE_DAYS + 1, 99.0), reading(0, 8.0), reading(30, 8.4)]
    found = baseline_of(Q.CAPACITANCE, readings)
    assert found == Baseline(8.2, 2, FIRST, FIRST + timedelta(days=30))
    assert baseline_of(Q.CAPACITANCE, []) is None


def test_insulation_takes_its_middle_on_the_log_scale():
    found = baseline_of(Q.INSULATION_RESISTANCE, [reading(0, 100.0), reading(1, 400.0)])
    assert found.value == pytest.approx(200.0)
    dead = baseline_of(Q.INSULATION_RESISTANCE, [reading(0, 0.0), reading(1, 400.0)])
    assert dead.value == 200.0


@pytest.mark.parametrize(
    ("values", "value", "over"),
    [
        ([(2000, True)], 2000, True),
        ([(1500, False), (1600, False), (2000, True)], 1600, False),
        ([(1500, False), (2000, True), (2000, True)], 2000, True),
        ([(1500, False), (2000, True)], 1500, True),
    ],
)
def test_above_the_range_counts_as_at_least_that(values, value, over):
    readings = [reading(i, v, o) for i, (v, o) in enumerate(values)]
    found = baseline_of(Q.INSULATION_RESISTANCE, readings)
    assert (found.value, found.over_range) == (value, over)


@pytest.mark.parametrize(
    ("value", "over", "verdict"),
    [
        (199.0, False, Verdict.MISSES),  # the first was above 2000, a tenth is > 200
        (201.0, False, Verdict.CANNOT_SAY),
        (2000.0, True, Verdict.CANNOT_SAY),
        (5000.0, True, Verdict.CANNOT_SAY),
    ],
)
def test_against_first_readings_above_the_range(value, over, verdict):
    first = Baseline(2000.0, 1, FIRST, FIRST, over_range=True)
    judged = judge_against_baseline(
        Q.INSULATION_RESISTANCE, reading(400, value, over), first, A_DECADE
    )
    assert judged.verdict == verdict
    assert "above 2,000 MΩ" in judged.limit


def test_against_first_readings_with_their_day_and_number():
    first = baseline_of(Q.CAPACITANCE, [reading(0, 8.0), reading(3, 8.2)])
    judged = judge_against_baseline(Q.CAPACITANCE, reading(400, 10.0), first, WITHIN_20)
    assert judged.verdict == Verdict.MISSES
    assert "8.1 nF (2031-05-14, n 2)" in judged.sentence
    assert dict(judged.details)["first readings, n"] == 2
    assert judged.standing == "agency's own"


@pytest.mark.parametrize(
    ("quantity", "one", "first", "tolerance", "why"),
    [
        (Q.CAPACITANCE, reading(9, 8.0), None, WITHIN_20, "no first readings"),
        (
            Q.CAPACITANCE,
            reading(0, 8.0),
            Baseline(8.0, 1, FIRST, FIRST),
            WITHIN_20,
            "one of the first readings itself",
        ),
        (
            Q.ZERO_OUTPUT,
            reading(9, -0.02),
            Baseline(-0.01, 1, FIRST, FIRST),
            WITHIN_20,
            "leave no ratio",
        ),
        (
            Q.PROBE_RESISTANCE,
            reading(9, 100.0),
            Baseline(100.0, 1, FIRST, FIRST),
            None,
            "no tolerance",
        ),
        (
            Q.CAPACITANCE,
            None,
            Baseline(8.0, 1, FIRST, FIRST),
            WITHIN_20,
            "nothing was read",
        ),
    ],
)
def test_what_cannot_be_held_against_first_readings_says_why(
    quantity, one, first, tolerance, why
):
    judged = judge_against_baseline(quantity, one, first, tolerance)
    assert judged.verdict == Verdict.CANNOT_SAY
    assert why in judged.sentence


@given(st.floats(0.01, 1e4), st.floats(0.2, 2.0), st.floats(0.01, 100.0))
def test_the_unit_changes_no_verdict(first, ratio, unit):
    def verdict(scale):
        base = Baseline(first * scale, 1, FIRST, FIRST)
        one = reading(400, first * ratio * scale)
        return judge_against_baseline(Q.CAPACITANCE, one, base, WITHIN_20).verdict

    if abs(ratio - 0.8) > 1e-6 and abs(ratio - 1.2) > 1e-6:
        assert verdict(1.0) == verdict(unit)
        assert (verdict(1.0) == Verdict.MEETS) == (0.8 <= ratio <= 1.2)
