"""A location against every standard together."""

import dataclasses
import json
from dataclasses import replace

import pytest

from sites.calc.suitability import aashto_m331, cost_323
from sites.calc.suitability.assessing import assess
from sites.calc.suitability.base import LineState, SuitabilitySettings
from sites.calc.suitability.registry import all_standards
from sites.calc.types import PavementKind, SiteClass, SurveyFacts
from tests.sites.calc.build import SOUND, curve, survey
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

TYPES = ("Type I", "Type II", "Type III", "Type IV")


def test_the_standards_are_found_by_being_there():
    assert list(all_standards()) == [
        "aashto-m331",
        "astm-e1318",
        "common-practice",
        "cost-323",
    ]


def test_two_standards_of_one_key_are_refused(monkeypatch):
    monkeypatch.setattr(cost_323, "STANDARD", replace(cost_323.STANDARD, key="ltpp"))
    monkeypatch.setattr(
        aashto_m331, "STANDARD", replace(aashto_m331.STANDARD, key="ltpp")
    )
    with pytest.raises(ValueError, match="two site standards have the key “ltpp”"):
        all_standards()


def test_a_standard_that_was_not_judged_has_no_answer():
    with pytest.raises(KeyError):
        assess(SOUND, wanted="Type I").standard_of("ltpp")


def test_a_sound_location_is_fit_and_says_what_it_carries():
    found = assess(SOUND, wanted="type i")
    assert found.wanted == "Type I"
    assert found.verdict is Verdict.MEETS
    assert (found.misses, found.unmeasured, found.advice) == ((), (), ())
    assert found.carried == {
        "AASHTO M 331": "Types I and II",
        "ASTM E1318": "Types I, II and III",
        "COST 323": "site class I: A(5), B+(7) and coarser",
    }
    assert found.sentence.startswith("Fit for Type I: meets all 19 conditions.")


def test_nothing_measured_says_nothing():
    found = assess(SurveyFacts(), wanted="Type I")
    assert found.verdict is Verdict.CANNOT_SAY
    assert found.overall.n == 0
    assert found.fails_first is None
    assert found.sentence == (
        "Cannot say whether it is fit for Type I. Nothing was measured."
    )
    for line in found.lines:
        assert line.state is LineState.NOT_MEASURED
        assert line.judgement.n == 0


def test_one_condition_in_two_standards_counts_once_by_what_fails_first():
    # 900 m misses 5,700 ft by 48 % and 1,000 m by 10 %
    found = assess(curve(900.0), wanted="Type I")
    assert [line.key for line in found.misses] == ["curve_radius"]
    assert found.misses[0].standard == "astm-e1318"
    # 1,200 m misses one of the two only
    found = assess(curve(1_200.0), wanted="Type I")
    assert found.misses[0].standard == "astm-e1318"
    assert found.standard_of("cost-323").verdict is Verdict.MEETS


def test_misses_are_told_the_deepest_first_with_their_standard():
    found = assess(curve(1_700.0, grade_pct=3.0), wanted="Type I")
    assert [line.key for line in found.misses] == ["grade", "curve_radius"]
    assert found.fails_first is found.misses[0]
    assert found.sentence.startswith(
        "Not fit for Type I as it is: misses grade (ASTM E1318: 1 % over) and curve "
        "radius (ASTM E1318: 123 ft short)."
    )
    assert found.overall.verdict is Verdict.MISSES
    assert found.overall.value == 3.0


def test_a_miss_outweighs_what_is_not_measured():
    found = assess(survey(grade_pct=5.0, rutting_mm=None), wanted="Type I")
    assert found.verdict is Verdict.MISSES
    assert "Not measured: rutting." in found.sentence


def test_what_is_left_open_is_told_from_what_was_not_measured():
    found = assess(survey(lri_m_per_km=1.0), wanted="Type I")
    assert found.verdict is Verdict.CANNOT_SAY
    assert [line.key for line in found.left_open] == ["lri"]
    assert found.unmeasured == ()
    assert "Left open: long-range index (LRI)." in found.sentence


def test_advice_does_not_count_against_a_location():
    found = assess(survey(flow="stop-and-go", trucks_per_day=3.0), wanted="Type I")
    assert found.verdict is Verdict.MEETS
    assert {line.key for line in found.advice} == {"flow", "trucks"}


def test_the_agency_says_which_standards_govern():
    settings = SuitabilitySettings(governing=("astm-e1318",))
    found = assess(survey(rutting_mm=30.0), wanted="Type I", settings=settings)
    assert found.verdict is Verdict.MEETS
    assert [line.key for line in found.advice] == ["rutting"]
    assert found.standards[0].standard == "astm-e1318"
    assert found.overall.rule == "every condition of ASTM E1318"


def test_practice_governs_where_the_agency_says_so():
    settings = SuitabilitySettings(governing=("common-practice",))
    found = assess(survey(flow="stop-and-go"), wanted="Type I", settings=settings)
    assert found.verdict is Verdict.MISSES
    assert [line.key for line in found.misses] == ["flow"]


# --- ASTM E1318 ----------------------------------------------------------------------


def test_types_i_to_iii_go_together_and_iv_asks_more():
    found = assess(survey(grade_pct=1.5), wanted="Type IV").standard_of("astm-e1318")
    assert found.verdict is Verdict.MISSES
    assert found.carries == "Types I, II and III"
    missed = found.outcome_of("Type IV").missed
    assert set(missed) == {"grade", "85th percentile of speed"}


def test_a_slow_lane_can_carry_type_iv_only():
    slow = survey(speed_p15_kmh=5.0, speed_p85_kmh=12.0, grade_pct=0.5)
    found = assess(slow, wanted="Type IV").standard_of("astm-e1318")
    assert found.verdict is Verdict.MEETS
    assert found.carries == "Type IV"


def test_not_measured_leaves_types_possible_and_says_how_many_are_missing():
    found = assess(survey(grade_pct=None), wanted="Type I").standard_of("astm-e1318")
    assert found.verdict is Verdict.CANNOT_SAY
    assert found.carries == "at best Types I, II and III (1 not measured)"


# --- COST 323 ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "site_class"),
    [("Type I", "II"), ("Type II", "III"), ("Type III", "I"), ("Type IV", "I")],
)
def test_the_site_class_judged_follows_the_tolerance_of_gross_weight(
    wanted, site_class
):
    found = assess(SOUND, wanted=wanted).standard_of("cost-323")
    assert found.judged_class == f"site class {site_class}"
    assert "our own reading" in found.notes[-1]


def test_the_agency_may_ask_another_site_class():
    settings = SuitabilitySettings(site_class_wanted=SiteClass.EXCELLENT)
    found = assess(survey(grade_pct=1.5), wanted="Type II", settings=settings)
    cost = found.standard_of("cost-323")
    assert cost.judged_class == "site class I"
    assert cost.verdict is Verdict.MISSES
    assert cost.notes == ()


def test_the_worst_condition_decides_the_site_class_and_what_stops_the_next_is_told():
    found = assess(survey(rutting_mm=9.0, iri_m_per_km=2.0), wanted="Type II")
    cost = found.standard_of("cost-323")
    assert cost.carries == "site class III: C(15) and coarser"
    assert cost.line_of("iri").carries.startswith("site class II:")
    assert cost.next_class == "site class II"
    assert len(cost.next_needs) == 1
    assert "rut is 0.079 in too deep" in cost.next_needs[0]


def test_an_unmeasured_condition_leaves_only_an_at_best():
    cost = assess(survey(iri_m_per_km=None), wanted="Type I").standard_of("cost-323")
    assert cost.carries.startswith("at best site class I:")
    assert cost.outcome_of("site class I").verdict is Verdict.CANNOT_SAY


def test_without_the_kind_of_pavement_deflection_has_no_limit():
    cost = assess(survey(pavement_kind=None), wanted="Type I").standard_of("cost-323")
    for key in ("deflection", "deflection_difference"):
        line = cost.line_of(key)
        assert line.state is LineState.NOT_MEASURED
        assert "pavement_kind" in line.fields
    assert cost.verdict is Verdict.CANNOT_SAY
    assert len(cost.outcome_of("site class III").unknown) == 2


@pytest.mark.parametrize("kind", [PavementKind.CONCRETE, PavementKind.COMPOSITE])
def test_rigid_pavement_is_not_asked_for_deflection(kind):
    cost = assess(survey(pavement_kind=kind), wanted="Type I").standard_of("cost-323")
    assert cost.verdict is Verdict.MEETS
    assert f"No limits of deflection for {kind} pavement." in cost.notes
    with pytest.raises(KeyError):
        cost.line_of("deflection")


# --- AASHTO M 331 --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "low", "between", "high"),
    [
        ("Type I", LineState.MEETS, LineState.MAY, LineState.MISSES),
        ("Type II", LineState.MEETS, LineState.MAY, LineState.MAY),
        ("Type III", LineState.MAY, LineState.MAY, LineState.MISSES),
    ],
)
def test_only_what_follows_from_type_i_is_said_of_other_types(
    wanted, low, between, high
):
    for value, expected in ((0.3, low), (1.0, between), (2.5, high)):
        found = assess(survey(sri_m_per_km=value), wanted=wanted)
        line = found.standard_of("aashto-m331").line_of("sri")
        assert line.state is expected
        is_inferred = line.judgement.standing.startswith("inferred from Type I")
        assert is_inferred is (wanted != "Type I")


def test_roughness_margins_are_to_the_limit_that_decides():
    found = assess(survey(sri_m_per_km=2.5), wanted="Type I")
    line = found.standard_of("aashto-m331").line_of("sri")
    assert line.margin == pytest.approx(-0.4)
    assert line.relative_margin == pytest.approx(-0.4 / 2.1)
    assert "by more than 127 in/mi" in line.mend  # 2.5 − 0.5 m/km
    line = found.standard_of("aashto-m331").line_of("lri")
    assert line.margin == pytest.approx(0.1)
    assert line.mend == ""


def test_type_iv_is_not_judged_by_roughness():
    found = assess(SOUND, wanted="Type IV")
    assert found.standard_of("aashto-m331").lines == ()
    assert all(line.standard != "aashto-m331" for line in found.conditions)


# --- whatever is surveyed ------------------------------------------------------------


@pytest.mark.parametrize("wanted", TYPES)
@pytest.mark.parametrize("system", list(UnitSystem))
def test_every_line_has_a_rule_a_limit_a_standing_and_a_sentence(wanted, system):
    settings = SuitabilitySettings(unit_system=system)
    names = {field.name for field in dataclasses.fields(SurveyFacts)}
    for facts in (SOUND, SurveyFacts(), curve(300.0, grade_pct=9.0, lane_width_m=9.0)):
        found = assess(facts, wanted=wanted, settings=settings)
        for line in found.lines:
            judgement = line.judgement
            assert judgement.rule
            assert judgement.limit
            assert judgement.standing
            assert judgement.sentence.endswith(".")
            assert set(line.fields) <= names
            assert "{" not in line.mend
            assert line.verdict is line.state.verdict
            if line.state is LineState.MISSES:
                assert line.mend, line.key
                assert line.margin is None or line.margin <= 0
            if line.state is LineState.MEETS:
                assert not line.mend
                assert line.margin is None or line.margin >= 0
        json.dumps(found.as_dict(), allow_nan=False)


def test_unknown_types_and_standards_are_refused_in_words():
    with pytest.raises(DomainError, match="no type “Type V”"):
        assess(SOUND, wanted="Type V")
    settings = SuitabilitySettings(governing=("astm",))
    with pytest.raises(DomainError, match="no site standard “astm”"):
        assess(SOUND, wanted="Type I", settings=settings)
