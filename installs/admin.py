"""For repair, not for daily work; makes, models and limits are entered here too."""

from django.contrib import admin
from simple_history.admin import SimpleHistoryAdmin

from installs import models
from installs.models import (
    ElectricalLimit,
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Reading,
    Sensor,
    SensorModel,
    TechnologyProfile,
)


class LimitInline(admin.TabularInline):
    """The maker's limits, as the agency entered them."""

    model = ElectricalLimit
    extra = 1


class ReadingInline(admin.TabularInline):
    """What the meter showed."""

    model = Reading
    extra = 0


@admin.register(TechnologyProfile)
class TechnologyProfileAdmin(SimpleHistoryAdmin):
    """Expected lives and costs."""

    list_display = ["technology", "expected_life_years", "replacement_cost", "source"]


@admin.register(SensorModel)
class SensorModelAdmin(SimpleHistoryAdmin):
    """Makes and models with their limits."""

    list_display = ["maker", "name", "technology"]
    list_filter = ["technology"]
    inlines = [LimitInline]


@admin.register(Sensor)
class SensorAdmin(SimpleHistoryAdmin):
    """Sensors."""

    list_display = ["serial", "model", "lot"]
    list_select_related = ["model"]
    search_fields = ["serial", "lot"]


@admin.register(Installation)
class InstallationAdmin(SimpleHistoryAdmin):
    """Installations."""

    list_display = [
        "lane",
        "position",
        "sensor",
        "installed_on",
        "ended_on",
        "end_reason",
    ]
    list_select_related = ["lane__wim_site", "sensor__model"]
    list_filter = ["end_reason"]
    raw_id_fields = ["sensor", "lane"]


@admin.register(MaintenanceVisit)
class MaintenanceVisitAdmin(SimpleHistoryAdmin):
    """Visits."""

    list_display = ["wim_site", "arrived_at", "purpose", "people"]
    list_select_related = ["wim_site"]
    raw_id_fields = ["wim_site", "lane"]


@admin.register(ElectricalTest)
class ElectricalTestAdmin(SimpleHistoryAdmin):
    """Electrical tests with their readings."""

    list_display = ["installation", "tested_at", "stage", "tested_by"]
    list_select_related = ["installation__lane__wim_site"]
    raw_id_fields = ["installation", "visit"]
    inlines = [ReadingInline]


for model in (
    models.CabinetCheck,
    models.CabinetUnit,
    models.DownSpell,
    models.FailureReport,
    models.HazardEffect,
    models.LaneUse,
    models.PavementWork,
    models.PreventiveDone,
    models.PreventiveRule,
    models.Purchase,
    models.RenewalSettings,
    models.RoadsideSend,
    models.SparePart,
    models.StockEntry,
    models.TechnologyMoney,
    models.Trip,
    models.WorkItem,
):
    admin.site.register(model, SimpleHistoryAdmin)
