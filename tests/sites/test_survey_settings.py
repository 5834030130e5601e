"""What the agency sets is used wherever a survey is judged, kept with who and why."""

import pytest
from django.core.exceptions import ValidationError

from sites.models import SurveyLimit, SurveySettings
from sites.selectors import (
    limit_row,
    study_comparison,
    suitability_settings,
    survey_page,
    survey_settings_page,
)
from sites.services import (
    survey_limit_return,
    survey_limit_set,
    survey_settings_save,
)
from tests.sites.surveying import survey_of
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db
SOURCE = "Orrin Valley directive 7, section 2"
FT = 0.3048


def set_limit(by, **changes):
    asked = {
        "standard": "astm-e1318",
        "key": "grade_i_iii",
        "value": 0.4,
        "source": SOURCE,
        "why": "read in the document",
        "system": "us",
    }
    return survey_limit_set(by=by, **(asked | changes))


def test_an_own_limit_judges_page_list_and_study(world, manager):
    survey = survey_of(grade_pct=0.5)
    assert survey_page(survey, "us").suitability.verdict == "meets"
    set_limit(manager)
    line = survey_page(survey, "us").suitability.standard_of("astm-e1318")
    assert line.line_of("grade").judgement.standing == f"agency's own: {SOURCE}"
    assert survey_page(survey, "us").suitability.verdict == "misses"
    study = study_comparison("Route 14 renewal", "us")
    assert study.rivals[0].ranked.n_misses == 1


def test_a_limit_comes_back_as_typed(world, manager):
    set_limit(manager, key="curve_radius", value=5_600 * FT, typed=("5,600.0", "ft"))
    row = limit_row("astm-e1318", "curve_radius", "us")
    assert row.in_use == "5,600.0 ft"
    assert row.recalled == "5,700 ft"
    assert row.standing == f"agency's own: {SOURCE}"
    assert limit_row("astm-e1318", "curve_radius", "si").in_use == "1,706.88 m"


def test_the_recalled_limit_comes_back_and_the_history_stays(world, manager):
    set_limit(manager)
    with pytest.raises(DomainError, match="Say why"):
        survey_limit_return(
            standard="astm-e1318", key="grade_i_iii", by=manager, why=" "
        )
    survey_limit_return(
        standard="astm-e1318", key="grade_i_iii", by=manager, why="withdrawn"
    )
    assert limit_row("astm-e1318", "grade_i_iii", "us").in_use == "2 %"
    changes = survey_settings_page("us").changes
    assert [one.why for one in changes] == ["withdrawn", "read in the document"]
    assert "returned to the recalled value from 0.4 %" in changes[0].what
    assert changes[0].who == manager.get_username()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"key": "grade"}, "no limit “grade” to set"),
        ({"standard": "cost-323"}, "no limit “grade_i_iii” to set"),  # confirmed
        ({"value": 0.0}, "cannot be used"),
        ({"value": 99.0}, "at most 25 %"),
        ({"source": " "}, "say where 0.4 % comes from"),
        ({"key": "lane_width_most_i_iii", "value": 3.0}, "would lie above"),
    ],
)
def test_what_cannot_be_set_is_refused_and_nothing_is_kept(
    world, manager, changes, message
):
    with pytest.raises(DomainError, match=message):
        set_limit(manager, **changes)
    assert not SurveyLimit.objects.exists()


def test_a_return_that_would_contradict_another_is_refused(world, manager):
    upper = {"standard": "aashto-m331", "key": "lri_upper", "value": 3.5}
    set_limit(manager, **upper)
    set_limit(manager, standard="aashto-m331", key="lri_lower", value=2.5)
    with pytest.raises(DomainError, match="would lie above"):
        survey_limit_return(
            standard="aashto-m331", key="lri_upper", by=manager, why="withdrawn"
        )
    assert SurveyLimit.objects.count() == 2


def test_thresholds_and_governing_standards_are_used(world, manager):
    survey = survey_of(trucks_per_day=100.0)
    settings = SurveySettings(
        trucks_per_day_min=200.0,
        governing=["common-practice", "astm-e1318"],
        site_class_wanted="I",
    )
    survey_settings_save(settings=settings, by=manager, why="decided in May")
    found = survey_page(survey, "us").suitability
    assert [one.key for one in found.misses] == ["trucks"]
    assert found.standard_of("cost-323").judged_class == "site class I"
    assert not found.standard_of("cost-323").is_governing
    used = suitability_settings("si")
    assert used.governing == ("astm-e1318", "common-practice")
    assert survey_settings_page("us").changes[0].why == "decided in May"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"governing": []}, "No standard counts"),
        ({"governing": ["astm"]}, "no site standard “astm”"),
        ({"power_distance_max_m": -1.0}, "greater than or equal to"),
        ({"site_class_wanted": "IV"}, "not a valid choice"),
    ],
)
def test_settings_that_cannot_be_are_refused(world, manager, changes, message):
    with pytest.raises((DomainError, ValidationError), match=message):
        survey_settings_save(settings=SurveySettings(**changes), by=manager, why="")
    assert not SurveySettings.objects.exists()


def test_without_settings_the_usual_ones_hold(world):
    used = suitability_settings("us")
    assert used.trucks_per_day_min == 50.0
    assert used.pavement_age_max_years is None
    assert used.agency_values == {}
