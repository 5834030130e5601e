"""A lane-week's figures of 1,341 real semitrailers, counted from their source.

Six-axle 1-2-3 semitrailers of a public sample of a WIM database (open data). The file
is not kept in this repository: where it is absent these tests skip.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.axle_groups import AxleKind, axle_groups
from quality.calc.class9_week import TruckKind, WeekSettings, is_of_kind, week_figures
from quality.calc.classify import effective_class
from quality.calc.esals import FlexiblePavement, vehicle_esals
from quality.calc.load_spectra import load_spectra
from quality.calc.overweight import overweight
from quality.calc.steering import GrossBand
from quality.records.detect import open_records
from quality.records.schema import WEIGHT_COLUMNS, matrix

SOURCE = Path(__file__).resolve().parents[4] / "shared/inputs/vehicles_metric.csv"
pytestmark = pytest.mark.skipif(
    not SOURCE.exists(),
    reason="the real vehicles are not kept in this repository (../shared is absent)",
)

TANDEM_M = (1.0, 1.6)
SIX_AXLES = TruckKind(
    "six-axle semitrailer 1-2-3",
    None,
    ((0.0, 20.0), TANDEM_M, (2.01, 30.0), TANDEM_M, TANDEM_M),
)
BANDS = (GrossBand(0, 25_000), GrossBand(25_000, 38_000), GrossBand(38_000, 60_000))


@pytest.fixture(scope="module")
def table() -> pa.Table:
    with open_records(SOURCE) as reader:
        return reader.read_all()


def test_known_figures_of_the_semitrailers(table: pa.Table) -> None:
    found = week_figures(table, settings=WeekSettings(kind=SIX_AXLES, bands=BANDS))
    assert found.n_trucks == 1341
    assert found.steering_kg.mean == pytest.approx(5446, abs=0.5)
    assert found.steering_kg.sd == pytest.approx(1117, abs=0.5)
    bands = [one.steering_kg for one in found.steering_by_band]
    assert [one.n for one in bands] == [654, 397, 286]
    assert [one.mean for one in bands] == pytest.approx([5014, 5665, 6090], abs=0.5)
    assert found.drive_spacing_m.mean == pytest.approx(1.301, abs=0.0005)
    assert found.counts.sum() == 1341


def test_known_means_by_lane(table: pa.Table) -> None:
    lanes = np.array(table["lane_code"].to_pylist())
    chosen, _ = is_of_kind(table, SIX_AXLES)
    for lane, mean in zip("12345", (5158, 5486, 5947, 5190, 5276), strict=True):
        part = table.filter(pa.array(lanes == lane))
        found = week_figures(part, settings=WeekSettings(kind=SIX_AXLES))
        assert found.n_trucks == (chosen & (lanes == lane)).sum()
        assert found.steering_kg.mean == pytest.approx(mean, abs=0.5)


def test_groups_carry_every_kilogram_and_every_axle(table: pa.Table) -> None:
    groups = axle_groups(table)
    weights = matrix(table, WEIGHT_COLUMNS).astype(float)
    assert groups.n_axles.sum() == np.asarray(table["n_axles"]).astype(int).sum()
    each = np.bincount(groups.row, groups.load_kg, len(table))
    assert each == pytest.approx(np.nansum(weights, axis=1))
    six = np.flatnonzero(is_of_kind(table, SIX_AXLES)[0])
    kinds = groups.kind[np.isin(groups.row, six)]
    counts = np.bincount(kinds, minlength=6)
    assert counts[[AxleKind.SINGLE, AxleKind.TANDEM, AxleKind.TRIDEM]].tolist() == [
        1341, 1341, 1341,
    ]  # fmt: skip


def test_spectra_loads_and_overweight_lose_no_vehicle(table: pa.Table) -> None:
    classes, _ = effective_class(table)
    groups = axle_groups(table)
    spectra = load_spectra(table, groups, classes)
    assert spectra.n_vehicles.sum(axis=1).tolist() == [611, 927, 848, 1075, 1031, 508]
    total = sum(int(counts.sum()) for counts in spectra.counts.values())
    assert total + int(spectra.n_larger.sum()) == len(groups.row)
    esals = vehicle_esals(groups, FlexiblePavement())
    assert esals.n_unknown == 0
    assert (esals.per_vehicle > 0).all()
    over = overweight(table).shares()
    gvw = np.asarray(table["gvw_kg"], dtype=float)
    assert over["gross"].part == (gvw > 36287.4896).sum()
    assert over["any"].part >= max(over[kind].part for kind in ("gross", "tandem"))
