"""5,000 real vehicles, in two layouts, against the figures counted from their source.

Source: a public sample of a WIM database (open data, re-written as CSV and as W
records); the figures were counted from the source, not by this code. The files are not
kept in this repository: where they are absent these tests skip.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.classify import effective_class
from quality.calc.daily import daily_sums
from quality.records.detect import open_records
from quality.records.report import ReadReport
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS, matrix
from quality.records.w_layout import OpenField, WOptions
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

INPUTS = Path(__file__).resolve().parents[4] / "shared" / "inputs"
pytestmark = pytest.mark.skipif(
    not (INPUTS / "vehicles_metric.csv").exists(),
    reason="the real vehicles are not kept in this repository (../shared is absent)",
)


@pytest.fixture(scope="module")
def metric() -> tuple[pa.Table, ReadReport]:
    with open_records(INPUTS / "vehicles_metric.csv") as reader:
        return reader.read_all(), reader.report


@pytest.fixture(scope="module")
def pounds() -> tuple[pa.Table, ReadReport]:
    options = WOptions(open_field=OpenField.SPEED_MPH)
    with open_records(INPUTS / "vehicles_w2016.wgt", options=options) as reader:
        return reader.read_all(), reader.report


@pytest.mark.parametrize("name", ["metric", "pounds"])
def test_known_counts(name: str, request: pytest.FixtureRequest) -> None:
    table, report = request.getfixturevalue(name)
    assert (report.n_kept, report.n_refused) == (5000, 0)
    axles = np.bincount(np.asarray(table["n_axles"]))[2:].tolist()
    assert axles == [1762, 907, 266, 235, 1346, 101, 25, 358]
    lanes = {lane.lane_code: n for lane, n in report.lanes.items()}
    assert lanes == {"1": 724, "2": 1347, "3": 1213, "4": 1156, "5": 560}
    months = np.asarray(table["time"]).astype("M8[M]").astype(int) % 12 + 1
    assert np.bincount(months)[7:].tolist() == [611, 927, 848, 1075, 1031, 508]


def test_record_file_is_station_000901(pounds: tuple[pa.Table, ReadReport]) -> None:
    where = {
        (key.state_code, key.station_id, key.direction_code) for key in pounds[1].lanes
    }
    assert where == {("99", "000901", "3")}


def semitrailers(table: pa.Table) -> np.ndarray:
    """Six axles 1-2-3: gaps 2, 4 and 5 within 1.0–1.6 m and gap 3 over 2 m."""
    gaps = matrix(table, SPACING_COLUMNS)
    chosen = np.asarray(table["n_axles"]) == 6
    for gap in (1, 3, 4):
        chosen &= (gaps[:, gap] >= 0.9999) & (gaps[:, gap] <= 1.6001)
    return chosen & (gaps[:, 2] > 2.0)


def test_known_steering_axles_of_the_semitrailers(
    metric: tuple[pa.Table, ReadReport],
) -> None:
    table = metric[0]
    chosen = semitrailers(table)
    steering = np.asarray(table["w1_kg"])[chosen].astype(float)
    assert len(steering) == 1341
    assert steering.mean() == pytest.approx(5446, abs=0.5)
    assert steering.std(ddof=1) == pytest.approx(1117, abs=0.5)
    assert np.median(steering) == 5400
    gross = np.asarray(table["gvw_kg"])[chosen]
    for low, high, mean, n in (
        (0, 25_000, 5014, 654),
        (25_000, 38_000, 5665, 397),
        (38_000, 60_000, 6090, 286),
    ):
        band = (gross >= low) & (gross < high)
        assert band.sum() == n
        assert steering[band].mean() == pytest.approx(mean, abs=0.5)
    lane = np.array(table["lane_code"].to_pylist())[chosen]
    by_lane = [steering[lane == str(k)].mean() for k in range(1, 6)]
    assert by_lane == pytest.approx([5158, 5486, 5947, 5190, 5276], abs=0.5)
    tandem = matrix(table, SPACING_COLUMNS)[chosen, 1]
    assert tandem.mean() == pytest.approx(1.301, abs=0.0005)


def test_daily_sums_lose_no_vehicle(metric: tuple[pa.Table, ReadReport]) -> None:
    table = metric[0]
    daily = daily_sums(table)
    assert daily.by_day["n_vehicles"].sum() == 5000
    assert daily.by_class["n_vehicles"].sum() == 5000
    weights = np.asarray(table["w1_kg"], dtype=float)
    assert daily.by_class["steering_sum_kg"].sum() == pytest.approx(weights.sum())


def test_both_layouts_hold_the_same_vehicles(
    metric: tuple[pa.Table, ReadReport], pounds: tuple[pa.Table, ReadReport]
) -> None:
    """To within rounding: 1 lb, 0.1 ft, 1 mph, the hour."""
    m, p = (_ordered(table) for table in (metric[0], pounds[0]))
    assert (np.asarray(m["n_axles"]) == np.asarray(p["n_axles"])).all()
    assert m["lane_code"].to_pylist() == p["lane_code"].to_pylist()
    hour = np.asarray(m["time"]).astype("M8[h]")
    assert (hour == np.asarray(p["time"]).astype("M8[h]")).all()
    for columns, step in (
        (WEIGHT_COLUMNS, KG_PER_LB),
        (SPACING_COLUMNS, M_PER_FT / 10),
    ):
        left, right = matrix(m, columns), matrix(p, columns)
        assert (np.isnan(left) == np.isnan(right)).all()
        assert np.nanmax(np.abs(left - right)) <= step / 2 + 1e-3
    gross = np.abs(np.asarray(m["gvw_kg"]) - np.asarray(p["gvw_kg"]))
    # the record's gross is the sum of its rounded axles
    assert (gross <= np.asarray(m["n_axles"]) * KG_PER_LB / 2 + 0.01).all()
    speed = np.abs(np.asarray(m["speed_kmh"]) - np.asarray(p["speed_kmh"]))
    assert np.nanmax(speed) <= KMH_PER_MPH / 2 + 1e-3


def _ordered(table: pa.Table) -> pa.Table:
    """In one order that both layouts can tell: hour, lane, then rounded weights."""
    hour = np.asarray(table["time"]).astype("M8[h]").astype(np.int64)
    lane = np.array(table["lane_code"].to_pylist())
    pound = np.rint(np.nan_to_num(matrix(table, WEIGHT_COLUMNS)) / KG_PER_LB)
    tenth = np.rint(
        np.nan_to_num(matrix(table, SPACING_COLUMNS).astype(float)) / M_PER_FT * 10
    )
    keys = [*tenth.T[::-1], *pound.T[::-1], lane, hour]
    return table.take(pa.array(np.lexsort(keys)))


def test_classes_are_worked_out_alike_from_both_layouts(
    metric: tuple[pa.Table, ReadReport], pounds: tuple[pa.Table, ReadReport]
) -> None:
    """Axle counts alone fix the possible classes (FHWA 13-class scheme)."""
    table = metric[0]
    classes, n_worked_out = effective_class(table)
    assert n_worked_out == 5000
    n_axles = np.asarray(table["n_axles"])
    possible = {
        2: {0, 1, 2, 3, 4, 5}, 3: {0, 2, 3, 4, 5, 6, 8}, 4: {0, 2, 3, 5, 7, 8},
        5: {0, 3, 5, 7, 9, 11}, 6: {0, 10, 12},
    }  # fmt: skip
    for count, allowed in possible.items():
        assert set(classes[n_axles == count].tolist()) <= allowed
    assert (classes[n_axles >= 7] != 9).all()
    same, _ = effective_class(_ordered(pounds[0]))
    ours, _ = effective_class(_ordered(table))
    assert np.mean(same == ours) > 0.985  # rounding to 0.1 ft moves a few over a limit
