"""Tables and sheets of the roadside, one module a part of the work."""

from installs.tables.records import RecordTable
from installs.tables.road import (
    SENSOR_HEADINGS,
    SensorTable,
    VisitTable,
    sensor_sheet,
)

__all__ = [
    "SENSOR_HEADINGS",
    "RecordTable",
    "SensorTable",
    "VisitTable",
    "sensor_sheet",
]
