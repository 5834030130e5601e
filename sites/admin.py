"""For repair, not for daily work."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from sites.models import (
    Lane,
    Program,
    RoadProfile,
    Site,
    SiteSurvey,
    SurveyLimit,
    SurveySettings,
)


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


@admin.register(SiteSurvey)
class SiteSurveyAdmin(SimpleHistoryAdmin):
    """Surveys of sites and candidate places."""

    list_display = ["__str__", "study", "surveyed_on", "wanted_type"]
    list_select_related = ["wim_site", "lane__wim_site"]
    search_fields = ["place", "study", "wim_site__code"]


@admin.register(RoadProfile)
class RoadProfileAdmin(SimpleHistoryAdmin):
    """Road profiles; their samples are files."""

    list_display = ["file_name", "survey", "length_m", "interval_mm"]
    list_select_related = ["survey__wim_site", "survey__lane__wim_site"]


@admin.register(SurveySettings)
class SurveySettingsAdmin(SimpleHistoryAdmin):
    """The one row of thresholds."""

    list_display = ["__str__", "governing", "site_class_wanted"]


@admin.register(SurveyLimit)
class SurveyLimitAdmin(SimpleHistoryAdmin):
    """The agency's own limits of site standards."""

    list_display = ["standard", "key", "value", "source"]
    list_filter = ["standard"]
