"""Reads about sites, lanes and surveys, one module a part of the work."""

from sites.selectors.places import lane_by_label, lane_list, program_get, site_list
from sites.selectors.profiles import (
    WINDOWS_M,
    ProfileView,
    profile_samples,
    profile_view,
    window_choices,
)
from sites.selectors.surveys import (
    MEASURED,
    NOT_MEASURED,
    ShownLine,
    ShownStandard,
    StudyComparison,
    SurveyPage,
    label_of,
    shown_fact,
    study_comparison,
    study_names,
    survey_facts,
    survey_judged,
    survey_list,
    survey_page,
    surveys_of_site,
)

__all__ = [
    "MEASURED",
    "NOT_MEASURED",
    "WINDOWS_M",
    "ProfileView",
    "ShownLine",
    "ShownStandard",
    "StudyComparison",
    "SurveyPage",
    "label_of",
    "lane_by_label",
    "lane_list",
    "profile_samples",
    "profile_view",
    "program_get",
    "shown_fact",
    "site_list",
    "study_comparison",
    "study_names",
    "survey_facts",
    "survey_judged",
    "survey_list",
    "survey_page",
    "surveys_of_site",
    "window_choices",
]
