"""Reads of the roadside and of renewal, each in a bounded number of queries."""

from installs.selectors.electrical import (
    ElectricalFindings,
    InstallationTests,
    QuantityStory,
    TestRow,
    electrical_findings,
    electrical_judgements,
    installation_tests,
)
from installs.selectors.lives import (
    Expectation,
    LaneChance,
    chances_by_lane,
    fits_by_technology,
    installation_chance,
    life_page,
    life_rows,
    lives_by_technology,
    sensor_chances,
    sensors_in_service,
    technologies_by_lane,
    technology_expectations,
)
from installs.selectors.renewal import (
    Renewal,
    SensorRisk,
    TechnologyCurve,
    renewal_forecast,
)
from installs.selectors.roadside import (
    lanes_at_roadside,
    sensor_list,
    sensor_lives,
    sites_at_roadside,
    visit_list,
)

__all__ = [
    "ElectricalFindings",
    "Expectation",
    "InstallationTests",
    "LaneChance",
    "QuantityStory",
    "Renewal",
    "SensorRisk",
    "TechnologyCurve",
    "TestRow",
    "chances_by_lane",
    "electrical_findings",
    "electrical_judgements",
    "fits_by_technology",
    "installation_chance",
    "installation_tests",
    "lanes_at_roadside",
    "life_page",
    "life_rows",
    "lives_by_technology",
    "renewal_forecast",
    "sensor_chances",
    "sensor_list",
    "sensor_lives",
    "sensors_in_service",
    "sites_at_roadside",
    "technologies_by_lane",
    "technology_expectations",
    "visit_list",
]
