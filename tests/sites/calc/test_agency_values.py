"""Limits of site standards that an agency sets: used everywhere, and said so."""

import pytest

from sites.calc.suitability.assessing import assess
from sites.calc.suitability.base import CONFIRMED, LineState, SuitabilitySettings
from sites.calc.suitability.common_practice import stopping_sight_distance_m
from sites.calc.suitability.cost_323_limits import GEOMETRY
from sites.calc.suitability.registry import all_standards
from sites.calc.suitability.values import check_order, values_in_use
from sites.calc.suitability.words import LENGTH, PERCENT
from sites.calc.types import PavementKind
from tests.sites.calc.build import survey
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

FT = 0.3048
SOURCE = "Orrin Valley directive 7, section 2"
EVERY = [(std, one) for std in all_standards().values() for one in std.editable_values]


def with_own(standard, _system=UnitSystem.US, **values):
    own = {standard: {key: (value, SOURCE) for key, value in values.items()}}
    return SuitabilitySettings(unit_system=_system, agency_values=own)


def judged(facts, standard, settings, wanted="Type I"):
    return all_standards()[standard].judge(facts, wanted=wanted, settings=settings)


def test_every_value_has_what_a_person_needs_to_set_it():
    assert len(EVERY) == 55
    for standard, one in EVERY:
        assert one.name, one.key
        assert one.source, one.key
        assert one.unit == one.scale.si, one.key
        assert one.standing.startswith("from memory"), (standard.key, one.key)
        assert 0 < one.value < one.at_most


def test_keys_are_one_of_a_kind_within_their_standard():
    for standard in all_standards().values():
        keys = [one.key for one in standard.editable_values]
        assert len(keys) == len(set(keys)), standard.key


def test_what_was_held_against_a_public_text_cannot_be_set():
    # slopes and radius of COST 323: Jacob, OBrien and Jehaes (2002)
    fixed = {one.key for one in GEOMETRY}
    assert {one.standing for one in GEOMETRY} == {CONFIRMED}
    keys = {one.key for one in all_standards()["cost-323"].editable_values}
    assert not {key for key in keys if key.startswith(tuple(fixed))}
    with pytest.raises(DomainError, match=r"COST 323 has no value “grade_i” to set"):
        assess(survey(), wanted="Type I", settings=with_own("cost-323", grade_i=3.0))


def test_values_of_a_standard_that_there_is_not_are_refused():
    with pytest.raises(DomainError, match="no-such"):
        assess(survey(), wanted="Type I", settings=with_own("no-such", grade_i=3.0))


@pytest.mark.parametrize(
    ("limit_pct", "state"), [(1.5, LineState.MISSES), (2.5, LineState.MEETS)]
)
def test_an_own_limit_judges_and_says_whose_it_is(limit_pct, state):
    settings = with_own("astm-e1318", grade_i_iii=limit_pct)
    found = judged(survey(grade_pct=-1.8), "astm-e1318", settings)
    line = found.line_of("grade")
    assert line.state is state
    assert line.judgement.limit == f"at most {limit_pct} %"
    assert line.judgement.standing == f"agency's own: {SOURCE}"
    assert f"at most {limit_pct} % ({SOURCE})" in found.standing
    assert found.outcome_of("Type II").verdict == found.outcome_of("Type III").verdict


def test_an_own_limit_of_one_class_leaves_the_other_classes_alone():
    settings = with_own("astm-e1318", grade_i_iii=1.5)
    found = judged(survey(), "astm-e1318", settings, wanted="Type IV")
    assert found.line_of("grade").judgement.standing.startswith("from memory")
    assert found.line_of("cross_slope").judgement.standing.startswith("from memory")


def test_an_own_limit_holds_in_either_unit_system():
    facts = survey(curve_is_straight=None, curve_radius_m=1_650.0)
    for system, shown in ((UnitSystem.US, "5,249 ft"), (UnitSystem.SI, "1,600 m")):
        settings = with_own("astm-e1318", system, curve_radius=1_600.0)
        line = judged(facts, "astm-e1318", settings).line_of("curve_radius")
        assert line.state is LineState.MEETS
        assert line.judgement.limit == f"at least {shown}"


def test_a_line_with_one_own_and_one_recalled_limit_names_both():
    settings = with_own("astm-e1318", lane_width_least_i_iii=11.5 * FT)
    line = judged(survey(), "astm-e1318", settings).line_of("lane_width")
    assert line.judgement.limit == "at least 11.5 ft and at most 14 ft"
    assert line.judgement.standing == (
        "agency's own: lane width for Types I, II and III, at least 11.5 ft "
        f"({SOURCE}); the rest from memory: not checked against the document"
    )


def test_an_own_straightedge_is_the_one_asked_for():
    facts = survey(plate_passes=False, straightedge_length_m=16 * FT)
    settings = with_own("astm-e1318", straightedge_length=20 * FT)
    line = judged(facts, "astm-e1318", settings).line_of("plate")
    assert line.state is LineState.NOT_MEASURED
    assert "20 ft is asked" in line.judgement.sentence
    assert line.judgement.standing == f"agency's own: {SOURCE}"


@pytest.mark.parametrize(
    ("key", "value", "state", "words"),
    [
        ("sri_lower", 0.9, LineState.MEETS, "below 57.02 in/mi"),
        ("sri_upper", 0.7, LineState.MISSES, "above 44.35 in/mi"),
    ],
)
def test_own_limits_of_roughness(key, value, state, words):
    facts = survey(sri_m_per_km=0.8)
    before = judged(facts, "aashto-m331", SuitabilitySettings()).line_of("sri")
    assert before.state is LineState.MAY
    found = judged(facts, "aashto-m331", with_own("aashto-m331", **{key: value}))
    line = found.line_of("sri")
    assert line.state is state
    assert SOURCE in line.judgement.standing
    assert "the rest from memory" in line.judgement.standing
    assert found.line_of("lri").judgement.standing.startswith("from memory")


def test_own_limits_of_roughness_are_still_inferred_for_other_types():
    settings = with_own("aashto-m331", sri_lower=0.4, sri_upper=1.9)
    found = judged(survey(), "aashto-m331", settings, wanted="Type II")
    assert found.line_of("sri").judgement.standing == (
        f"inferred from Type I, agency's own: {SOURCE}"
    )


def test_own_limits_of_the_pavement_change_the_class_it_can_carry():
    facts = survey(
        pavement_kind=PavementKind.FLEXIBLE,
        deflection_hundredths_mm=40.0,
        rutting_mm=2.0,
        iri_m_per_km=1.0,
    )
    plain = judged(facts, "cost-323", SuitabilitySettings())
    assert "least certain" in plain.line_of("deflection").judgement.standing
    assert plain.outcome_of("site class I").missed == ("deflection",)
    own = judged(facts, "cost-323", with_own("cost-323", deflection_flexible_i=45))
    assert "deflection" not in own.outcome_of("site class I").missed
    assert own.line_of("deflection").judgement.standing == (
        plain.line_of("deflection").judgement.standing  # class II, not set
    )


def test_sight_distance_follows_the_agencys_deceleration():
    facts = survey(speed_p85_kmh=104.0, sight_distance_m=200.0)
    settings = with_own("common-practice", braking_m_per_s2=3.0)
    line = judged(facts, "common-practice", settings).line_of("sight_distance")
    needed = stopping_sight_distance_m(104.0, 2.5, 3.0)
    assert line.margin == pytest.approx(200.0 - needed)
    assert f"deceleration of a driver who brakes 9.84 ft/s² ({SOURCE})" in (
        line.judgement.standing
    )


def test_a_threshold_of_practice_that_was_set_is_the_agencys_own():
    set_by_agency = SuitabilitySettings(trucks_per_day_min=200.0)
    plain = judged(survey(), "common-practice", SuitabilitySettings())
    own = judged(survey(), "common-practice", set_by_agency)
    assert plain.line_of("trucks").judgement.standing == "common practice, no source"
    assert own.line_of("trucks").judgement.standing == "agency's own: survey settings"


@pytest.mark.parametrize(
    ("standard", "values", "message"),
    [
        ("aashto-m331", {"lri_lower": 2.5}, r"158\.4 in/mi\) would lie above"),
        ("cost-323", {"iri_ii": 1.0}, r"site class I, at most .* site class II"),
        ("astm-e1318", {"lane_width_most_i_iii": 11 * FT}, r"12 ft\) would .*11 ft"),
    ],
)
def test_values_that_contradict_each_other_are_refused(standard, values, message):
    with pytest.raises(DomainError, match=message):
        check_order(all_standards()[standard], with_own(standard, **values))


@pytest.mark.parametrize("system", list(UnitSystem))
def test_recalled_values_do_not_contradict_each_other(system):
    for standard in all_standards().values():
        check_order(standard, SuitabilitySettings(unit_system=system))


def test_what_cannot_be_is_refused_in_the_programs_units():
    standard = all_standards()["astm-e1318"]
    with pytest.raises(DomainError, match=r"39,370 ft cannot be used.*16,404 ft"):
        values_in_use(standard, with_own("astm-e1318", smooth_before_iv=12_000.0))


def test_a_limit_is_shown_as_exactly_as_it_was_typed():
    assert PERCENT.exact(1.375, UnitSystem.US) == "1.375 %"
    assert LENGTH.exact(5_700.25 * FT, UnitSystem.US) == "5,700.25 ft"
    assert LENGTH.exact(5_700.25 * FT, UnitSystem.SI) == "1,737.4362 m"
    assert LENGTH.exact(100.0, UnitSystem.US) == "328 ft"
