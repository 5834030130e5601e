"""Tables and sheets of the roadside, one module a part of the work."""

from installs.tables.records import RecordTable
from installs.tables.road import (
    RISK_HEADINGS,
    SENSOR_HEADINGS,
    RiskTable,
    SensorTable,
    VisitTable,
    risk_sheet,
    sensor_sheet,
)

__all__ = [
    "RISK_HEADINGS",
    "SENSOR_HEADINGS",
    "RecordTable",
    "RiskTable",
    "SensorTable",
    "VisitTable",
    "risk_sheet",
    "sensor_sheet",
]
