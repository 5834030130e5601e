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
from installs.selectors.electrical_rules import limits_by_model
from installs.selectors.life_curves import TechnologyCurve
from installs.selectors.lives import (
    Expectation,
    LaneChance,
    chances_by_lane,
    fits_by_technology,
    installation_chance,
    life_page,
    life_rows,
    lives_by_technology,
    program_today,
    sensor_chances,
    sensors_in_service,
    technologies_by_lane,
    technology_expectations,
)
from installs.selectors.plans import (
    PlanPage,
    curing_tables,
    layout_of,
    plan_page,
    plans_of_lane,
    work_settings_get,
)
from installs.selectors.quantities import (
    Quantities,
    quantities_of,
    work_figures,
)
from installs.selectors.record_facts import record_whole
from installs.selectors.records import (
    ItemView,
    RecordPage,
    StageView,
    record_list,
    record_page,
    registers,
    stage_view,
)
from installs.selectors.renewal import (
    Renewal,
    SensorRisk,
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
    "ItemView",
    "LaneChance",
    "PlanPage",
    "Quantities",
    "QuantityStory",
    "RecordPage",
    "Renewal",
    "SensorRisk",
    "StageView",
    "TechnologyCurve",
    "TestRow",
    "chances_by_lane",
    "curing_tables",
    "electrical_findings",
    "electrical_judgements",
    "fits_by_technology",
    "installation_chance",
    "installation_tests",
    "lanes_at_roadside",
    "layout_of",
    "life_page",
    "life_rows",
    "limits_by_model",
    "lives_by_technology",
    "plan_page",
    "plans_of_lane",
    "program_today",
    "quantities_of",
    "record_list",
    "record_page",
    "record_whole",
    "registers",
    "renewal_forecast",
    "sensor_chances",
    "sensor_list",
    "sensor_lives",
    "sensors_in_service",
    "sites_at_roadside",
    "stage_view",
    "technologies_by_lane",
    "technology_expectations",
    "visit_list",
    "work_figures",
    "work_settings_get",
]
