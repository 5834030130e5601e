"""Addresses of the records and the reports."""

from django.urls import path

from quality.views import (
    days,
    drift,
    files,
    limits,
    mappings,
    replacements,
    report,
    review,
    using,
)

app_name = "quality"

urlpatterns = [
    path("records/", files.record_list, name="record-list"),
    path("records/import/", files.import_add, name="import-add"),
    path("records/import/<int:pk>/", files.import_detail, name="import-detail"),
    path("records/import/<int:pk>/mapping/", files.import_map, name="import-map"),
    path("records/import/<int:pk>/start/", files.import_start, name="import-start"),
    path(
        "records/import/<int:pk>/progress/",
        files.import_progress,
        name="import-progress",
    ),
    path(
        "records/import/<int:pk>/discard/", files.import_discard, name="import-discard"
    ),
    path(
        "records/files/<int:pk>/", files.record_file_detail, name="record-file-detail"
    ),
    path(
        "records/import/<int:pk>/held-days/",
        replacements.import_held_days,
        name="import-held-days",
    ),
    path("records/mappings/", mappings.mapping_list, name="mapping-list"),
    path(
        "records/mappings/<int:pk>/delete/",
        mappings.mapping_delete,
        name="mapping-delete",
    ),
    path(
        "records/import/<int:pk>/mapping/save/",
        mappings.mapping_save,
        name="mapping-save",
    ),
    path(
        "records/import/<int:pk>/mapping/use/",
        mappings.mapping_use,
        name="mapping-use",
    ),
    path("records/replaced/", replacements.replacement_list, name="replacement-list"),
    path(
        "records/replaced/<int:pk>/",
        replacements.replacement_detail,
        name="replacement-detail",
    ),
    path(
        "records/replaced/<int:pk>/undo/",
        replacements.replacement_undo,
        name="replacement-undo",
    ),
    path("records/review/", review.review_list, name="review-list"),
    path("records/review/decide/", review.review_decide, name="review-decide"),
    path(
        "records/review/accept/", review.review_accept_plain, name="review-accept-plain"
    ),
    path("records/review/<int:pk>/undo/", review.review_undo, name="review-undo"),
    path("records/review/later/", review.question_look, name="question-look"),
    path(
        "records/review/questions/<int:pk>/",
        review.question_answer,
        name="question-answer",
    ),
    path(
        "records/lanes/<int:pk>/evidence/",
        review.review_evidence,
        name="review-evidence",
    ),
    path("records/limits/", limits.limit_list, name="limit-list"),
    path("records/limits/drop/<int:pk>/", limits.limit_drop, name="limit-drop"),
    path("records/limits/<slug:key>/", limits.limit_detail, name="limit-detail"),
    path("records/limits/<slug:key>/edit/", limits.limit_edit, name="limit-edit"),
    path("records/drift/", drift.drift_list, name="drift-list"),
    path("records/drift/look/", drift.drift_look, name="drift-look"),
    path("records/drift/<int:pk>/", drift.drift_detail, name="drift-detail"),
    path("records/drift/<int:pk>/decide/", drift.drift_decide, name="drift-decide"),
    path(
        "records/drift/<int:pk>/correct/",
        drift.correction_propose,
        name="correction-propose",
    ),
    path(
        "records/corrections/<int:pk>/",
        drift.correction_answer,
        name="correction-answer",
    ),
    path("records/lanes/<int:pk>/days/", days.lane_days, name="lane-days"),
    path("records/lanes/<int:pk>/weeks/", days.lane_weeks, name="lane-weeks"),
    path("reports/", report.report, name="report"),
    path(
        "reports/<int:year>/<str:fmt>/", report.report_download, name="report-download"
    ),
    path("records/traffic/", using.traffic, name="traffic"),
    path("records/traffic/sheet/", using.traffic_sheet, name="traffic-sheet"),
    path("records/traffic/records/", using.traffic_records, name="traffic-records"),
    path("records/traffic/program/", using.traffic_program, name="traffic-program"),
]
