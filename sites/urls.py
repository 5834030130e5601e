"""Addresses of this app; the lists and pages of sites and lanes are wimprog's."""

from django.urls import path

from sites.views import places, profiles, survey_settings, surveys

app_name = "sites"

urlpatterns = [
    path("program/settings/", places.program_edit, name="program-edit"),
    path("sites/add/", places.site_add, name="site-add"),
    path("sites/surveys/", surveys.survey_list, name="survey-list"),
    path("sites/surveys/add/", surveys.survey_add, name="survey-add"),
    path(
        "sites/surveys/settings/",
        survey_settings.survey_settings,
        name="survey-settings",
    ),
    path(
        "sites/surveys/settings/edit/",
        survey_settings.survey_settings_edit,
        name="survey-settings-edit",
    ),
    path(
        "sites/surveys/settings/<str:standard>/<str:key>/",
        survey_settings.survey_limit_edit,
        name="survey-limit-edit",
    ),
    path(
        "sites/surveys/settings/<str:standard>/<str:key>/return/",
        survey_settings.survey_limit_return,
        name="survey-limit-return",
    ),
    path("sites/surveys/study/", surveys.study, name="study"),
    path(
        "sites/surveys/study/export/<str:fmt>/",
        surveys.study_export,
        name="study-export",
    ),
    path("sites/surveys/<int:pk>/", surveys.survey_detail, name="survey-detail"),
    path("sites/surveys/<int:pk>/edit/", surveys.survey_edit, name="survey-edit"),
    path("sites/surveys/<int:pk>/plan/", surveys.site_plan, name="site-plan"),
    path("sites/surveys/<int:pk>/profile/", profiles.profile_add, name="profile-add"),
    path(
        "sites/surveys/profiles/<int:pk>/",
        profiles.profile_detail,
        name="profile-detail",
    ),
    path(
        "sites/surveys/profiles/<int:pk>/take/",
        profiles.profile_take,
        name="profile-take",
    ),
    path("sites/lanes/<int:pk>/edit/", places.lane_edit, name="lane-edit"),
    path("sites/<str:code>/edit/", places.site_edit, name="site-edit"),
    path("sites/<str:code>/state/", places.site_state, name="site-state"),
    path("sites/<str:code>/lanes/add/", places.lane_add, name="lane-add"),
]
