"""Addresses of this app, all under /calibration/."""

from django.urls import path

from calibration import views

app_name = "calibration"

urlpatterns = [
    path("calibration/", views.session_list, name="session-list"),
    path(
        "calibration/export/<str:fmt>/",
        views.session_list_export,
        name="session-list-export",
    ),
    path("calibration/due/", views.due_list, name="due-list"),
    path("calibration/sessions/add/", views.session_add, name="session-add"),
    path("calibration/sessions/<int:pk>/", views.session_detail, name="session-detail"),
    path(
        "calibration/sessions/<int:pk>/edit/", views.session_edit, name="session-edit"
    ),
    path(
        "calibration/sessions/<int:pk>/close/",
        views.session_close,
        name="session-close",
    ),
    path(
        "calibration/sessions/<int:pk>/export/<str:what>/<str:fmt>/",
        views.session_export,
        name="session-export",
    ),
    path("calibration/sessions/<int:pk>/runs/add/", views.run_add, name="run-add"),
    path(
        "calibration/sessions/<int:pk>/runs/import/",
        views.runs_import,
        name="runs-import",
    ),
    path("calibration/runs/<int:pk>/exclude/", views.run_exclude, name="run-exclude"),
    path("calibration/runs/<int:pk>/restore/", views.run_restore, name="run-restore"),
    path("calibration/vehicles/", views.vehicle_list, name="vehicle-list"),
    path("calibration/vehicles/add/", views.vehicle_add, name="vehicle-add"),
    path(
        "calibration/vehicles/<int:pk>/weighings/add/",
        views.weighing_add,
        name="weighing-add",
    ),
]
