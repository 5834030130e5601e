"""Where: the program's settings, its sites and lanes, and surveys of locations."""

from sites.models.places import (
    Climate,
    Direction,
    Lane,
    PavementType,
    Program,
    Site,
    SiteQuerySet,
    SiteState,
    check_time_zone,
)
from sites.models.survey_settings import SurveyLimit, SurveySettings
from sites.models.surveys import SURVEY_GROUPS, RoadProfile, SiteSurvey

__all__ = [
    "SURVEY_GROUPS",
    "Climate",
    "Direction",
    "Lane",
    "PavementType",
    "Program",
    "RoadProfile",
    "Site",
    "SiteQuerySet",
    "SiteState",
    "SiteSurvey",
    "SurveyLimit",
    "SurveySettings",
    "check_time_zone",
]
