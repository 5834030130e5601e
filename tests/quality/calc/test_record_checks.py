"""Checks of single records: each fault is found, its neighbours are not."""

from __future__ import annotations

import datetime as dt
import importlib
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

import quality.calc.checks.record as record_folder
from quality.calc.checks import CHECKS, RECORD_CHECKS, Records, Weight, propose
from quality.calc.checks.discovery import checks_in, lane_day_checks, record_checks
from quality.calc.checks.kinds import RecordCheck, RecordResult
from quality.calc.checks.lane_days import LaneDays
from quality.calc.daily import daily_sums
from quality.records.schema import STORE_SCHEMA, TimeResolution, with_resolution
from wimprog.lib.units import KG_PER_LB, M_PER_FT

BY_KEY = {check.key: check for check in RECORD_CHECKS}
SEMI = ([12_000, 17_000, 17_000, 17_000, 17_000], [17.0, 4.4, 33.0, 4.1])
CAR = ([2_000, 1_800], [9.0])


def vehicle(
    weights_lb: list[float],
    spacings_ft: list[float],
    *,
    at: str = "2031-05-12T08:00:00",
    **changes: Any,
) -> dict[str, Any]:
    record: dict[str, Any] = {
        "time": dt.datetime.fromisoformat(at),
        "vehicle_class": 9,
        "speed_kmh": 96.0,
        "gvw_kg": sum(weights_lb) * KG_PER_LB,
        "n_axles": len(weights_lb),
        "source_line": 1,
    }
    for k, weight in enumerate(weights_lb, start=1):
        record[f"w{k}_kg"] = weight * KG_PER_LB
    for k, spacing in enumerate(spacings_ft, start=1):
        record[f"s{k}_m"] = spacing * M_PER_FT
    return record | changes


def table(*records: dict[str, Any], instants: bool = False) -> pa.Table:
    resolution = TimeResolution.INSTANT if instants else TimeResolution.HOUR
    schema = with_resolution(STORE_SCHEMA, resolution)
    return pa.Table.from_pylist(list(records), schema=schema)


def run(key: str, *records: dict[str, Any], limit: float | None = None) -> RecordResult:
    check = BY_KEY[key]
    wanted = check.default_limit if limit is None else limit
    return check.run(Records(table(*records)), wanted)


@pytest.mark.parametrize(
    ("key", "record", "broken", "value"),
    [
        ("sum-of-axles", vehicle(*SEMI), False, 0.0),
        ("sum-of-axles", vehicle(*SEMI, gvw_kg=87_900 * KG_PER_LB), False, 9.875),
        ("sum-of-axles", vehicle(*SEMI, gvw_kg=88_100 * KG_PER_LB), True, 10.125),
        ("sum-of-axles", vehicle(*SEMI, gvw_kg=71_900 * KG_PER_LB), True, 10.125),
        ("axle-count", vehicle(*SEMI), False, 0),
        ("axle-count", vehicle(*SEMI, s4_m=None), True, 1),
        ("axle-count", vehicle(*SEMI, w6_kg=4000.0, s5_m=1.3), True, 2),
        ("axle-count", vehicle(*SEMI, n_axles=4), True, 2),
        ("physical-limits", vehicle(*SEMI), False, 0),
        ("physical-limits", vehicle(*SEMI, speed_kmh=190.0), True, 1),
        ("vehicle-class", vehicle(*SEMI), False, 0),
        ("vehicle-class", vehicle(*SEMI, vehicle_class=8), True, 1),
        ("vehicle-class", vehicle(*SEMI, vehicle_class=None), False, np.nan),
        ("vehicle-class", vehicle(*SEMI, vehicle_class=15), False, np.nan),
        ("vehicle-class", vehicle([9_000, 9_000], [50.0]), False, np.nan),
        ("weight-unit", vehicle(*SEMI), False, 0.3224),  # ln(12/9.3)/ln(2.2046)
        ("weight-unit", vehicle(*SEMI, w1_kg=12_000.0), True, 1.3224),
        ("weight-unit", vehicle(*SEMI, w1_kg=9_300 * KG_PER_LB**2), True, 1.0),
        ("weight-unit", vehicle(*CAR), False, np.nan),
        ("spacing-unit", vehicle(*SEMI), False, 0.0498),  # ln(4.35/4.1)/ln(3.2808)
        ("spacing-unit", vehicle(*SEMI, s2_m=4.4, s4_m=4.1, s3_m=33.0), True, 0.9502),
        ("spacing-unit", vehicle(*CAR), False, np.nan),
        ("left-right", vehicle(*SEMI, left_right_imbalance_pct=None), False, np.nan),
        ("left-right", vehicle(*SEMI, left_right_imbalance_pct=-41.0), True, 41.0),
        ("left-right", vehicle(*SEMI, left_right_imbalance_pct=40.0), False, 40.0),
    ],
)
def test_a_record_alone(
    key: str, record: dict[str, Any], broken: bool, value: float
) -> None:
    result = run(key, record)
    assert result.broken.tolist() == [broken]
    assert result.tested.tolist() == [not np.isnan(value)]
    assert result.value[0] == pytest.approx(value, abs=2e-3, nan_ok=True)


@pytest.mark.parametrize(
    ("key", "at_limit", "above"),
    [
        # 20,000, 34,000 and 80,000 lb (23 U.S.C. 127): at the limit is not above it
        ("legal-single", ([20_000, 9_000], [15.0]), ([20_001, 9_000], [15.0])),
        ("legal-tandem", SEMI, ([12_000, 17_000, 17_001, 17_000, 17_000], SEMI[1])),
        ("legal-gross", SEMI, ([12_001, 17_000, 17_000, 17_000, 17_000], SEMI[1])),
        # 51,000 lb on 20 ft of three axles
        ("bridge-formula", ([17_000] * 3, [10.0, 10.0]),
         ([17_001, 17_000, 17_000], [10.0, 10.0])),
    ],
)  # fmt: skip
def test_legal_limits(key: str, at_limit: Any, above: Any) -> None:
    result = run(key, vehicle(*at_limit), vehicle(*above))
    assert result.broken.tolist() == [False, True]
    # the agency's own limit, 1 lb higher
    own = BY_KEY[key].default_limit + KG_PER_LB
    assert not run(key, vehicle(*above), limit=own).broken.any()


def test_repeats_need_every_value_and_three_axles() -> None:
    other = vehicle(*SEMI, w3_kg=16_900 * KG_PER_LB, w2_kg=17_100 * KG_PER_LB)
    result = run(
        "repeats",
        vehicle(*SEMI), vehicle(*SEMI), other, vehicle(*SEMI),
        vehicle(*SEMI, speed_kmh=97.0), vehicle(*CAR), vehicle(*CAR),
    )  # fmt: skip
    assert result.tested.tolist() == [False] + [True] * 6
    assert result.value[1:].tolist() == [5, 0, 0, 0, 0, 2]
    assert np.flatnonzero(result.broken).tolist() == [1]


def test_headways_need_instants() -> None:
    """58.5 ft at 96 km/h (26.67 m/s) take 0.669 s to pass."""
    ahead = vehicle(*SEMI, at="2031-05-12T08:00:00.000")
    close = vehicle(*SEMI, at="2031-05-12T08:00:00.600")
    behind = vehicle(*SEMI, at="2031-05-12T08:00:01.300")
    check = BY_KEY["headway"]
    records = table(behind, ahead, close, instants=True)  # in any order
    result = check.run(Records(records), check.default_limit)
    assert result.tested.tolist() == [True, False, True]
    assert result.broken.tolist() == [False, False, True]
    assert result.value[2] == pytest.approx(0.669 - 0.601, abs=2e-3)
    assert not check.run(Records(table(ahead, close)), 0.0).tested.any()
    # whole seconds: a vehicle a second later may have come 1.999 s later
    whole = table(ahead, vehicle(*SEMI, at="2031-05-12T08:00:00"), instants=True)
    assert not check.run(Records(whole), 0.0).broken.any()
    blind = table(ahead | {"speed_kmh": None}, close, instants=True)
    assert not check.run(Records(blind), 0.0).tested.any()


def test_a_day_read_in_the_wrong_unit_is_set_aside() -> None:
    """Pounds taken as kilograms, feet as metres; and a day in the right units."""
    rng = np.random.default_rng(3)
    records = []
    for day, (kg, metre) in enumerate([(1, 1), (1 / KG_PER_LB, 1), (1, 1 / M_PER_FT)]):
        for _ in range(200):
            weights = [round(float(w)) for w in rng.normal(10_500, 1_000, 5)]
            one = vehicle(weights, SEMI[1], at=f"2031-05-{12 + day}T08:00")
            for name, value in one.items():
                if name.endswith("_kg"):
                    one[name] = value * kg
                elif name.endswith("_m"):
                    one[name] = value * metre
            records.append(one)
    proposals = propose(LaneDays.from_frame(daily_sums(table(*records)).by_day))
    found = [{finding.key for finding in one.findings} for one in proposals]
    assert found[0] == set()
    assert "weight-unit-share" in found[1]
    assert "spacing-unit-share" not in found[1]
    assert "spacing-unit-share" in found[2]
    assert "weight-unit-share" not in found[2]
    assert "200 of 200 vehicles" in proposals[1].reason
    assert "pounds and kilograms" in proposals[1].reason


def test_agencys_limits_reach_the_days_counts() -> None:
    records = table(*[vehicle(*SEMI, gvw_kg=83_000 * KG_PER_LB)] * 3)
    (plain,) = daily_sums(records).by_day["figures"]
    (strict,) = daily_sums(records, limits={"sum-of-axles": 3.0}).by_day["figures"]
    assert plain["checks"]["sum-of-axles"] == [0, 3]
    assert strict["checks"]["sum-of-axles"] == [3, 3]
    assert "headway" not in plain["checks"]  # hours only: no data
    assert "left-right" not in plain["checks"]


def test_days_taken_in_before_these_checks_have_no_data() -> None:
    records = table(*[vehicle(*SEMI, gvw_kg=1_000.0)] * 300)
    by_day = daily_sums(records).by_day
    (proposal,) = propose(LaneDays.from_frame(by_day))
    assert "sum-of-axles-share" in {one.key for one in proposal.findings}
    for old in (by_day.drop(columns="figures"), by_day.assign(figures=[{}])):
        (proposal,) = propose(LaneDays.from_frame(old))
        assert {one.key for one in proposal.findings} <= {"implausible"}


def test_no_records_and_one_record_break_no_check() -> None:
    for records in (table(), table(vehicle(*CAR)), table(vehicle([9_000.0], []))):
        for check in RECORD_CHECKS:
            result = check.run(Records(records), check.default_limit)
            for part in (result.broken, result.tested, result.value):
                assert len(part) == records.num_rows


def test_every_check_tells_its_level_limit_source_and_sentence() -> None:
    for check in (*RECORD_CHECKS, *CHECKS):
        assert check.title
        assert check.unit
        assert check.source
        assert check.standing in {
            "confirmed", "from memory", "our own simulation",
            "common practice, no source",
        }  # fmt: skip
        assert check.sentence
        assert np.isfinite(check.default_limit)
    assert {check.level for check in RECORD_CHECKS} == {"record"}
    assert {check.level for check in CHECKS} == {"lane-day"}


NEW_CHECK = """
import numpy as np
from quality.calc.checks.kinds import DayShare, RecordCheck, RecordResult, Weight

def odd_pounds(records, limit):
    pounds = np.rint(records.column("gvw_kg") / 0.45359237)
    return RecordResult.above((pounds % 2).astype(np.float32), limit)

CHECK = RecordCheck(
    key="odd-pounds", title="Odd pounds", unit="lb", default_limit=0.5,
    source="this test", standing="common practice, no source",
    sentence="weigh an odd number of pounds", run=odd_pounds,
    day_share=DayShare(0.5, Weight.LOOK, "this test", "common practice, no source"),
)
"""


def test_adding_a_check_touches_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file in the folder is all: found, counted by day, proposed, limited."""
    (tmp_path / "odd_pounds.py").write_text(NEW_CHECK)
    monkeypatch.setattr(
        record_folder, "__path__", [*record_folder.__path__, str(tmp_path)]
    )
    monkeypatch.setattr(sys, "path_importer_cache", {})
    importlib.invalidate_caches()
    name = f"{record_folder.__name__}.odd_pounds"
    try:
        found = record_checks()
        assert {one.key for one in found} - set(BY_KEY) == {"odd-pounds"}
        monkeypatch.setattr("quality.calc.daily.RECORD_CHECKS", found)
        odd = vehicle([9_000, 9_001], [15.0], vehicle_class=5)
        by_day = daily_sums(table(*[odd] * 40, vehicle(*SEMI))).by_day
        assert by_day["figures"][0]["checks"]["odd-pounds"] == [40, 41]
        days, checks = LaneDays.from_frame(by_day), lane_day_checks(found)
        (proposal,) = propose(days, checks=checks)
        (finding,) = [f for f in proposal.findings if f.key == "odd-pounds-share"]
        assert finding.weight is Weight.LOOK
        assert "40 of 41 vehicles" in finding.sentence
        assert "weigh an odd number of pounds, limit 50.0 %" in finding.sentence
        (proposal,) = propose(days, checks=checks, limits={"odd-pounds-share": 0.99})
        assert "odd-pounds-share" not in {f.key for f in proposal.findings}
    finally:
        sys.modules.pop(name, None)


def test_a_file_without_a_check_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "empty_one.py").write_text("CHECK = None\n")
    monkeypatch.setattr(
        record_folder, "__path__", [*record_folder.__path__, str(tmp_path)]
    )
    try:
        with pytest.raises(ValueError, match="empty_one has no CHECK"):
            checks_in(record_folder, RecordCheck)
    finally:
        sys.modules.pop(f"{record_folder.__name__}.empty_one", None)
