"""Addresses of this app, all under /calibration/."""

from django.urls import path

from calibration.views import (
    factors,
    matching,
    papers,
    plans,
    runs,
    sessions,
    standards,
    vehicles,
    years,
)

app_name = "calibration"

urlpatterns = [
    path("calibration/", sessions.session_list, name="session-list"),
    path(
        "calibration/export/<str:fmt>/",
        sessions.session_list_export,
        name="session-list-export",
    ),
    path("calibration/sessions/add/", sessions.session_add, name="session-add"),
    path(
        "calibration/sessions/<int:pk>/", sessions.session_detail, name="session-detail"
    ),
    path(
        "calibration/sessions/<int:pk>/edit/",
        sessions.session_edit,
        name="session-edit",
    ),
    path(
        "calibration/sessions/<int:pk>/close/",
        sessions.session_close,
        name="session-close",
    ),
    path(
        "calibration/sessions/<int:pk>/export/<str:what>/<str:fmt>/",
        sessions.session_export,
        name="session-export",
    ),
    path("calibration/sessions/<int:pk>/runs/add/", runs.run_add, name="run-add"),
    path(
        "calibration/sessions/<int:pk>/runs/import/",
        runs.runs_import,
        name="runs-import",
    ),
    path(
        "calibration/sessions/<int:pk>/runs/match/",
        matching.runs_match,
        name="runs-match",
    ),
    path(
        "calibration/sessions/<int:pk>/factors/",
        factors.session_factors,
        name="session-factors",
    ),
    path(
        "calibration/sessions/<int:pk>/factors/<str:stage>/",
        factors.factors_edit,
        name="factors-edit",
    ),
    path(
        "calibration/sessions/<int:pk>/record/",
        papers.session_record_page,
        name="session-record",
    ),
    path(
        "calibration/sessions/<int:pk>/sign/",
        papers.session_sign_page,
        name="session-sign",
    ),
    path(
        "calibration/sessions/<int:pk>/record.pdf",
        papers.session_record_paper,
        name="session-record-paper",
    ),
    path(
        "calibration/sessions/<int:pk>/certificate.pdf",
        papers.session_certificate,
        name="session-certificate",
    ),
    path(
        "calibration/sessions/<int:pk>/session.<str:fmt>",
        papers.session_file,
        name="session-file",
    ),
    path("calibration/runs/<int:pk>/edit/", runs.run_edit, name="run-edit"),
    path("calibration/runs/<int:pk>/exclude/", runs.run_exclude, name="run-exclude"),
    path("calibration/runs/<int:pk>/restore/", runs.run_restore, name="run-restore"),
    path("calibration/vehicles/", vehicles.vehicle_list, name="vehicle-list"),
    path("calibration/vehicles/add/", vehicles.vehicle_add, name="vehicle-add"),
    path(
        "calibration/vehicles/<int:pk>/",
        vehicles.vehicle_detail,
        name="vehicle-detail",
    ),
    path(
        "calibration/vehicles/<int:pk>/edit/",
        vehicles.vehicle_edit,
        name="vehicle-edit",
    ),
    path(
        "calibration/weighings/<int:pk>/",
        vehicles.weighing_detail,
        name="weighing-detail",
    ),
    path(
        "calibration/weighings/<int:pk>/edit/",
        vehicles.weighing_edit,
        name="weighing-edit",
    ),
    path(
        "calibration/vehicles/<int:pk>/weighings/add/",
        vehicles.weighing_add,
        name="weighing-add",
    ),
    # plans
    path("calibration/plans/", plans.plan_list, name="plan-list"),
    path("calibration/plans/add/", plans.plan_add, name="plan-add"),
    path("calibration/plans/<int:pk>/", plans.plan_detail, name="plan-detail"),
    path("calibration/plans/<int:pk>/edit/", plans.plan_edit, name="plan-edit"),
    path("calibration/plans/<int:pk>/sheet/", plans.plan_sheet, name="plan-sheet"),
    path("calibration/plans/<int:pk>/begin/", plans.plan_begin, name="plan-begin"),
    path(
        "calibration/plans/<int:pk>/export/<str:fmt>/",
        plans.plan_export,
        name="plan-export",
    ),
    # standards
    path("calibration/standards/", standards.standard_list, name="standard-list"),
    path("calibration/standards/all-sessions/", standards.rejudge, name="rejudge"),
    path(
        "calibration/standards/all-sessions/export/<str:fmt>/",
        standards.rejudge_export,
        name="rejudge-export",
    ),
    path(
        "calibration/standards/<str:key>/",
        standards.standard_detail,
        name="standard-detail",
    ),
    path(
        "calibration/standards/<str:standard>/values/<str:key>/",
        standards.value_detail,
        name="value-detail",
    ),
    path(
        "calibration/standards/<str:standard>/values/<str:key>/set/",
        standards.value_edit,
        name="value-edit",
    ),
    path(
        "calibration/standards/<str:standard>/values/<str:key>/return/",
        standards.value_return,
        name="value-return",
    ),
    path(
        "calibration/sessions/<int:pk>/standards/",
        standards.side_by_side,
        name="side-by-side",
    ),
    path(
        "calibration/sessions/<int:pk>/standards/export/<str:fmt>/",
        standards.side_by_side_export,
        name="side-by-side-export",
    ),
    # through the years
    path("calibration/due/", years.due_list, name="due-list"),
    path(
        "calibration/due/export/<str:fmt>/",
        years.due_list_export,
        name="due-list-export",
    ),
    path("calibration/due.ics", years.due_calendar, name="due-calendar"),
    path("calibration/feed/<str:token>/due.ics", years.due_feed, name="due-feed"),
    path("calibration/lanes/<int:pk>/years/", years.lane_years, name="lane-years"),
    path(
        "calibration/lanes/<int:pk>/years/export/<str:fmt>/",
        years.lane_years_export,
        name="lane-years-export",
    ),
    path("calibration/settings/", years.settings_page, name="settings"),
    path("calibration/settings/edit/", years.settings_edit, name="settings-edit"),
]
