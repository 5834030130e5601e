"""What is in the road, how it was planned, and how it got there."""

from installs.models.cabinet import CabinetCheck, CabinetUnit
from installs.models.failures import DownSpell, FailureReport, VisitPhoto
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
    KeptPicture,
    Photo,
    ProductBatch,
    RecordLimit,
    SignOff,
)
from installs.models.renewing import (
    HazardEffect,
    LaneUse,
    PavementWork,
    RenewalSettings,
    TechnologyMoney,
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
from installs.models.sends import RoadsideSend
from installs.models.stores import Purchase, SparePart, StockEntry
from installs.models.templates import StageTemplate, TemplateItem, TemplateStage
from installs.models.work import (
    PreventiveDone,
    PreventiveRule,
    Trip,
    WorkItem,
)

__all__ = [
    "ArrayPlan",
    "CabinetCheck",
    "CabinetUnit",
    "CuringRow",
    "CuringTable",
    "Disposition",
    "DownSpell",
    "ElectricalLimit",
    "ElectricalTest",
    "FailureReport",
    "HazardEffect",
    "Installation",
    "InstallationRecord",
    "Instrument",
    "ItemEntry",
    "KeptPicture",
    "LaneUse",
    "MaintenanceVisit",
    "PavementWork",
    "Photo",
    "PlanElement",
    "PreventiveDone",
    "PreventiveRule",
    "ProductBatch",
    "Purchase",
    "Reading",
    "RecordLimit",
    "RenewalSettings",
    "RoadsideSend",
    "Sensor",
    "SensorModel",
    "SignOff",
    "SparePart",
    "StageTemplate",
    "StockEntry",
    "TechnologyMoney",
    "TechnologyProfile",
    "TemplateItem",
    "TemplateStage",
    "Trip",
    "VisitPhoto",
    "WorkItem",
    "WorkSettings",
]
