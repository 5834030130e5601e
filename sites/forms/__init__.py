"""Forms of sites, lanes and surveys, one module a part of the work."""

from sites.forms.places import (
    LaneForm,
    PlaceForm,
    ProgramForm,
    SiteAddForm,
    SiteForm,
    SiteStateForm,
)
from sites.forms.survey_settings import (
    SurveyLimitForm,
    SurveyLimitReturnForm,
    SurveySettingsForm,
)
from sites.forms.surveys import (
    ProfileForm,
    SiteFromSurveyForm,
    StudyForm,
    SurveyForm,
    TakeForm,
    blank_survey,
)

__all__ = [
    "LaneForm",
    "PlaceForm",
    "ProfileForm",
    "ProgramForm",
    "SiteAddForm",
    "SiteForm",
    "SiteFromSurveyForm",
    "SiteStateForm",
    "StudyForm",
    "SurveyForm",
    "SurveyLimitForm",
    "SurveyLimitReturnForm",
    "SurveySettingsForm",
    "TakeForm",
    "blank_survey",
]
