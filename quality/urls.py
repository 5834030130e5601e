"""Addresses of the records and the reports."""

from django.urls import path

from quality import views

app_name = "quality"

urlpatterns = [
    path("records/", views.record_list, name="record-list"),
    path("records/import/", views.import_add, name="import-add"),
    path("records/import/<int:pk>/", views.import_detail, name="import-detail"),
    path("records/import/<int:pk>/mapping/", views.import_map, name="import-map"),
    path("records/import/<int:pk>/start/", views.import_start, name="import-start"),
    path(
        "records/import/<int:pk>/progress/",
        views.import_progress,
        name="import-progress",
    ),
    path(
        "records/import/<int:pk>/discard/", views.import_discard, name="import-discard"
    ),
    path(
        "records/files/<int:pk>/", views.record_file_detail, name="record-file-detail"
    ),
    path("records/review/", views.review_list, name="review-list"),
    path("records/review/decide/", views.review_decide, name="review-decide"),
    path("records/lanes/<int:pk>/days/", views.lane_days, name="lane-days"),
    path("records/lanes/<int:pk>/weeks/", views.lane_weeks, name="lane-weeks"),
    path("reports/", views.report, name="report"),
    path(
        "reports/<int:year>/<str:fmt>/", views.report_download, name="report-download"
    ),
]
