"""Changes of sites, lanes and surveys, one module a part of the work."""

from sites.services.places import (
    lane_save,
    program_save,
    site_from_records,
    site_save,
    site_set_state,
)
from sites.services.profiles import profile_add, survey_take_from_profile
from sites.services.survey_settings import (
    survey_limit_return,
    survey_limit_set,
    survey_settings_save,
)
from sites.services.surveys import site_from_survey, survey_save

__all__ = [
    "lane_save",
    "profile_add",
    "program_save",
    "site_from_records",
    "site_from_survey",
    "site_save",
    "site_set_state",
    "survey_limit_return",
    "survey_limit_set",
    "survey_save",
    "survey_settings_save",
    "survey_take_from_profile",
]
