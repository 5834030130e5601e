"""For repair, not for daily work."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from sites.models import Lane, Program, Site


@admin.register(Program)
class ProgramAdmin(SimpleHistoryAdmin):
    """The one row of settings."""

    list_display = ["name", "unit_system", "time_zone"]


@admin.register(Site)
class SiteAdmin(SimpleHistoryAdmin):
    """Sites."""

    list_display = ["code", "route", "state", "in_service_on"]
    list_filter = ["state"]
    search_fields = ["code", "name", "route", "station_id"]


@admin.register(Lane)
class LaneAdmin(SimpleHistoryAdmin):
    """Lanes."""

    list_display = ["__str__", "direction", "number", "opened_on", "closed_on"]
    list_select_related = ["wim_site"]
    search_fields = ["wim_site__code"]
