"""For repair, not for daily work."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from calibration.models import (
    CalibrationSession,
    SessionResult,
    StaticWeighing,
    TestVehicle,
    TruckRun,
)

for model in (TestVehicle, StaticWeighing, CalibrationSession, TruckRun):
    admin.site.register(model, SimpleHistoryAdmin)


@admin.register(SessionResult)
class SessionResultAdmin(admin.ModelAdmin):
    """Derived rows: to look at."""

    list_display = ("session", "stage", "n_runs", "verdict_word", "method_version")

    def has_add_permission(self, request):
        return False

    def has_change_permission(self, request, obj=None):
        return False
