"""Addresses of the roadside and of renewal."""

from django.urls import path

from installs.views import (
    plans,
    reckoners,
    renewal,
    roadside,
    sensors,
    test_sheets,
    visits,
    workshop,
)

app_name = "installs"

urlpatterns = [
    path("roadside/", roadside.roadside, name="roadside"),
    path("roadside/sensors/", sensors.sensor_list, name="sensor-list"),
    path(
        "roadside/sensors/export/<str:fmt>/",
        sensors.sensor_export,
        name="sensor-export",
    ),
    path("roadside/sensors/add/", sensors.sensor_add, name="sensor-add"),
    path("roadside/sensors/<int:pk>/", sensors.sensor_detail, name="sensor-detail"),
    path("roadside/sensors/<int:pk>/edit/", sensors.sensor_edit, name="sensor-edit"),
    path(
        "roadside/lanes/<int:lane>/install/",
        sensors.installation_add,
        name="installation-add",
    ),
    path(
        "roadside/installations/<int:pk>/end/",
        sensors.installation_end,
        name="installation-end",
    ),
    path("roadside/installations/<int:pk>/test/", visits.test_add, name="test-add"),
    path("roadside/visits/", visits.visit_list, name="visit-list"),
    path("roadside/visits/add/", visits.visit_add, name="visit-add"),
    path("roadside/visits/<int:pk>/", visits.visit_detail, name="visit-detail"),
    path("roadside/visits/<int:pk>/edit/", visits.visit_edit, name="visit-edit"),
    path("renewal/", renewal.forecast, name="forecast"),
    path("renewal/lives/", renewal.lives, name="lives"),
    path("renewal/export/<str:fmt>/", renewal.forecast_export, name="forecast-export"),
]

# --- plans -------------------------------------------------------------------------
urlpatterns += [
    path("roadside/lanes/<int:lane>/plans/", plans.plan_list, name="plan-list"),
    path("roadside/lanes/<int:lane>/plans/start/", plans.plan_start, name="plan-start"),
    path("roadside/plans/<int:pk>/", plans.plan_detail, name="plan-detail"),
    path("roadside/plans/<int:pk>/edit/", plans.plan_edit, name="plan-edit"),
    path("roadside/plans/<int:pk>/sheet/", plans.plan_sheet, name="plan-sheet"),
    path(
        "roadside/plans/<int:pk>/new-version/",
        plans.plan_new_version,
        name="plan-new-version",
    ),
    path("roadside/plans/<int:pk>/approve/", plans.plan_approve, name="plan-approve"),
    path("roadside/reckon/square/", reckoners.tool_square, name="tool-square"),
    path("roadside/reckon/spacing/", reckoners.tool_spacing, name="tool-spacing"),
    path("program/work/", workshop.work_settings, name="work-settings"),
    path("program/work/edit/", workshop.work_settings_edit, name="work-settings-edit"),
    path("roadside/curing/", workshop.curing_list, name="curing-list"),
    path("roadside/curing/add/", workshop.curing_add, name="curing-add"),
    path("roadside/curing/<int:pk>/", workshop.curing_detail, name="curing-detail"),
    path("roadside/curing/<int:pk>/edit/", workshop.curing_edit, name="curing-edit"),
]

# --- electrical tests --------------------------------------------------------------
urlpatterns += [
    path("roadside/tests/import/", test_sheets.tests_import, name="tests-import"),
]
