"""Changes of what is in the road, one module a part of the work."""

from installs.services.road import (
    ReadingInput,
    installation_end,
    sensor_install,
    sensor_save,
    technology_profile_save,
    test_record,
    tests_record_many,
    visit_save,
)

__all__ = [
    "ReadingInput",
    "installation_end",
    "sensor_install",
    "sensor_save",
    "technology_profile_save",
    "test_record",
    "tests_record_many",
    "visit_save",
]
