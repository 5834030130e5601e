"""Items of a record judged one by one, and what keeps a stage open."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from installs.calc.layout.types import BetweenRows, GoesBy
from installs.calc.record_judging import (
    Answer,
    FindingState,
    ItemSpec,
    JudgingContext,
    answer_words,
    judge_item,
    limit_source_words,
    limit_words,
)
from installs.calc.record_limits import numbers_si, with_data_sheet
from installs.calc.record_progress import stage_progress
from installs.calc.types import AcceptanceLimit, ElectricalQuantity, Tolerance
from installs.calc.types.judging import (
    CureLine,
    CureRules,
    ItemFinding,
    ItemStanding,
)
from installs.calc.types.records import (
    DispositionKind,
    ItemKind,
    LimitRule,
    LimitSource,
    SignRole,
    StageState,
)
from installs.calc.unit_slips import unit_questions
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import MM_PER_IN, Kind, UnitSystem, parse_number

US = JudgingContext()
SI = JudgingContext(system=UnitSystem.SI)
ON = dt.date(2024, 5, 20)

DEPTH = ItemSpec(
    "slot-depth",
    ItemKind.SERIES,
    "Slot depth",
    Kind.SHORT_LENGTH,
    points=5,
    low=50.8,
    high=57.15,
    largest_range=3.175,
    limit_source=LimitSource.MAKER,
    limit_reference="sheet 3",
)
WIDTH = ItemSpec(
    "slot-width", ItemKind.MEASUREMENT, "Slot width", Kind.SHORT_LENGTH, low=19.05,
    high=25.4,
)  # fmt: skip
SQUARE = ItemSpec("square", ItemKind.TRIANGLE, "Line square", Kind.LENGTH, high=20.0)
INSULATION = ItemSpec(
    "insulation",
    ItemKind.READING,
    "Insulation",
    quantity=ElectricalQuantity.INSULATION_RESISTANCE,
    low=20.0,
    limit_rule=LimitRule.SENSOR_MODEL,
)


def typed(spec, *texts, unit="in", **parts):
    numbers = tuple(parse_number(text) for text in texts)
    units = (unit,) * len(texts)
    return Answer(
        numbers=numbers_si(spec, numbers, units),
        typed=tuple((text, unit) for text in texts),
        observed_on=ON,
        **parts,
    )


# --- numbers -------------------------------------------------------------------------


def test_a_series_meets_by_every_number_and_by_its_range():
    found = judge_item(DEPTH, typed(DEPTH, "2", "2.1", "2.05", "2", "2.12"), context=US)
    assert found.state is FindingState.MEETS
    judgement = found.judgement
    assert judgement.n == 5
    assert judgement.verdict is Verdict.MEETS
    details = dict(judgement.details)
    # 2.12 in − 2 in = 0.12 in = 3.048 mm (1 in = 25.4 mm exactly)
    assert details["range"] == pytest.approx(0.12 * MM_PER_IN)
    assert "maker: sheet 3" in judgement.rule
    assert found.sentence == (
        "2, 2.1, 2.05, 2, 2.12 in; 2 in to 2.25 in, all within 0.125 in of each "
        "other: meets."
    )


def test_a_series_names_the_worst_point_and_where_it_lies():
    context = JudgingContext(sensor_length_m=1.2192)  # 4 ft
    found = judge_item(
        DEPTH, typed(DEPTH, "2.1", "2.1", "2.05", "1.9", "2.0"), context=context
    )
    assert found.state is FindingState.MISSES
    assert found.needs_disposition
    # number 4 of 5 over 4 ft: three quarters of the way, 3 ft
    assert "worst is number 4 of 5, 3.0 ft from the first" in found.sentence
    assert "0.1 in below the lowest" in found.sentence
    assert dict(found.judgement.details)["worst point"] == 4


def test_a_series_within_its_limits_can_miss_by_its_range_alone():
    found = judge_item(DEPTH, typed(DEPTH, "2", "2.2", "2.1", "2.1", "2.1"), context=US)
    assert found.state is FindingState.MISSES
    assert "differ by 0.2 in, between number 1 and number 2" in found.sentence


def test_a_series_that_is_not_whole_cannot_say():
    found = judge_item(DEPTH, typed(DEPTH, "2", "2.1"), context=US)
    assert found.state is FindingState.CANNOT_SAY
    assert found.needs_disposition
    assert "2 of 5 numbers so far" in found.sentence
    # but a number that is out is out, whatever comes after it
    assert judge_item(DEPTH, typed(DEPTH, "1.8"), context=US).state is (
        FindingState.MISSES
    )


@pytest.mark.parametrize(
    ("text", "unit", "state"),
    [
        ("0.75", "in", FindingState.MEETS),  # the limit itself, after conversion
        ("1", "in", FindingState.MEETS),
        ("0.7499", "in", FindingState.MISSES),
        ("1.0001", "in", FindingState.MISSES),
        ("2", "cm", FindingState.MEETS),
        ("22", "mm", FindingState.MEETS),
    ],
)
def test_a_number_equal_to_its_limit_meets_it(text, unit, state):
    found = judge_item(WIDTH, typed(WIDTH, text, unit=unit), context=US)
    assert found.state is state


def test_without_a_limit_an_answer_is_answered_and_nothing_more():
    free = ItemSpec("width", ItemKind.MEASUREMENT, "Width", Kind.SHORT_LENGTH)
    found = judge_item(free, typed(free, "0.7"), context=US)
    assert (found.state, found.judgement) == (FindingState.ANSWERED, None)
    assert limit_words(free, US) == ""


def test_no_answer_is_no_answer():
    found = judge_item(DEPTH, None, context=US)
    assert (found.state, found.needs_disposition) == (FindingState.NOT_ANSWERED, False)


@given(st.lists(st.floats(50.0, 54.5), min_size=5, max_size=12))
def test_a_series_meets_just_when_every_number_and_the_range_do(numbers):
    found = judge_item(DEPTH, Answer(numbers=tuple(numbers)), context=SI)
    spread = max(numbers) - min(numbers)
    near = any(
        math.isclose(one, limit, rel_tol=1e-6)
        for one, limit in ((min(numbers), 50.8), (spread, 3.175))
    )
    good = min(numbers) >= 50.8 and max(numbers) <= 57.15 and spread <= 3.175
    assert near or (found.state is FindingState.MEETS) is good
    turned = Answer(numbers=tuple(reversed(numbers)))
    assert judge_item(DEPTH, turned, context=SI).state is found.state


# --- units: typed, shown, mistaken ---------------------------------------------------


def test_words_are_as_typed_with_the_shown_unit_beside_them():
    answer = typed(WIDTH, "2.50", unit="cm")
    # 2.50 cm / 2.54 cm/in = 0.98425 in
    assert answer_words(WIDTH, answer) == "2.50 cm (0.9843 in)"
    assert answer_words(WIDTH, typed(WIDTH, "0.90")) == "0.90 in"


def test_limits_are_told_in_the_programs_units():
    assert limit_words(WIDTH, US) == "0.75 in to 1 in"
    assert limit_words(WIDTH, SI) == "19.05 mm to 25.4 mm"
    warm = ItemSpec("air", ItemKind.MEASUREMENT, "Air", Kind.TEMPERATURE, low=0.0)
    assert limit_words(warm, US) == "at least 32 °F"


@pytest.mark.parametrize(
    ("text", "unit", "measure", "low", "high", "other"),
    [
        ("5.3", "in", Kind.SHORT_LENGTH, 50.8, 57.15, "cm"),  # 2.54
        ("53", "in", Kind.SHORT_LENGTH, 50.8, 57.15, "mm"),  # 25.4
        ("2.1", "mm", Kind.SHORT_LENGTH, 50.8, 57.15, "in"),  # 25.4
        ("5.3", "mm", Kind.SHORT_LENGTH, 50.8, 57.15, "cm"),  # 10
        ("18", "ft", Kind.LENGTH, 0.4, 0.5, "in"),  # 12
        ("3.66", "ft", Kind.LENGTH, 3.5, 3.8, "m"),  # 3.28084
        ("12", "m", Kind.LENGTH, 3.5, 3.8, "ft"),  # 3.28084
        ("15", "°F", Kind.TEMPERATURE, 5.0, 45.0, "°C"),
        ("59", "°C", Kind.TEMPERATURE, 5.0, 45.0, "°F"),
        ("5.2", "in", Kind.SHORT_LENGTH, 50.8, None, "cm"),  # meets, but too well
        ("25000", "MΩ", None, 20.0, None, None),  # a good reading is not asked about
        ("0.5", "in", Kind.SHORT_LENGTH, 50.8, 57.15, None),  # nothing explains it
        ("2.3", "in", Kind.SHORT_LENGTH, 50.8, 57.15, None),  # misses by a little
        ("2.1", "in", Kind.SHORT_LENGTH, 50.8, 57.15, None),  # meets
        ("8040", "nF", None, 7.0, 9.0, "pF"),
    ],
)
def test_a_slip_of_units_is_asked_about(text, unit, measure, low, high, other):
    asked = unit_questions([(text, unit)], measure=measure, low=low, high=high)
    if other is None:
        assert asked == ()
    else:
        assert len(asked) == 1
        assert f"read in {other}?" in asked[0]
        assert f"kept as {text} {unit}" in asked[0]


def test_a_slip_is_a_question_and_never_changes_the_answer():
    answer = typed(WIDTH, "2.2")
    found = judge_item(WIDTH, answer, context=US)
    assert found.state is FindingState.MISSES
    assert found.judgement.value == pytest.approx(2.2 * MM_PER_IN)
    assert len(found.questions) == 1


# --- the triangle --------------------------------------------------------------------


def test_the_3_4_5_triangle_is_square():
    # legs 9 ft into the lane and 12 ft along the edge, diagonal 15 ft: common
    # practice, no source
    context = JudgingContext(lane_width_m=3.66)
    found = judge_item(
        SQUARE, typed(SQUARE, "9", "12", "15", unit="ft"), context=context
    )
    assert found.state is FindingState.MEETS
    assert found.judgement.value == pytest.approx(0.0, abs=1e-9)
    assert limit_words(SQUARE, SI) == "at most 20 mm out of square at the far edge"


def test_a_diagonal_an_inch_off_is_out_of_square():
    context = JudgingContext(lane_width_m=3.66)
    off = typed(SQUARE, "9", "12", "15.2", unit="ft")
    found = judge_item(SQUARE, off, context=context)
    # law of cosines: cos t = (81 + 144 − 231.04)/216 = −0.02796, t = 91.602°; over
    # 3.66 m that is 3660·tan(1.602°) = 102 mm
    assert found.state is FindingState.MISSES
    # 102.4 mm / 25.4 mm = 4.03 in
    assert found.judgement.unit == "in"
    assert abs(found.judgement.value) == pytest.approx(102.4 / 25.4, abs=0.02)
    assert "4.03 in" in found.sentence


def test_a_triangle_that_cannot_close_says_why():
    context = JudgingContext(lane_width_m=3.66)
    found = judge_item(SQUARE, typed(SQUARE, "3", "4", "8", unit="ft"), context=context)
    assert found.state is FindingState.CANNOT_SAY
    assert found.needs_disposition
    # 3 ft + 4 ft = 7 ft is the longest that the diagonal could be
    assert found.sentence.startswith("3, 4, 8 ft. ")
    assert "at most 7 ft" in found.sentence


def test_without_the_lanes_width_nobody_can_say():
    found = judge_item(SQUARE, typed(SQUARE, "9", "12", "15", unit="ft"), context=US)
    assert found.state is FindingState.CANNOT_SAY
    assert "width is not entered" in found.sentence


def test_the_agencys_tolerance_stands_where_the_template_has_none():
    free = ItemSpec("square", ItemKind.TRIANGLE, "Line square", Kind.LENGTH)
    context = JudgingContext(lane_width_m=3.66, square_tolerance_mm=12.0)
    assert limit_source_words(free, context) == "agency: work settings"
    assert "0.4724 in" in limit_words(free, context)


# --- readings, batches, words --------------------------------------------------------


def test_the_models_limit_comes_before_the_templates_and_the_contracts_before_both():
    model = {"insulation resistance": AcceptanceLimit(100.0, None, "sheet (invented)")}
    context = JudgingContext(model_name="Strip S", model_limits=model)
    reading = Answer(numbers=(50.0,), typed=(("50", "MΩ"),), instrument="tester 4")
    assert judge_item(INSULATION, reading, context=US).state is FindingState.MEETS
    assert "no sensor is named" in limit_source_words(INSULATION, US)
    assert judge_item(INSULATION, reading, context=context).state is (
        FindingState.MISSES
    )
    contract = ItemSpec(
        **{
            **vars(INSULATION),
            "low": 30.0,
            "limit_source": LimitSource.CONTRACT,
            "limit_reference": "clause 4",
            "replaces": "in place of the template's",
        }
    )
    assert judge_item(contract, reading, context=context).state is FindingState.MEETS
    assert limit_source_words(contract, context) == (
        "contract: clause 4; in place of the template's"
    )


def test_a_model_without_limits_is_said_and_asks_for_no_decision():
    bare = ItemSpec(**{**vars(INSULATION), "low": None})
    context = JudgingContext(model_name="Strip S")
    reading = Answer(numbers=(50.0,), typed=(("50", "MΩ"),), instrument="tester 4")
    found = judge_item(bare, reading, context=context)
    assert found.state is FindingState.CANNOT_SAY
    assert not found.needs_disposition
    assert "no limit of the insulation resistance is entered" in found.sentence


@pytest.mark.parametrize(
    ("limit", "sheet", "low", "high"),
    [
        (None, 8.0, 6.4, 9.6),  # 8 nF ± 20 %
        (AcceptanceLimit(7.0, None, "m"), 8.0, 7.0, 9.6),
        (AcceptanceLimit(5.0, 9.0, "m"), 8.0, 6.4, 9.0),
        (AcceptanceLimit(10.0, 12.0, "m"), 8.0, 10.0, 12.0),  # they exclude each other
        (AcceptanceLimit(5.0, 9.0, "m"), None, 5.0, 9.0),
    ],
)
def test_the_sensors_own_data_sheet_narrows_its_models_limits(limit, sheet, low, high):
    quantity = ElectricalQuantity.CAPACITANCE
    within = Tolerance.within_pct(20.0, "maker")
    held = with_data_sheet(quantity, limit, sheet, within)
    assert (held.low, held.high) == pytest.approx((low, high))
    assert with_data_sheet(quantity, None, None, within) is None


def test_a_reading_without_its_instrument_is_weak():
    found = judge_item(INSULATION, Answer(numbers=(50.0,)), context=US)
    assert found.warnings


@pytest.mark.parametrize(
    ("expires", "state"),
    [
        (dt.date(2024, 5, 19), FindingState.MISSES),
        (dt.date(2024, 5, 20), FindingState.MEETS),
        (None, FindingState.ANSWERED),
    ],
)
def test_a_batch_is_good_through_its_last_day(expires, state):
    spec = ItemSpec("resin-batch", ItemKind.BATCH, "Resin")
    answer = Answer(batch="Resin R lot 7", batch_expires_on=expires, observed_on=ON)
    assert judge_item(spec, answer, context=US).state is state


def test_yes_or_no_against_the_answer_that_passes():
    spec = ItemSpec("dry", ItemKind.YES_NO, "Standing water", expected="no")
    assert judge_item(spec, Answer(answer="no"), context=US).state is (
        FindingState.MEETS
    )
    found = judge_item(spec, Answer(answer="yes", reason="rain"), context=US)
    assert found.state is FindingState.MISSES
    assert found.sentence == "Answered “yes” (rain); “no” passes: misses."


def test_photos_are_counted():
    spec = ItemSpec("photo", ItemKind.PHOTO, "Slot", least_photos=2)
    assert judge_item(spec, Answer(n_photos=1), context=US).state is (
        FindingState.NOT_ANSWERED
    )
    assert judge_item(spec, Answer(n_photos=2), context=US).state is (
        FindingState.ANSWERED
    )


# --- the curing table ----------------------------------------------------------------

CURE = CureRules(
    product="Resin R",
    document="sheet 9 (invented)",
    hardener_unit="g",
    pavement_c=(5.0, 45.0),
    resin_c=(10.0, 35.0),
    lines=(
        CureLine(5.0, 120.0, 20.0, 90.0),
        CureLine(20.0, 80.0, 12.0, 40.0),
        CureLine(35.0, 40.0, 6.0, 20.0),
    ),
)


def _cure_item(key, **parts):
    return ItemSpec(
        key,
        ItemKind.MEASUREMENT,
        key,
        limit_rule=LimitRule.CURING_TABLE,
        **{"unit": "min", **parts},
    )


@pytest.mark.parametrize(
    ("key", "temp_c", "low", "words"),
    [
        ("cure-time", 20.0, 30.0, "at least 40 min"),
        ("cure-time", 10.0, 30.0, "at least 90 min"),  # between lines: the colder
        ("cure-time", 35.0, 30.0, "at least 30 min"),  # the template's least stands
        ("pot-time", 10.0, None, "at most 12 min"),  # between lines: the warmer
        ("pot-time", 5.0, None, "at most 20 min"),
        ("hardener-amount", 20.0, None, "72 min to 88 min"),  # 80 ± 10 %
    ],
)
def test_the_curing_table_by_the_pavements_temperature(key, temp_c, low, words):
    context = JudgingContext(cure=CURE, temps_c={GoesBy.PAVEMENT: temp_c})
    assert limit_words(_cure_item(key, low=low), context) == words


@pytest.mark.parametrize(
    ("goes_by", "words", "whose"),
    [
        (GoesBy.PAVEMENT, "at least 40 min", "for the pavement's temperature"),
        (GoesBy.AIR, "at least 90 min", "for the air's temperature"),
        (GoesBy.RESIN, "at least 30 min", "for the resin's temperature"),
    ],
)
def test_the_curing_table_goes_by_the_temperature_that_its_maker_says(
    goes_by, words, whose
):
    temps_c = {GoesBy.PAVEMENT: 20.0, GoesBy.AIR: 5.0, GoesBy.RESIN: 35.0}
    cure = replace(CURE, goes_by=goes_by)
    spec = _cure_item("cure-time", low=30.0)
    context = JudgingContext(cure=cure, temps_c=temps_c)
    assert limit_words(spec, context) == words
    assert whose in limit_source_words(spec, context)
    del temps_c[goes_by]
    without = JudgingContext(cure=cure, temps_c=temps_c)
    assert f"the {goes_by}'s temperature at the pour is not known" in (
        limit_source_words(spec, without)
    )


@pytest.mark.parametrize(
    ("key", "temp_c", "words"),
    [
        ("cure-time", 11.0, "at least 70 min"),  # 90 − (11 − 5)/15 × (90 − 40)
        ("pot-time", 11.0, "at most 16.8 min"),  # 20 − 0.4 × 8
        ("hardener-amount", 11.0, "93.6 min to 114.4 min"),  # 120 − 0.4 × 40, ± 10 %
        ("cure-time", 20.0, "at least 40 min"),  # on a row there is nothing between
    ],
)
def test_a_straight_line_between_rows_only_where_the_maker_lets_it_be_drawn(
    key, temp_c, words
):
    cure = replace(CURE, between=BetweenRows.STRAIGHT_LINES)
    context = JudgingContext(cure=cure, temps_c={GoesBy.PAVEMENT: temp_c})
    assert limit_words(_cure_item(key), context) == words
    told = limit_source_words(_cure_item(key), context)
    assert ("straight line" in told) is (temp_c == 11.0)


def test_the_windows_of_the_table_do_not_undo_the_templates_own_least():
    spec = ItemSpec(
        "pavement-temperature-at-pour",
        ItemKind.MEASUREMENT,
        "Pavement",
        Kind.TEMPERATURE,
        low=8.0,
        limit_rule=LimitRule.CURING_TABLE,
    )
    context = JudgingContext(cure=CURE, system=UnitSystem.SI)
    assert limit_words(spec, context) == "8 °C to 45 °C"
    assert "lowest: common practice, no source" in limit_source_words(spec, context)


def test_colder_than_the_table_goes_needs_a_decision():
    spec = _cure_item("cure-time", low=30.0)
    context = JudgingContext(cure=CURE, temps_c={GoesBy.PAVEMENT: 1.0})
    answer = Answer(numbers=(120.0,), typed=(("120", "min"),))
    found = judge_item(spec, answer, context=context)
    assert found.state is FindingState.CANNOT_SAY
    assert found.needs_disposition
    assert "colder than any line" in found.sentence


def test_without_a_table_the_templates_least_stands_and_says_so():
    spec = _cure_item("cure-time", low=30.0)
    answer = Answer(numbers=(25.0,), typed=(("25", "min"),))
    found = judge_item(spec, answer, context=US)
    assert found.state is FindingState.MISSES
    assert "no curing table is named" in limit_source_words(spec, US)


# --- progress ------------------------------------------------------------------------

MEETS = ItemFinding(FindingState.MEETS)
MISSES = ItemFinding(FindingState.MISSES, needs_disposition=True)
BOTH = (SignRole.INSTALLER, SignRole.INSPECTOR)


def _progress(*findings, **parts):
    items = [
        one if isinstance(one, ItemStanding) else ItemStanding(WIDTH, one)
        for one in findings
    ]
    return stage_progress(items, **{"sign_roles": BOTH, **parts})


@pytest.mark.parametrize(
    ("parts", "state"),
    [
        ({}, StageState.READY),
        ({"signed_roles": (SignRole.INSTALLER,)}, StageState.READY),
        ({"signed_roles": BOTH}, StageState.SIGNED),
        ({"signed_before": True}, StageState.CORRECTED),
        ({"unsigned_before": ("Layout",)}, StageState.IN_WORK),
    ],
)
def test_where_a_stage_stands(parts, state):
    assert _progress(MEETS, **parts).state is state


@pytest.mark.parametrize(
    ("disposition", "reasons", "n_open"),
    [
        (None, 1, 1),
        (DispositionKind.ACCEPTED, 0, 0),
        (DispositionKind.REJECTED, 0, 0),
        (DispositionKind.REWORKED, 1, 1),
    ],
)
def test_what_a_decision_leaves_open(disposition, reasons, n_open):
    found = _progress(ItemStanding(WIDTH, MISSES, disposition=disposition))
    assert (len(found.reasons), found.n_open) == (reasons, n_open)


def test_an_optional_item_may_stay_empty():
    optional = ItemSpec(**{**vars(WIDTH), "required": False})
    empty = ItemStanding(optional, ItemFinding(FindingState.NOT_ANSWERED))
    found = _progress(empty, MEETS)
    assert (found.state, found.n_required) == (StageState.READY, 1)


def test_items_that_are_not_asked_do_not_count():
    found = _progress(ItemFinding(FindingState.NOT_ASKED), MEETS)
    assert (found.n_required, found.n_answered, found.reasons) == (1, 1, ())
