"""Invented lanes of tractor-semitrailers, and records written by hand. No real data."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from quality.calc.mixture_fit import KIP_KG
from quality.records.schema import STORE_SCHEMA
from wimprog.lib.units import KG_PER_LB, M_PER_FT

SHARES = (0.30, 0.30, 0.40)
MEANS_KIP = (33.0, 55.0, 76.5)
SDS_KIP = (3.5, 11.0, 4.0)
MONDAY = np.datetime64("2030-01-07T05:00", "ms")


def gross_kg(
    rng: np.random.Generator, n: int, shares: tuple[float, ...] = SHARES
) -> np.ndarray:
    """Gross weights of n five-axle semitrailers [kg], unloaded, part loaded, loaded."""
    counts = rng.multinomial(n, shares)
    parts = zip(MEANS_KIP, SDS_KIP, counts, strict=True)
    return np.concatenate([rng.normal(m, s, k) for m, s, k in parts]) * KIP_KG


def semitrailers(
    rng: np.random.Generator,
    n: int,
    *,
    gain: float = 1.0,
    offset_kg: float = 0.0,
    recorded_class: int | None = 9,
    drive_spacing_m: float = 1.32,
    drive_split: float = 0.5,
    shares: tuple[float, ...] = SHARES,
) -> pa.Table:
    """A week of 3-S2 as a scale with a gain and an offset of gross weight sees it."""
    gross = gain * gross_kg(rng, n, shares) + offset_kg
    steering = gain * rng.normal(4500.0, 350.0, n)
    drive = 0.5 * (gross - steering)
    trailer = gross - steering - drive
    first = drive * rng.normal(drive_split, 0.01, n)
    weights = [steering, first, drive - first, trailer / 2, trailer / 2]
    spacings = [5.2, drive_spacing_m, 10.0, 1.25]
    columns: dict[str, pa.Array] = {
        field.name: pa.nulls(n, field.type) for field in STORE_SCHEMA
    }
    hours = rng.integers(0, 120, n).astype("timedelta64[h]")
    columns["time"] = pa.array(MONDAY + hours)
    if recorded_class is not None:
        columns["vehicle_class"] = pa.array(np.full(n, recorded_class, np.int8))
    columns["gvw_kg"] = pa.array(gross.astype(np.float32))
    columns["n_axles"] = pa.array(np.full(n, 5, np.int8))
    columns["source_line"] = pa.array(np.arange(n, dtype=np.int32))
    for k, weight in enumerate(weights, start=1):
        columns[f"w{k}_kg"] = pa.array(weight.astype(np.float32))
    for k, spacing in enumerate(spacings, start=1):
        gap = rng.normal(spacing, 0.03, n)
        columns[f"s{k}_m"] = pa.array(gap.astype(np.float32))
    return pa.table(columns, schema=STORE_SCHEMA)


def record(
    weights_lb: Sequence[float | None],
    spacings_ft: Sequence[float],
    *,
    when: str = "2030-01-07T05:00",
    vehicle_class: int | None = 9,
) -> dict[str, object]:
    """One vehicle in the units of its record."""
    values: dict[str, object] = {
        "time": dt.datetime.fromisoformat(when),
        "vehicle_class": vehicle_class,
        "gvw_kg": sum(weight or 0.0 for weight in weights_lb) * KG_PER_LB,
        "n_axles": len(weights_lb),
        "source_line": 1,
    }
    for k, weight in enumerate(weights_lb, start=1):
        values[f"w{k}_kg"] = None if weight is None else weight * KG_PER_LB
    for k, spacing in enumerate(spacings_ft, start=1):
        values[f"s{k}_m"] = spacing * M_PER_FT
    return values


def records(*rows: dict[str, object]) -> pa.Table:
    """Records in the store's schema."""
    return pa.Table.from_pylist(list(rows), schema=STORE_SCHEMA)
