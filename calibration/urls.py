"""Addresses of this app, all under /calibration/."""

from django.urls import path

from calibration.views import matching, runs, sessions, vehicles

app_name = "calibration"

urlpatterns = [
    path("calibration/", sessions.session_list, name="session-list"),
    path(
        "calibration/export/<str:fmt>/",
        sessions.session_list_export,
        name="session-list-export",
    ),
    path("calibration/due/", sessions.due_list, name="due-list"),
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
]
