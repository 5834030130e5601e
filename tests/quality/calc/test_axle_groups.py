"""Axle groups, equivalent loads and spectra against hand counts and the scalar rule."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from calibration.calc.axle_groups import group_axles
from quality.calc.axle_groups import AxleKind, axle_groups
from quality.calc.esals import (
    KG_PER_KIP,
    FlexiblePavement,
    RigidPavement,
    load_equivalency,
    vehicle_esals,
)
from quality.calc.load_spectra import BINS, gross_histogram, load_spectra
from tests.quality.calc.trucks import record, records
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB

THREE_S_TWO = record([12000, 17000, 16000, 15000, 14000], [17.0, 4.4, 33.0, 4.1])
SPREAD = record([12000, 17000, 17000, 15000, 15000], [17.0, 4.4, 30.0, 10.2])
TRIDEM = record([11000, 16000, 16000, 14000, 14000, 14000], [17.0, 4.4, 28.0, 4.1, 4.1])
SINGLE_UNIT = record([9000, 18000], [18.0], vehicle_class=5, when="2030-02-01T00:00")
QUAD = record(
    [15000, 13000, 13000, 13000, 13000], [12.0, 4.0, 4.0, 4.0], vehicle_class=7
)


def as_sets(table: pa.Table) -> set[tuple[int, int, int, int]]:
    groups = axle_groups(table)
    rows = zip(groups.row, groups.first, groups.n_axles, groups.load_kg, strict=True)
    return {
        (int(row), int(first), int(n), round(float(load) / KG_PER_LB))
        for row, first, n, load in rows
    }


def test_groups_of_usual_trucks() -> None:
    table = records(THREE_S_TWO, SPREAD, TRIDEM, SINGLE_UNIT, QUAD)
    assert as_sets(table) == {
        (0, 0, 1, 12000), (0, 1, 2, 33000), (0, 3, 2, 29000),
        (1, 0, 1, 12000), (1, 1, 2, 34000), (1, 3, 1, 15000), (1, 4, 1, 15000),
        (2, 0, 1, 11000), (2, 1, 2, 32000), (2, 3, 3, 42000),
        (3, 0, 1, 9000), (3, 1, 1, 18000),
        (4, 0, 1, 15000), (4, 1, 4, 52000),
    }  # fmt: skip


@pytest.mark.parametrize("block", [7, 100_000])
def test_the_rule_is_that_of_one_truck(
    block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Random vehicles grouped one by one by the rule that test trucks are held to."""
    monkeypatch.setattr("quality.calc.axle_groups.BLOCK", block)
    rng = np.random.default_rng(11)
    rows, expected = [], set()
    for row in range(300):
        n = int(rng.integers(1, 14))
        spacings = rng.choice([3.0, 4.4, 7.9, 8.0, 8.1, 20.0], n - 1).tolist()
        weights = rng.integers(2000, 20000, n).tolist()
        rows.append(record(weights, spacings))
        found = group_axles([gap * 0.3048 for gap in spacings])
        for group in (*((one,) for one in found.singles), *found.groups):
            load = sum(weights[axle] for axle in group)
            expected.add((row, group[0], len(group), load))
    assert as_sets(records(*rows)) == expected


def test_limit_spread_and_kind() -> None:
    table = records(TRIDEM)
    tight = axle_groups(table, group_limit_m=1.0)
    assert tight.n_axles.tolist() == [1] * 6
    groups = axle_groups(table)
    tridem = groups.spread_m[groups.kind == AxleKind.TRIDEM]
    assert tridem == pytest.approx([8.2 * 0.3048])
    long = axle_groups(records(record([9000] * 7, [12.0, 4, 4, 4, 4, 4])))
    assert sorted(long.kind.tolist()) == [AxleKind.SINGLE, AxleKind.LARGER]


def test_unknown_weights_and_no_vehicles() -> None:
    table = records(record([12000, None, 17000], [17.0, 4.4]), SINGLE_UNIT)
    groups = axle_groups(table)
    assert np.isnan(groups.load_kg).sum() == 1
    found = vehicle_esals(groups, FlexiblePavement())
    assert (found.n_groups, found.n_unknown) == (3, 1)
    steering = float(load_equivalency(12 * KG_PER_KIP, 1, FlexiblePavement()))
    assert found.per_vehicle[0] == pytest.approx(steering)
    nothing = axle_groups(records())
    assert len(nothing.row) == 0
    assert vehicle_esals(nothing, RigidPavement()).total == 0


def test_esals_add_up_over_groups() -> None:
    pavement = FlexiblePavement()
    found = vehicle_esals(axle_groups(records(THREE_S_TWO, QUAD)), pavement)
    one = load_equivalency(
        np.array([12.0, 33.0, 29.0]) * KG_PER_KIP, [1, 2, 2], pavement
    )
    assert found.per_vehicle[0] == pytest.approx(one.sum(), rel=1e-6)
    assert found.n_beyond_guide == 1
    assert "structural number 5" in found.pavement


def test_no_load_does_no_damage_and_impossible_pavements_are_refused() -> None:
    assert float(load_equivalency(0.0, 2, FlexiblePavement())) == 0.0
    assert np.isnan(load_equivalency(np.nan, 1, FlexiblePavement()))
    for make in (
        lambda: FlexiblePavement(0.0),
        lambda: FlexiblePavement(5.0, 4.2),
        lambda: RigidPavement(-1.0),
        lambda: RigidPavement(229.0, 1.0),
    ):
        with pytest.raises(DomainError):
            make()


def test_spectra_put_every_group_in_its_bin() -> None:
    table = records(THREE_S_TWO, SPREAD, TRIDEM, SINGLE_UNIT, QUAD)
    classes = np.array([9, 9, 10, 5, 7], dtype=np.int8)
    groups = axle_groups(table)
    spectra = load_spectra(table, groups, classes)
    assert spectra.months.tolist() == [
        np.datetime64("2030-01").item(), np.datetime64("2030-02").item(),
    ]  # fmt: skip
    single = spectra.counts[AxleKind.SINGLE]
    # 12,000 lb is the lower end of the bin 12,000–12,999, the eleventh
    assert single[0, 9].nonzero()[0].tolist() == [10, 13]
    assert single[0, 9, [10, 13]].tolist() == [2, 2]
    tandem = spectra.counts[AxleKind.TANDEM][0, 9]
    edges = BINS[AxleKind.TANDEM].edges_lb
    assert {int(edges[k]) for k in tandem.nonzero()[0]} == {28000, 32000, 34000}
    total = sum(int(counts.sum()) for counts in spectra.counts.values())
    assert total + int(spectra.n_larger.sum()) == len(groups.row)
    assert spectra.groups_per_vehicle(AxleKind.TANDEM)[9] == pytest.approx(1.5)
    assert np.isnan(spectra.groups_per_vehicle(AxleKind.TANDEM)[3])
    frame = spectra.frame()
    assert frame["n"].sum() == total
    sums = frame.groupby(["month", "vehicle_class", "axle_kind"])["share"].sum()
    assert sums.to_numpy() == pytest.approx(1.0)
    shares = spectra.shares(AxleKind.SINGLE)
    assert np.nansum(shares[0, 9]) == pytest.approx(1.0)
    assert np.isnan(shares[1, 9]).all()


def test_spectra_keep_what_is_above_all_bins() -> None:
    table = records(record([41000, 40999], [20.0], vehicle_class=8))
    spectra = load_spectra(table, axle_groups(table), np.array([8], np.int8))
    counts = spectra.counts[AxleKind.SINGLE][0, 8]
    assert counts[-1] == 1
    assert counts[-2] == 1
    assert spectra.shares(AxleKind.SINGLE)[0, 8, -1] == 1.0
    above = spectra.frame().query("to_lb.isna()")
    assert above["from_lb"].tolist() == [41000]


def test_spectra_refuse_groups_of_another_table() -> None:
    one, two = records(THREE_S_TWO), records(THREE_S_TWO, SPREAD)
    with pytest.raises(DomainError, match="table of 2"):
        load_spectra(two, axle_groups(one), np.array([9], np.int8))


def test_gross_histogram() -> None:
    table = records(THREE_S_TWO, SINGLE_UNIT, record([90000, 90000], [20.0]))
    found = gross_histogram(table, np.array([9, 5, 8], np.int8))
    assert found.counts.shape == (2, 16, 76)
    assert found.counts[0, 9, 37] == 1  # 74,000 lb
    assert found.counts[1, 5, 13] == 1  # 27,000 lb
    assert found.counts[0, 8, -1] == 1  # above 150,000 lb
    assert found.counts.sum() == 3
    assert found.edges_kg[37] == pytest.approx(74_000 * KG_PER_LB)
