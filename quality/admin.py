"""For repair, not for daily work."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from quality.models import DayReview, RecordFile, RecordImport

admin.site.register(RecordFile, SimpleHistoryAdmin)
admin.site.register(DayReview, SimpleHistoryAdmin)
admin.site.register(RecordImport, SimpleHistoryAdmin)
