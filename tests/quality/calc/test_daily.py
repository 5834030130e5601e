"""Daily sums against plain addition."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from quality.calc.checks.record.physical_limits import CHECK as PHYSICAL_LIMITS
from quality.calc.checks.records import Records
from quality.calc.classify import RULES, UNCLASSIFIED, classify, effective_class
from quality.calc.daily import (
    HOUR_COLUMNS,
    combine,
    daily_sums,
    hours_of,
    with_hour_marks,
)
from quality.calc.day_figures import merged
from quality.calc.day_speeds import median_speed_kmh
from quality.calc.steering import weekly_steering
from quality.records.report import HourMark
from quality.records.schema import STORE_SCHEMA, LaneKey
from wimprog.lib.units import KG_PER_LB, M_PER_FT

LANE = LaneKey("99", "000101", "3", "1")


def vehicle(
    when: str,
    vehicle_class: int | None,
    weights_lb: list[float],
    spacings_ft: list[float],
    speed_kmh: float | None = 95.0,
) -> dict[str, object]:
    record: dict[str, object] = {
        "time": dt.datetime.fromisoformat(when),
        "vehicle_class": vehicle_class,
        "speed_kmh": speed_kmh,
        "gvw_kg": sum(weights_lb) * KG_PER_LB,
        "n_axles": len(weights_lb),
        "source_line": 1,
    }
    for k, weight in enumerate(weights_lb, start=1):
        record[f"w{k}_kg"] = weight * KG_PER_LB
    for k, spacing in enumerate(spacings_ft, start=1):
        record[f"s{k}_m"] = spacing * M_PER_FT
    return record


def table(*records: dict[str, object]) -> pa.Table:
    return pa.Table.from_pylist(list(records), schema=STORE_SCHEMA)


# 3-S2 at the federal limit of 80,000 lb, and one pound over
AT_LIMIT = ([12000, 17000, 17000, 17000, 17000], [17.0, 4.4, 33.0, 4.1])
OVER = ([12001, 17000, 17000, 17000, 17000], [17.0, 4.4, 33.0, 4.1])


def test_sums_by_class_and_day_are_plain_addition() -> None:
    records = table(
        vehicle("2031-05-12T00:59:59.999", 9, *AT_LIMIT),
        vehicle("2031-05-12T23:00", 9, *OVER),
        vehicle("2031-05-12T23:30", 5, [9000, 15000], [18.0]),
        vehicle("2031-05-14T07:00", 15, [9000, 15000], [18.0]),
    )
    daily = daily_sums(records)
    rows = daily.by_class.set_index(["date", "vehicle_class"])
    assert list(rows.index) == [
        (pd.Timestamp("2031-05-12"), 5),
        (pd.Timestamp("2031-05-12"), 9),
        (pd.Timestamp("2031-05-14"), 15),
    ]
    nine = rows.loc[(pd.Timestamp("2031-05-12"), 9)]
    assert nine["n_vehicles"] == 2
    assert nine["gvw_sum_kg"] == pytest.approx(160_001 * KG_PER_LB, rel=1e-7)
    assert nine["steering_sum_kg"] == pytest.approx(24_001 * KG_PER_LB, rel=1e-7)
    squares = (12_000**2 + 12_001**2) * KG_PER_LB**2
    assert nine["steering_sum_sq_kg2"] == pytest.approx(squares, rel=1e-6)
    assert nine["n_over_gross"] == 1
    days = daily.by_day.set_index("date")
    assert list(days["n_vehicles"]) == [3, 1]
    assert hours_of(int(days["hours_seen"].iloc[0])) == [0, 23]
    assert days.loc["2031-05-12", "h23"] == 2
    assert list(days["n_unclassified"]) == [0, 1]


def test_days_before_1970_are_not_shifted() -> None:
    daily = daily_sums(table(vehicle("1969-12-31T23:00", 9, *AT_LIMIT)))
    assert str(daily.by_day["date"].iloc[0].date()) == "1969-12-31"
    assert hours_of(int(daily.by_day["hours_seen"].iloc[0])) == [23]


def test_parts_add_up_to_the_whole() -> None:
    rng = np.random.default_rng(7)
    start = dt.datetime.fromisoformat("2031-05-12")
    records = [
        vehicle(
            str(start + dt.timedelta(minutes=int(rng.integers(0, 6000)))),
            int(rng.integers(1, 14)),
            [float(w) for w in rng.integers(5000, 18000, 5)],
            [17.0, 4.4, 33.0, 4.1],
        )
        for _ in range(300)
    ]
    whole = daily_sums(table(*records))
    parts = combine(daily_sums(table(*records[k::3])) for k in range(3))
    pd.testing.assert_frame_equal(
        parts.by_day.drop(columns="figures"), whole.by_day.drop(columns="figures")
    )
    pd.testing.assert_frame_equal(parts.by_class, whole.by_class)


def test_figures_of_parts_add_up_but_for_the_record_at_the_cut() -> None:
    rng = np.random.default_rng(8)
    speeds = rng.choice([88.0, 90.0, 101.0], 60)
    records = [
        vehicle(f"2031-05-12T08:{k:02d}", 9, *AT_LIMIT, speed_kmh=float(speeds[k]))
        for k in range(60)
    ]
    (whole,) = daily_sums(table(*records)).by_day["figures"]
    (parts,) = combine(
        [daily_sums(table(*records[:25])), daily_sums(table(*records[25:]))]
    ).by_day["figures"]
    assert parts["classes"] == whole["classes"] == [0] * 9 + [60] + [0] * 6
    assert parts["speed"] == whole["speed"]
    assert parts["speed"]["from"] == 44  # steps of 2 km/h
    counts = [int((speeds == speed).sum()) for speed in (88.0, 90.0, 101.0)]
    assert parts["speed"]["n"] == [*counts[:2], 0, 0, 0, 0, counts[2]]
    equal = int((np.diff(speeds) == 0).sum())
    assert whole["same"]["speed"][:2] == [equal, 59]
    assert parts["same"]["speed"][1] == 58
    assert whole["same"]["w1"] == [59, 59, 60]
    assert parts["same"]["w1"] == [58, 58, 35]
    for key, counted in whole["checks"].items():
        if key != "repeats":
            assert parts["checks"][key] == counted
    assert median_speed_kmh(whole) == pytest.approx(np.median(speeds), abs=1.0)


def test_days_without_figures_stay_without() -> None:
    assert merged([{}, None]) == {}
    assert np.isnan(median_speed_kmh({}))
    assert merged([{}, {"checks": {"repeats": [1, 9]}}]) == {
        "checks": {"repeats": [1, 9]}
    }


def test_no_records_make_no_days() -> None:
    daily = daily_sums(STORE_SCHEMA.empty_table())
    assert len(daily.by_day) == len(daily.by_class) == 0
    assert combine([]).by_day.columns.tolist() == daily.by_day.columns.tolist()
    assert combine([daily, daily]).by_day.empty


def test_a_marked_empty_hour_is_seen_and_a_missing_one_is_not() -> None:
    daily = daily_sums(table(vehicle("2031-05-12T08:00", 9, *AT_LIMIT)))
    marks = [
        HourMark(LANE, np.datetime64("2031-05-12T03", "h"), missing=False),
        HourMark(LANE, np.datetime64("2031-05-12T04", "h"), missing=True),
        HourMark(LANE, np.datetime64("2031-05-13T23", "h"), missing=False),
    ]
    days = with_hour_marks(daily, marks).by_day
    assert [hours_of(int(bits)) for bits in days["hours_seen"]] == [[3, 8], [23]]
    assert days["n_vehicles"].tolist() == [1, 0]
    assert days[list(HOUR_COLUMNS)].to_numpy().sum() == 1


@pytest.mark.parametrize(
    ("weights", "spacings", "expected"),
    [
        # facts of the LTPP rule set for the 3-S2 (from memory), at and beyond its edges
        (AT_LIMIT[0], [17.0, 4.4, 33.0, 4.1], 9),
        (AT_LIMIT[0], [6.0, 2.5, 6.3, 2.5], 9),
        (AT_LIMIT[0], [30.0, 6.29, 65.0, 11.99], 9),
        (AT_LIMIT[0], [30.1, 4.4, 33.0, 4.1], UNCLASSIFIED),
        (AT_LIMIT[0], [17.0, 4.4, 65.1, 4.1], UNCLASSIFIED),
        ([5000, 3800, 3800, 3700, 3700], [17.0, 4.4, 33.0, 4.1], 9),
        ([5000, 3800, 3800, 3700, 3600], [17.0, 4.4, 33.0, 4.1], UNCLASSIFIED),
        ([4900, 3800, 3800, 3800, 3800], [17.0, 4.4, 33.0, 4.1], UNCLASSIFIED),
        ([9000, 15000], [18.0], 5),
        ([2500, 5500], [13.3], 5),
        ([2000, 5990], [13.3], 3),
        ([2000, 2000], [9.0], 2),
        ([12000, 20000], [25.2], 4),
        ([14000, 16000, 16000], [16.0, 4.4], 6),
        ([12000, 15000, 15000, 11000, 11000, 11000], [16.0, 4.4, 24.0, 4.6, 4.6], 10),
    ],
)
def test_classes(weights: list[float], spacings: list[float], expected: int) -> None:
    records = table(vehicle("2031-05-12T08:00", None, weights, spacings))
    classes, n_worked_out = effective_class(records)
    assert (classes.tolist(), n_worked_out) == ([expected], 1)


def test_a_recorded_class_is_never_overruled() -> None:
    records = table(
        vehicle("2031-05-12T08:00", 13, *AT_LIMIT),
        vehicle("2031-05-12T08:00", None, *AT_LIMIT),
        vehicle("2031-05-12T08:00", 15, *AT_LIMIT),
    )
    classes, n_worked_out = effective_class(records)
    assert (classes.tolist(), n_worked_out) == ([13, 9, 15], 1)


def test_the_published_spacing_ranges_leave_no_hole() -> None:
    """Two-axle vehicles of 3,000 to 7,990 lb from 6.0 to 23.0 ft all get a class."""
    feet = np.arange(60, 231) / 10
    n = len(feet)
    classes = classify(
        n_axles=np.full(n, 2),
        spacings_m=(feet * M_PER_FT)[:, None],
        gvw_kg=np.full(n, 5000 * KG_PER_LB),
        steering_kg=np.full(n, 2500 * KG_PER_LB),
    )
    assert set(classes.tolist()) == {2, 3}
    assert all(rule.n_axles >= 2 for rule in RULES)


@pytest.mark.parametrize(
    ("record", "broken"),
    [
        (vehicle("2031-05-12T08:00", 9, *AT_LIMIT), False),
        (vehicle("2031-05-12T08:00", 9, *AT_LIMIT, speed_kmh=None), False),
        (vehicle("2031-05-12T08:00", 9, *AT_LIMIT, speed_kmh=190.0), True),
        (vehicle("2031-05-12T08:00", 9, *AT_LIMIT, speed_kmh=10.0), True),
        (vehicle("2031-05-12T08:00", 5, [25000, 15000], [18.0]), False),
        (vehicle("2031-05-12T08:00", 5, [25001, 15000], [18.0]), True),
        (vehicle("2031-05-12T08:00", 5, [9000, 0], [18.0]), True),
        (vehicle("2031-05-12T08:00", 5, [9000, 70000], [18.0]), False),
        (vehicle("2031-05-12T08:00", 5, [9000, 70001], [18.0]), True),
        (vehicle("2031-05-12T08:00", 5, [9000, 15000], [4.9]), True),
        (vehicle("2031-05-12T08:00", 5, [9000, 15000], [120.1]), True),
    ],
)
def test_physical_limits(record: dict[str, object], broken: bool) -> None:
    """NCHRP 683 limits from memory: 10–100 mph, axle to 70 kip, steering to 25 kip."""
    found = PHYSICAL_LIMITS.run(Records(table(record)), PHYSICAL_LIMITS.default_limit)
    assert found.broken.tolist() == [broken]


def test_weeks_run_monday_to_sunday_and_match_the_trucks_themselves() -> None:
    rng = np.random.default_rng(11)
    start = dt.datetime.fromisoformat("2031-05-10")  # a Saturday
    kept: dict[str, list[float]] = {}
    records = []
    for _ in range(400):
        when = start + dt.timedelta(minutes=int(rng.integers(0, 14 * 1440)))
        steering = float(rng.normal(11_000, 900))
        records.append(
            vehicle(
                str(when), 9, [round(steering), 15000, 15000, 14000, 14000], AT_LIMIT[1]
            )
        )
        monday = when.date() - dt.timedelta(days=when.weekday())
        kept.setdefault(str(monday), []).append(round(steering) * KG_PER_LB)
    records.append(vehicle("2031-05-12T08:00", 6, [14000, 16000, 16000], [16.0, 4.4]))
    weeks = weekly_steering(daily_sums(table(*records)).by_class, min_trucks=100)
    assert [str(w.date()) for w in weeks["week_on"]] == sorted(kept)
    for row in weeks.itertuples():
        trucks = np.array(kept[str(row.week_on.date())])
        assert row.n_vehicles == len(trucks)
        assert row.steering_mean_kg == pytest.approx(trucks.mean(), rel=1e-6)
        assert row.steering_sd_kg == pytest.approx(trucks.std(ddof=1), rel=1e-4)
        assert row.is_enough == (len(trucks) >= 100)
    assert weeks["is_enough"].tolist().count(False) >= 1


def test_one_truck_has_a_mean_and_no_spread() -> None:
    weeks = weekly_steering(
        daily_sums(table(vehicle("2031-05-12T08:00", 9, *AT_LIMIT))).by_class
    )
    assert weeks["n_vehicles"].tolist() == [1]
    assert np.isnan(weeks["steering_sd_kg"].iloc[0])
    assert not weeks["is_enough"].iloc[0]
