"""The seeded stage templates: each stands, and the polymer piezo proves what it must.

The figures are common practice without a source, as the trade hands them on: exit hole
about 18 in from the pavement's edge, about 1.5 in wide, at 45° or less, conduit at
least 4 in under; slot and sensor at least 2 in deep at one height; supports every 6 in;
air, chemicals and pavement above freezing; cure at least 30 min.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.conf import settings

from installs import cautions
from installs.calc.types import Technology, TestStage
from installs.calc.types.records import ItemKind, LimitRule, LimitSource
from installs.models import StageTemplate, TemplateItem, TemplateStage

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "stage_templates"
SEEDS = {path.stem: json.loads(path.read_text("utf-8")) for path in FOLDER.glob("*")}
WHOLE = sorted(name for name, seed in SEEDS.items() if "stages" in seed)
STAGES = [
    "layout", "exit-hole", "saw-cutting", "cleaning", "bench-test", "setting",
    "pouring", "finishing", "lead-in", "final-test", "traffic-check", "acceptance",
]  # fmt: skip
MM_PER_IN = 25.4


def items_of(name):
    return [item for stage in SEEDS[name]["stages"] for item in stage["items"]]


POLYMER = {item["key"]: item for item in items_of("polymer_piezo")}
STAGE_OF = {
    item["key"]: stage["key"]
    for stage in SEEDS["polymer_piezo"]["stages"]
    for item in stage["items"]
}


def test_every_technology_that_is_installed_has_its_stages():
    known = {seed["technology"] for seed in SEEDS.values()}
    assert known == {str(t) for t in Technology} - {Technology.TEMPERATURE_PROBE.value}
    for seed in SEEDS.values():
        whole = seed.get("copy_of", "polymer piezo").replace(" ", "_")
        assert whole in WHOLE


@pytest.mark.parametrize("name", WHOLE)
def test_each_seed_passes_the_models_own_checks(name):
    seed = SEEDS[name]
    template = StageTemplate(technology=seed["technology"], note=seed["note"])
    template.clean_fields()
    assert [stage["key"] for stage in seed["stages"]] == STAGES
    for number, stage in enumerate(seed["stages"], start=1):
        facts = {key: value for key, value in stage.items() if key != "items"}
        row = TemplateStage(template=template, number=number, **facts)
        row.full_clean(exclude=["template"], validate_constraints=False)
        assert set(stage["cautions"]) <= set(cautions.BY_KEY)
        for place, item in enumerate(stage["items"], start=1):
            made = TemplateItem(stage=row, number=place, **item)
            made.full_clean(exclude=["stage"], validate_constraints=False)
            low, high = item.get("low"), item.get("high")
            assert low is None or high is None or low <= high, item["key"]


@pytest.mark.parametrize("name", WHOLE)
def test_each_item_can_be_asked(name):
    asked: dict[str, dict] = {}
    for item in items_of(name):
        key, kind = item["key"], ItemKind(item["kind"])
        assert key not in asked, f"{key} twice"
        if kind is ItemKind.CHOICE:
            assert len(item["options"]) > 1, key
        if kind is ItemKind.SERIES:
            assert item["points"] > 1, key
        if kind in (ItemKind.MEASUREMENT, ItemKind.SERIES, ItemKind.TRIANGLE):
            assert bool(item.get("measure")) != bool(item.get("unit")), key
        if kind is ItemKind.READING:
            assert item["quantity"], key
            assert item["test_stage"], key
        if kind is ItemKind.PHOTO:
            assert item["least_photos"] >= 1, key
        if "only_if_key" in item:
            earlier = asked[item["only_if_key"]]
            answers = earlier.get("options") or ["yes", "no"]
            assert item["only_if_answer"] in answers, key
        if LimitSource(item.get("limit_source", LimitSource.COMMON_PRACTICE)) is not (
            LimitSource.COMMON_PRACTICE
        ):
            assert item["limit_reference"], f"{key} names no source"
        asked[key] = item


@pytest.mark.parametrize("name", WHOLE)
def test_no_number_of_ours_is_said_to_be_the_makers_or_the_contracts(name):
    for item in items_of(name):
        if {"low", "high", "largest_range"} & set(item):
            assert item.get("limit_source") not in ("maker", "contract"), item["key"]


@pytest.mark.parametrize("name", WHOLE)
def test_hidden_work_is_seen_by_two_and_the_engineer_accepts(name):
    roles = {stage["key"]: stage["sign_roles"] for stage in SEEDS[name]["stages"]}
    for hidden in ("exit-hole", "saw-cutting", "cleaning", "setting", "pouring"):
        assert set(roles[hidden]) == {"installer", "inspector"}
    assert roles["acceptance"] == ["engineer"]


@pytest.mark.parametrize(
    ("key", "low_in", "high_in"),
    [
        ("conduit-cover", 4.0, None),
        ("slot-depth", 2.0, None),
        ("sensor-depth", 2.0, None),
        ("support-gap", None, 6.0),
    ],
)
def test_common_practice_lengths(key, low_in, high_in):
    item = POLYMER[key]
    if low_in is not None:
        assert item["low"] == pytest.approx(low_in * MM_PER_IN)
    if high_in is not None:
        assert item["high"] == pytest.approx(high_in * MM_PER_IN)
    assert "limit_source" not in item, "common practice is the default source"


@pytest.mark.parametrize(
    ("key", "about_in"), [("hole-from-edge", 18.0), ("hole-diameter", 1.5)]
)
def test_common_practice_abouts_lie_in_their_windows(key, about_in):
    item = POLYMER[key]
    assert item["low"] < about_in * MM_PER_IN < item["high"]
    assert item["high"] - item["low"] < about_in * MM_PER_IN, "no window at all"


def test_common_practice_angle_cure_and_freezing():
    assert (POLYMER["hole-angle"]["high"], POLYMER["hole-angle"]["unit"]) == (45, "°")
    assert (POLYMER["cure-time"]["low"], POLYMER["cure-time"]["unit"]) == (30, "min")
    assert POLYMER["cure-time"]["limit_rule"] == LimitRule.CURING_TABLE
    for key in (
        "air-temperature-at-pour",
        "pavement-temperature-at-pour",
        "resin-temperature",
    ):
        assert 0 < POLYMER[key]["low"] < 5 / 9 + 1e-9, "33 °F passes, 32 °F does not"


def test_depth_along_the_sensor_is_judged_by_its_range_too():
    for key in ("slot-depth", "sensor-depth", "height-flush", "height-raised"):
        assert POLYMER[key]["points"] >= 5
        assert POLYMER[key]["largest_range"] > 0


PROOFS = {
    "layout": "reference-line-square stray-marks-struck place-off-drawing drawing-used",
    "exit-hole": "hole-in-line hole-from-edge hole-diameter hole-angle conduit-cover "
    "conduit-plugged",
    "saw-cutting": "blade-width-right cut-off-line cut-past-ends full-depth-at-ends "
    "slot-depth cutting-method water-running respirators-worn dust-blown-away",
    "cleaning": "cleaning-method washed-till-clear solvent-leaves-nothing blown-dry "
    "blown-away-from-people no-standing-water",
    "bench-test": "element-wiped clean-gloves supports-secured support-gap "
    "bench-insulation bench-capacitance bench-test-voltage",
    "setting": "sensor-level sensor-untwisted sensor-depth lead-drawn-by-hand "
    "lead-seated dam-set conduit-mouth-sealed tape-on-both-edges tape-raised",
    "pouring": "air-temperature-at-pour pavement-temperature-at-pour resin-temperature "
    "hardener-amount mixing-time pot-time poured-high-to-low topped-up-from-high "
    "excess-struck-off tape-pulled-in-time dam-pulled-in-time resin-batch",
    "finishing": "cure-time height-flush height-raised height-checked-again "
    "lead-slots-flush nothing-in-conduit sealant-batch",
    "traffic-check": "first-vehicles-seen vehicles-miscounted speed-held-against "
    "speed-difference truck-spacing spacing-difference",
}


@pytest.mark.parametrize("stage", sorted(PROOFS))
def test_the_polymer_piezo_proves_each_thing_at_its_stage(stage):
    for key in PROOFS[stage].split():
        assert STAGE_OF[key] == stage
        assert POLYMER[key].get("required", True), f"{key} may be left out"


def test_what_is_wet_is_not_asked_of_the_dry():
    def branch(key):
        return POLYMER[key]["only_if_key"], POLYMER[key]["only_if_answer"]

    assert branch("water-running") == ("cutting-method", "wet")
    assert branch("respirators-worn") == ("cutting-method", "dry")
    assert branch("tape-raised") == ("finish-wanted", "raised")
    assert branch("height-flush") == ("finish-wanted", "flush")


@pytest.mark.parametrize("name", WHOLE)
def test_readings_are_taken_from_the_bench_to_the_cabinet(name):
    stages = {item["test_stage"] for item in items_of(name) if item.get("test_stage")}
    assert {TestStage.BENCH.value, TestStage.AFTER_LEAD_IN.value} <= stages
    if "piezo" in name:
        assert {TestStage.IN_SLOT.value, TestStage.AFTER_GROUT.value} <= stages
    for item in items_of(name):
        if item.get("quantity") == "insulation resistance":
            assert item["low"] > 0


def test_speed_and_spacing_are_held_to_the_standard():
    """FHWA TMG 2022, App. D, Table D-1 (ASTM E1318-09): 1 mph and 0.5 ft."""
    assert POLYMER["speed-difference"]["high"] == pytest.approx(1.609344)
    assert POLYMER["spacing-difference"]["high"] == pytest.approx(6 * MM_PER_IN)
    assert POLYMER["speed-difference"]["limit_source"] == LimitSource.STANDARD
