"""What is in the road, how it was planned, and how it got there."""

from installs.models.plans import (
    ArrayPlan,
    CuringRow,
    CuringTable,
    PlanElement,
    WorkSettings,
)
from installs.models.records import (
    Disposition,
    InstallationRecord,
    Instrument,
    ItemEntry,
    Photo,
    ProductBatch,
    RecordLimit,
    SignOff,
)
from installs.models.road import (
    ElectricalLimit,
    ElectricalTest,
    Installation,
    MaintenanceVisit,
    Reading,
    Sensor,
    SensorModel,
    TechnologyProfile,
)
from installs.models.templates import StageTemplate, TemplateItem, TemplateStage

__all__ = [
    "ArrayPlan",
    "CuringRow",
    "CuringTable",
    "Disposition",
    "ElectricalLimit",
    "ElectricalTest",
    "Installation",
    "InstallationRecord",
    "Instrument",
    "ItemEntry",
    "MaintenanceVisit",
    "Photo",
    "PlanElement",
    "ProductBatch",
    "Reading",
    "RecordLimit",
    "Sensor",
    "SensorModel",
    "SignOff",
    "StageTemplate",
    "TechnologyProfile",
    "TemplateItem",
    "TemplateStage",
    "WorkSettings",
]
