"""Limits, margins and words of single lines."""

import pytest

from sites.calc.suitability.astm_e1318 import STANDARD as E1318
from sites.calc.suitability.base import LineState, SuitabilitySettings
from sites.calc.suitability.common_practice import STANDARD as PRACTICE
from sites.calc.suitability.cost_323 import STANDARD as COST
from sites.calc.suitability.lines import Bound, Limits, Requirement, state_of
from sites.calc.suitability.words import (
    DEFLECTION,
    LENGTH,
    PERCENT,
    ROUGHNESS,
    SHORT_LENGTH,
    listed,
    ordinal,
)
from sites.calc.types import (
    Communications,
    Distress,
    Drainage,
    FlowKind,
    LineNearby,
    PullOff,
)
from tests.sites.calc.build import curve, survey
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

FT = 0.3048
US, SI = UnitSystem.US, UnitSystem.SI
SI_SETTINGS = SuitabilitySettings(unit_system=SI)


def e1318(facts, key, wanted="Type I", settings=None):
    settings = settings or SuitabilitySettings()
    return E1318.judge(facts, wanted=wanted, settings=settings).line_of(key)


def test_a_miss_says_value_limit_gap_and_what_to_mend():
    line = e1318(curve(5_356 * FT), "curve_radius")
    assert line.judgement.sentence == (
        "Curve radius 5,356 ft; at least 5,700 ft: misses, 344 ft short."
    )
    assert line.margin == pytest.approx(-344 * FT)
    assert line.margin_unit == "m"
    assert line.relative_margin == pytest.approx(-344 / 5_700)
    assert "344 ft longer" in line.mend
    assert line.carries == "no type"
    assert line.judgement.n == 1


def test_a_value_that_rounds_to_the_limit_is_shown_apart_from_it():
    line = e1318(curve(5_699.7 * FT), "curve_radius")
    assert line.judgement.sentence.startswith("Curve radius 5,699.7 ft; at least 5,700")


def test_a_straight_meets_without_a_margin():
    line = e1318(survey(), "curve_radius")
    assert (line.state, line.margin, line.relative_margin) == (
        LineState.MEETS,
        None,
        None,
    )
    assert line.judgement.value is None
    assert "the lane is straight" in line.judgement.sentence
    assert line.judgement.n == 1


def test_not_measured_cannot_say_and_asks_for_the_measurement():
    line = e1318(survey(grade_pct=None), "grade")
    assert line.verdict is Verdict.CANNOT_SAY
    assert line.state is LineState.NOT_MEASURED
    assert line.judgement.sentence == (
        "Cannot say: grade not measured; at most 2 % is asked."
    )
    assert (line.judgement.n, line.judgement.value, line.margin) == (0, None, None)
    assert line.mend == "Measure grade."
    assert line.carries == "cannot say"


def test_the_sign_of_a_slope_is_not_judged():
    down, up = (e1318(survey(grade_pct=g), "grade") for g in (-2.4, 2.4))
    assert down.margin == up.margin == pytest.approx(-0.4)
    assert down.judgement.sentence == up.judgement.sentence


@pytest.mark.parametrize(
    ("feet", "gap_ft", "mend"),
    [(11.0, 1.0, "Widen the lane by 1 ft"), (15.5, 1.5, "Mark the lane 1.5 ft narr")],
)
def test_lane_width_misses_on_either_side(feet, gap_ft, mend):
    line = e1318(survey(lane_width_m=feet * FT), "lane_width")
    assert line.margin == pytest.approx(-gap_ft * FT)
    assert line.mend.startswith(mend)


def test_lane_width_is_as_near_as_its_nearer_edge():
    line = e1318(survey(lane_width_m=13.5 * FT), "lane_width")
    assert line.relative_margin == pytest.approx(0.5 / 14)


def test_which_types_a_line_carries():
    assert e1318(survey(grade_pct=1.5), "grade").carries == "Types I, II and III"
    assert e1318(survey(grade_pct=1.0), "grade").carries == "Types I, II, III and IV"
    slow = survey(speed_p15_kmh=5.0, speed_p85_kmh=12.0)
    assert e1318(slow, "speed_p15").carries == "Type IV"


@pytest.mark.parametrize(
    ("passes", "length_m", "state"),
    [
        (None, 4.9, LineState.NOT_MEASURED),
        (False, None, LineState.NOT_MEASURED),
        (False, 3.0, LineState.NOT_MEASURED),  # a longer one may bridge more
        (True, 3.0, LineState.MISSES),  # and can bridge no less
        (True, 20 * FT, LineState.NOT_MEASURED),  # a shorter one may bridge less
        (False, 20 * FT, LineState.MEETS),  # and can bridge no more
    ],
)
def test_a_straightedge_of_another_length_tells_only_one_way(passes, length_m, state):
    facts = survey(plate_passes=passes, straightedge_length_m=length_m)
    line = e1318(facts, "plate")
    assert line.state is state
    assert bool(line.mend) is (state is not LineState.MEETS)


@pytest.mark.parametrize(
    ("value", "is_inclusive", "is_low", "expected"),
    [
        (10.0, True, True, LineState.MEETS),
        (10.0, False, True, LineState.MISSES),
        (10.0, True, False, LineState.MEETS),
        (10.0, False, False, LineState.MISSES),
        (10.0 * (1 + 1e-12), False, True, LineState.MISSES),  # arithmetic only
        (10.0 * (1 - 1e-12), True, True, LineState.MEETS),
        (10.0001, False, True, LineState.MEETS),
    ],
)
def test_at_the_limit(value, is_inclusive, is_low, expected):
    bound = Bound(10.0, is_inclusive=is_inclusive)
    limits = Limits(low=bound) if is_low else Limits(high=bound)
    one = Requirement("x", "x", "grade_pct", PERCENT, {"A": limits}, "rule")
    assert state_of(one, survey(grade_pct=value), "A", US) is expected
    assert state_of(one, survey(grade_pct=value), "B", US) is LineState.MEETS


def test_a_strict_limit_says_that_the_limit_itself_is_outside():
    line = COST.judge(survey(grade_pct=2.0), wanted="Type I").line_of("grade")
    assert line.state is LineState.MISSES
    assert line.margin == 0.0
    assert "exactly at the limit, which is not inside it" in line.judgement.sentence
    assert "a little flatter" in line.mend


def test_a_metric_limit_is_shown_translated_with_its_own_figure():
    line = COST.judge(curve(900.0), wanted="Type I").line_of("curve_radius")
    assert line.judgement.limit == "above 3,281 ft (1,000 m)"
    line = COST.judge(curve(900.0), wanted="Type I", settings=SI_SETTINGS).line_of(
        "curve_radius"
    )
    assert line.judgement.limit == "above 1,000 m"


def test_an_unit_system_read_from_a_stored_row_works_as_its_enum():
    stored = SuitabilitySettings(unit_system="us")  # type: ignore[arg-type]
    facts = curve(5_700 * FT)
    assert e1318(facts, "curve_radius", settings=stored) == e1318(facts, "curve_radius")


@pytest.mark.parametrize(
    ("scale", "value", "us", "si"),
    [
        (LENGTH, 1737.36, "5,700 ft", "1,737 m"),
        (SHORT_LENGTH, 25.4, "1 in", "25.4 mm"),
        (ROUGHNESS, 1.0, "63.4 in/mi", "1 m/km"),  # 1 m/km = 63.36 in/mi
        (DEFLECTION, 25.4, "10 mil", "25.4 × 0.01 mm"),
        (PERCENT, 0.0, "0 %", "0 %"),
    ],
)
def test_values_are_shown_in_both_systems(scale, value, us, si):
    assert scale.shown(value, US) == us
    assert scale.shown(value, SI) == si


def test_small_words():
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 112)] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "112th",
    ]  # fmt: skip
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed([]) == ""


# --- common practice -----------------------------------------------------------------


def practice(key, settings=None, **changes):
    settings = settings or SuitabilitySettings()
    found = PRACTICE.judge(survey(**changes), wanted="Type I", settings=settings)
    return found.line_of(key)


@pytest.mark.parametrize(
    ("key", "field", "choice", "state"),
    [
        ("flow", "flow", FlowKind.FREE, LineState.MEETS),
        ("flow", "flow", FlowKind.SLOWING, LineState.MAY),
        ("flow", "flow", FlowKind.STOP_AND_GO, LineState.MISSES),
        ("drainage", "drainage", Drainage.SLOW, LineState.MAY),
        ("drainage", "drainage", Drainage.STANDS, LineState.MISSES),
        ("distress", "distress_level", Distress.SEVERE, LineState.MISSES),
        ("pull_off", "pull_off", PullOff.FIRM, LineState.MEETS),
        ("pull_off", "pull_off", PullOff.NONE, LineState.MISSES),
        ("communications", "communications", Communications.WEAK, LineState.MAY),
        ("communications", "communications", Communications.NONE, LineState.MISSES),
        ("lines_overhead", "lines_overhead", LineNearby.IN_THE_WAY, LineState.MISSES),
        ("lines_underground", "lines_underground", LineNearby.NEARBY, LineState.MAY),
        ("flow", "flow", None, LineState.NOT_MEASURED),
    ],
)
def test_choices(key, field, choice, state):
    line = practice(key, **{field: choice})
    assert line.state is state
    assert not line.is_governing
    wants_mending = state in (LineState.MISSES, LineState.MAY)
    assert bool(line.mend) is wants_mending


def test_every_choice_of_every_list_has_an_answer():
    from sites.calc.suitability.practice_choices import CHOICES

    for one in CHOICES:
        kind = type(next(iter(one.choices)))
        assert set(one.choices) == set(kind), one.key


def test_a_choice_read_from_a_stored_row_works_as_its_enum():
    assert practice("flow", flow="stop-and-go").state is LineState.MISSES


@pytest.mark.parametrize(
    ("key", "changes", "setting", "at"),
    [
        ("trucks", "trucks_per_day", "trucks_per_day_min", 120.0),
        ("power_distance", "power_distance_m", "power_distance_max_m", 75.0),
        (
            "pavement_thickness",
            "pavement_thickness_mm",
            "pavement_thickness_min_mm",
            90.0,
        ),
        ("pavement_age", "pavement_age_years", "pavement_age_max_years", 9.0),
    ],
)
def test_the_agency_sets_the_thresholds(key, changes, setting, at):
    settings = SuitabilitySettings(**{setting: at})
    assert practice(key, settings, **{changes: at}).margin == 0.0
    assert practice(key, settings, **{changes: at}).state is LineState.MEETS
    sign = -1 if setting.endswith("min") or "_min_" in setting else 1
    worse = practice(key, settings, **{changes: at + sign})
    assert worse.state is LineState.MISSES
    assert worse.margin == pytest.approx(-1.0)


def test_age_has_no_line_until_the_agency_sets_a_limit():
    with pytest.raises(KeyError):
        practice("pavement_age")


def test_spread_of_speed_is_a_share_of_the_mean():
    line = practice("speed_spread", speed_sd_kmh=20.0, speed_mean_kmh=100.0)
    assert line.judgement.value == pytest.approx(20.0)
    assert line.margin == pytest.approx(-5.0)
    assert line.state is LineState.MISSES
    assert practice("speed_spread", speed_mean_kmh=None).verdict is Verdict.CANNOT_SAY


def test_sight_distance_is_asked_by_the_speed_of_traffic():
    # 100 km/h: 69.4 m to react, 113.0 m to brake
    line = practice("sight_distance", speed_p85_kmh=100.0, sight_distance_m=150.0)
    assert line.margin == pytest.approx(-32.5, abs=0.1)
    line = practice("sight_distance", speed_p85_kmh=None)
    assert line.state is LineState.NOT_MEASURED
    assert line.mend == "Measure the 85th percentile of speed."


def test_what_was_seen_of_the_pavement_is_told():
    found = PRACTICE.judge(survey(distress=" two sealed cracks "), wanted="Type I")
    assert found.notes == ("Distress as seen: two sealed cracks",)
