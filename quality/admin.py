"""For repair, not for daily work."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from quality import models

for model in (
    models.ApiKey,
    models.BackCorrection,
    models.CheckLimit,
    models.DayReview,
    models.DriftEpisode,
    models.RecordFile,
    models.RecordImport,
    models.RecordReplacement,
    models.RecordSettings,
    models.ReportIssue,
    models.ReportJob,
    models.ReviewQuestion,
    models.SavedMapping,
    models.StationDescription,
):
    admin.site.register(model, SimpleHistoryAdmin)
