"""Addresses of the roadside and of renewal."""

from django.urls import path

from installs.views import (
    cabinet,
    failures,
    loop_reckoner,
    paper,
    photos,
    plans,
    purchases,
    reckoners,
    records,
    registers,
    reliability,
    renewal,
    renewal_settings,
    roadside,
    schedule,
    sends,
    sensor_models,
    sensors,
    stages,
    stores,
    technology,
    template_draft,
    templates,
    test_sheets,
    trips,
    visit_photos,
    visits,
    work,
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
    path(
        "roadside/plans/<int:pk>/quantities/",
        plans.plan_quantities,
        name="plan-quantities",
    ),
    path(
        "roadside/plans/<int:pk>/quantities/export/<str:fmt>/",
        plans.plan_quantities_export,
        name="plan-quantities-export",
    ),
    path("roadside/plans/<int:pk>/sheet/", plans.plan_sheet, name="plan-sheet"),
    path(
        "roadside/plans/<int:pk>/new-version/",
        plans.plan_new_version,
        name="plan-new-version",
    ),
    path("roadside/plans/<int:pk>/approve/", plans.plan_approve, name="plan-approve"),
    path("roadside/reckon/square/", reckoners.tool_square, name="tool-square"),
    path("roadside/reckon/spacing/", reckoners.tool_spacing, name="tool-spacing"),
    path("roadside/reckon/weather/", reckoners.tool_weather, name="tool-weather"),
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
    path("roadside/reckon/loop/", loop_reckoner.loop_expected, name="tool-loop"),
    path(
        "roadside/sensors/<int:pk>/data-sheet/",
        sensor_models.data_sheet,
        name="sensor-data-sheet",
    ),
    path("roadside/sensor-models/", sensor_models.model_list, name="sensor-model-list"),
    path(
        "roadside/sensor-models/add/", sensor_models.model_add, name="sensor-model-add"
    ),
    path(
        "roadside/sensor-models/<int:pk>/",
        sensor_models.model_detail,
        name="sensor-model-detail",
    ),
    path(
        "roadside/sensor-models/<int:pk>/edit/",
        sensor_models.model_edit,
        name="sensor-model-edit",
    ),
]

# --- installation records ----------------------------------------------------------
urlpatterns += [
    path("roadside/records/", records.record_list, name="record-list"),
    path("roadside/records/add/", records.record_add, name="record-add"),
    path("roadside/records/<int:pk>/", records.record_detail, name="record-detail"),
    path("roadside/records/<int:pk>/edit/", records.record_edit, name="record-edit"),
    path(
        "roadside/records/<int:pk>/accept/",
        records.record_accept,
        name="record-accept",
    ),
    path("roadside/records/<int:pk>/close/", records.record_close, name="record-close"),
    path(
        "roadside/records/<int:pk>/field-sheet.pdf",
        paper.record_sheet,
        name="record-sheet",
    ),
    path(
        "roadside/records/<int:pk>/as-built.pdf",
        paper.record_as_built,
        name="record-as-built",
    ),
    path(
        "roadside/records/<int:pk>/stages/<slug:slug>/",
        stages.record_stage,
        name="record-stage",
    ),
    path(
        "roadside/records/<int:pk>/stages/<slug:slug>/sign/",
        stages.stage_sign,
        name="stage-sign",
    ),
    path(
        "roadside/records/<int:pk>/stages/<slug:slug>/paper/",
        paper.record_paper,
        name="record-paper",
    ),
    path(
        "roadside/records/<int:pk>/items/<int:item>/answer/",
        stages.answer_save,
        name="answer-save",
    ),
    path(
        "roadside/records/<int:pk>/items/<int:item>/photo/",
        photos.photo_add,
        name="photo-add",
    ),
    path(
        "roadside/records/<int:pk>/items/<int:item>/limit/",
        stages.limit_edit,
        name="record-limit",
    ),
    path(
        "roadside/records/<int:pk>/entries/<int:entry>/decide/",
        stages.entry_dispose,
        name="entry-dispose",
    ),
    path(
        "roadside/photos/<int:pk>/strike-out/",
        photos.photo_strike,
        name="photo-strike",
    ),
    path("roadside/photos/<int:pk>/<str:size>/", photos.photo_file, name="photo-file"),
]

# --- stage templates, instruments, product batches ---------------------------------
urlpatterns += [
    path("roadside/instruments/", registers.instrument_list, name="instrument-list"),
    path("roadside/instruments/add/", registers.instrument_add, name="instrument-add"),
    path(
        "roadside/instruments/<int:pk>/edit/",
        registers.instrument_edit,
        name="instrument-edit",
    ),
    path("roadside/batches/", registers.batch_list, name="batch-list"),
    path("roadside/batches/add/", registers.batch_add, name="batch-add"),
    path("roadside/batches/<int:pk>/edit/", registers.batch_edit, name="batch-edit"),
    path("roadside/templates/", templates.template_list, name="template-list"),
    path("roadside/templates/seed/", templates.template_seed, name="template-seed"),
    path("roadside/templates/draft/", templates.template_draft, name="template-draft"),
    path(
        "roadside/templates/<int:pk>/",
        templates.template_detail,
        name="template-detail",
    ),
    path(
        "roadside/templates/<int:pk>/differences/",
        templates.template_differences,
        name="template-differences",
    ),
    path(
        "roadside/templates/<int:pk>/note/",
        templates.template_note,
        name="template-note",
    ),
    path(
        "roadside/templates/<int:pk>/use/", templates.template_use, name="template-use"
    ),
    path(
        "roadside/templates/<int:pk>/discard/",
        templates.template_discard,
        name="template-discard",
    ),
    path(
        "roadside/templates/<int:pk>/stages/add/",
        template_draft.stage_add,
        name="template-stage-add",
    ),
    path(
        "roadside/templates/stages/<int:pk>/",
        template_draft.stage_page,
        name="template-stage",
    ),
    path(
        "roadside/templates/stages/<int:pk>/edit/",
        template_draft.stage_edit,
        name="template-stage-edit",
    ),
    path(
        "roadside/templates/stages/<int:pk>/move/",
        template_draft.stage_move,
        name="template-stage-move",
    ),
    path(
        "roadside/templates/stages/<int:pk>/remove/",
        template_draft.stage_remove,
        name="template-stage-remove",
    ),
    path(
        "roadside/templates/stages/<int:pk>/items/add/",
        template_draft.item_add,
        name="template-item-add",
    ),
    path(
        "roadside/templates/items/<int:pk>/",
        template_draft.item_edit,
        name="template-item-edit",
    ),
    path(
        "roadside/templates/items/<int:pk>/move/",
        template_draft.item_move,
        name="template-item-move",
    ),
    path(
        "roadside/templates/items/<int:pk>/remove/",
        template_draft.item_remove,
        name="template-item-remove",
    ),
]

# --- sent from phones ----------------------------------------------------------------
urlpatterns += [
    path("roadside/sending/", sends.send_list, name="send-list"),
    path("roadside/sending/token/", sends.send_token, name="send-token"),
    path("roadside/sending/<int:pk>/", sends.send_clash, name="send-clash"),
]

# --- visits and the cabinet ----------------------------------------------------------
urlpatterns += [
    path(
        "roadside/visits/<int:pk>/photo/",
        visit_photos.photo_add,
        name="visit-photo-add",
    ),
    path(
        "roadside/visit-photos/<int:pk>/strike-out/",
        visit_photos.photo_strike,
        name="visit-photo-strike",
    ),
    path(
        "roadside/visit-photos/<int:pk>/<str:size>/",
        visit_photos.photo_file,
        name="visit-photo-file",
    ),
    path("roadside/down/<int:pk>/edit/", visits.down_edit, name="down-edit"),
    path("roadside/cabinets/<int:pk>/", cabinet.cabinet, name="cabinet"),
    path(
        "roadside/cabinets/<int:pk>/units/add/",
        cabinet.unit_add,
        name="cabinet-unit-add",
    ),
    path(
        "roadside/cabinet-units/<int:pk>/end/",
        cabinet.unit_end,
        name="cabinet-unit-end",
    ),
]

# --- work, trips, preventive schedule ------------------------------------------------
urlpatterns += [
    path("roadside/work/", work.work_list, name="work-list"),
    path("roadside/work/export/<str:fmt>/", work.work_export, name="work-export"),
    path("roadside/work/add/", work.work_add, name="work-add"),
    path("roadside/work/<int:pk>/", work.work_detail, name="work-detail"),
    path("roadside/work/<int:pk>/edit/", work.work_edit, name="work-edit"),
    path("roadside/work/<int:pk>/<slug:act>/", work.work_act, name="work-act"),
    path("roadside/trips/", trips.trip_list, name="trip-list"),
    path("roadside/trips/proposed/", trips.trip_proposed, name="trip-proposed"),
    path("roadside/trips/add/", trips.trip_add, name="trip-add"),
    path("roadside/trips/<int:pk>/", trips.trip_detail, name="trip-detail"),
    path("roadside/trips/<int:pk>/edit/", trips.trip_edit, name="trip-edit"),
    path("roadside/trips/<int:pk>/call-off/", trips.trip_off, name="trip-off"),
    path("roadside/schedule/", schedule.rule_schedule, name="rule-schedule"),
    path("roadside/schedule/rules/", schedule.rule_list, name="rule-list"),
    path("roadside/schedule/rules/add/", schedule.rule_add, name="rule-add"),
    path("roadside/schedule/rules/start/", schedule.rules_seed, name="rules-seed"),
    path(
        "roadside/schedule/rules/<int:pk>/edit/", schedule.rule_edit, name="rule-edit"
    ),
    path(
        "roadside/schedule/rules/<int:pk>/done/<str:code>/",
        schedule.rule_done,
        name="rule-done",
    ),
]

# --- failures ------------------------------------------------------------------------
urlpatterns += [
    path("roadside/failures/", failures.failures, name="failure-list"),
    path("roadside/failures/<int:pk>/", failures.failure_detail, name="failure-detail"),
    path(
        "roadside/failures/<int:pk>/edit/", failures.failure_edit, name="failure-edit"
    ),
    path(
        "roadside/failures/<int:pk>/claim/",
        failures.failure_claim_set,
        name="failure-claim",
    ),
    path(
        "roadside/failures/<int:pk>/sheet/",
        failures.failure_sheet,
        name="failure-sheet",
    ),
    path(
        "roadside/installations/<int:installation>/failure/",
        failures.failure_add,
        name="failure-add",
    ),
]

# --- renewal -------------------------------------------------------------------------
urlpatterns += [
    path("renewal/reliability/", reliability.reliability_page, name="reliability"),
    path(
        "renewal/reliability/export/<str:fmt>/",
        reliability.reliability_export,
        name="reliability-export",
    ),
    path("renewal/curves/", renewal.curves, name="renewal-curves"),
    path("renewal/past/", renewal.past, name="renewal-past"),
    path("renewal/policies/", renewal.policies, name="renewal-policies"),
    path("renewal/programme/<str:fmt>/", renewal.programme, name="programme"),
    path(
        "renewal/settings/", renewal_settings.renewal_settings, name="renewal-settings"
    ),
    path(
        "renewal/settings/edit/",
        renewal_settings.renewal_settings_edit,
        name="renewal-settings-edit",
    ),
    path(
        "renewal/settings/technologies/<slug:slug>/expectation/",
        renewal_settings.expectation_edit,
        name="expectation-edit",
    ),
    path(
        "renewal/settings/technologies/<slug:slug>/expectation/back/",
        renewal_settings.expectation_back,
        name="expectation-back",
    ),
    path(
        "renewal/settings/technologies/<slug:slug>/money/",
        renewal_settings.money_edit,
        name="money-edit",
    ),
    path(
        "renewal/settings/technologies/<slug:slug>/money/back/",
        renewal_settings.money_back,
        name="money-back",
    ),
    path(
        "renewal/settings/effects/<slug:slug>/",
        renewal_settings.effect_edit,
        name="effect-edit",
    ),
    path(
        "renewal/settings/effects/<slug:slug>/back/",
        renewal_settings.effect_back,
        name="effect-back",
    ),
    path("renewal/works/", renewal_settings.pavement_list, name="pavement-list"),
    path("renewal/works/add/", renewal_settings.pavement_add, name="pavement-add"),
    path(
        "renewal/works/<int:pk>/edit/",
        renewal_settings.pavement_edit,
        name="pavement-edit",
    ),
    path(
        "renewal/works/<int:pk>/take-off/",
        renewal_settings.pavement_remove,
        name="pavement-remove",
    ),
]

# --- the store and purchases ---------------------------------------------------------
urlpatterns += [
    path("renewal/store/", stores.store_list, name="store-list"),
    path("renewal/store/export/<str:fmt>/", stores.store_export, name="store-export"),
    path("renewal/store/add/", stores.spare_add, name="spare-add"),
    path("renewal/store/<int:pk>/", stores.spare_detail, name="spare-detail"),
    path("renewal/store/<int:pk>/edit/", stores.spare_edit, name="spare-edit"),
    path("renewal/store/<int:pk>/book/", stores.stock_add, name="stock-add"),
    path("renewal/purchases/", purchases.purchases, name="purchase-list"),
    path("renewal/purchases/add/", purchases.purchase_add, name="purchase-add"),
    path(
        "renewal/purchases/<int:pk>/", purchases.purchase_detail, name="purchase-detail"
    ),
    path(
        "renewal/purchases/<int:pk>/edit/",
        purchases.purchase_edit,
        name="purchase-edit",
    ),
    path(
        "renewal/purchases/<int:pk>/sensors/",
        purchases.purchase_sensors_edit,
        name="purchase-sensors",
    ),
]

# --- which technology for a lane -----------------------------------------------------
urlpatterns += [
    path("renewal/technology/", technology.technology_list, name="technology-list"),
    path(
        "renewal/technology/lanes/<int:lane>/",
        technology.technology_lane,
        name="technology-lane",
    ),
    path(
        "renewal/technology/lanes/<int:lane>/paper.pdf",
        technology.technology_lane_paper,
        name="technology-lane-paper",
    ),
    path(
        "renewal/technology/lanes/<int:lane>/uses/",
        technology.lane_uses_edit,
        name="lane-uses-edit",
    ),
    path(
        "renewal/technology/surveys/<int:pk>/",
        technology.technology_survey,
        name="technology-survey",
    ),
    path(
        "renewal/technology/surveys/<int:pk>/paper.pdf",
        technology.technology_survey_paper,
        name="technology-survey-paper",
    ),
]
