"""Sums of parts: the same however the records are cut, raw classes, days kept out."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.carried import CarriedRule, ScaledSpan, added, nothing, part_sums
from quality.calc.carried_frames import TABLES, CarriedYear, frame_of
from quality.calc.scaled_weights import Scaling
from quality.records.schema import STORE_SCHEMA
from tests.quality.calc.trucks import semitrailers

FIRST, LAST = np.datetime64("2030-01-01"), np.datetime64("2030-03-31")
DAYS = np.arange(FIRST, LAST + 1)
RULE = CarriedRule(DAYS)


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(11)
    rows = semitrailers(rng, 3_000)
    hours = np.sort(rng.integers(0, len(DAYS) * 24, len(rows)))
    times = FIRST.astype("M8[ms]") + hours.astype("timedelta64[h]")
    return rows.set_column(0, STORE_SCHEMA.field(0), pa.array(times))


def test_parts_add_up_to_the_whole(table):
    whole = part_sums(table, RULE)
    cuts = (0, 7, 1_000, 1_001, len(table))
    parts = [
        part_sums(table.slice(a, b - a), RULE) for a, b in itertools.pairwise(cuts)
    ]
    again = added([nothing(FIRST, LAST, RULE), *parts])
    full = added([nothing(FIRST, LAST, RULE), whole])
    assert (again.hourly == full.hourly).all()
    assert again.hourly.sum() == len(table)
    for kind, counts in full.spectra.counts.items():
        assert (again.spectra.counts[kind] == counts).all()
    assert (again.gross.counts == full.gross.counts).all()
    for kind, counts in full.over.items():
        assert (again.over[kind] == counts).all()
    assert again.flexible.loads == pytest.approx(full.flexible.loads, rel=1e-12)


def test_only_the_days_of_the_rule_are_counted(table):
    odd = dataclasses.replace(RULE, days=DAYS[::2])
    days = np.asarray(table.column("time")).astype("datetime64[D]")
    assert part_sums(table, odd).n_vehicles == np.isin(days, DAYS[::2]).sum()
    assert part_sums(table, dataclasses.replace(RULE, days=DAYS[:0])) is None
    later = np.array(["2031-01-01"], "datetime64[D]")
    assert part_sums(table, dataclasses.replace(RULE, days=later)) is None


def test_a_scaling_changes_weights_and_no_class(table):
    blank = table.set_column(1, STORE_SCHEMA.field(1), pa.nulls(len(table), pa.int8()))
    raw = part_sums(blank, RULE)
    span = ScaledSpan(DAYS[0], DAYS[-1], Scaling(1.3, 1.2, 1.4))
    scaled = part_sums(blank, dataclasses.replace(RULE, spans=(span,)))
    assert raw.n_worked_out == scaled.n_worked_out == scaled.n_scaled == len(table)
    assert raw.n_scaled == 0
    assert (raw.by_class == scaled.by_class).all()
    assert scaled.over["gross"].sum() > raw.over["gross"].sum()
    half = ScaledSpan(DAYS[0], DAYS[44], Scaling(1.3, 1.2, 1.4))
    part = part_sums(blank, dataclasses.replace(RULE, spans=(half,)))
    assert 0 < part.n_scaled < len(table)
    assert part.n_vehicles == len(table)


def test_every_table_can_be_made_with_and_without_data(table):
    seen = np.ones((len(DAYS), 24), dtype=bool)
    seen[3] = False
    full = added([nothing(FIRST, LAST, RULE), part_sums(table, RULE)])
    year = CarriedYear(full, seen)
    empty = CarriedYear(nothing(FIRST, LAST, RULE), ~seen & False)
    for name in TABLES:
        assert len(frame_of(name, year)) > 0
        assert len(frame_of(name, empty).columns) > 0
    daily = frame_of("daily", year)["total"]
    assert np.isnan(daily[3])
    assert daily.notna().sum() == len(DAYS) - 1
    assert frame_of("gross", year)["n"].sum() == len(table)
    assert frame_of("daily", empty)["total"].isna().all()
