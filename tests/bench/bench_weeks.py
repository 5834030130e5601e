"""What figures over records cost, as ratios to reading their columns.

Run with: python -m tests.bench.bench_weeks [--records 1000000]

The records are an invented lane-year, written to a column file; every figure is held
against reading that file's columns within the same run.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from quality.calc.axle_groups import axle_groups
from quality.calc.class9_week import week_figures
from quality.calc.classify import effective_class
from quality.calc.esals import FlexiblePavement, RigidPavement, vehicle_esals
from quality.calc.load_spectra import gross_histogram, load_spectra
from quality.calc.overweight import overweight
from quality.calc.scaled_weights import Scaling, scaled
from quality.calc.seasonal_factors import seasonal_factors
from quality.calc.volumes import hourly_volumes
from quality.calc.week_types import ReferencePeriod
from quality.records.schema import STORE_SCHEMA
from tests.quality.calc.trucks import semitrailers


def lane_year(rng: np.random.Generator, n: int) -> pa.Table:
    """A year of one lane: three in five 3-S2, the rest two axles."""
    long = semitrailers(rng, 3 * n // 5)
    short = semitrailers(rng, n - long.num_rows, recorded_class=5)
    two = {"n_axles": pa.array(np.full(short.num_rows, 2, np.int8))}
    for name in ("w3_kg", "w4_kg", "w5_kg", "s2_m", "s3_m", "s4_m"):
        two[name] = pa.nulls(short.num_rows, pa.float32())
    gross = short.column("w1_kg").to_numpy() + short.column("w2_kg").to_numpy()
    two["gvw_kg"] = pa.array(gross)
    for name, values in two.items():
        short = short.set_column(
            STORE_SCHEMA.get_field_index(name), STORE_SCHEMA.field(name), values
        )
    table = pa.concat_tables([long, short])
    start = np.datetime64("2030-01-01", "ms")
    hours = np.sort(rng.integers(0, 365 * 24, table.num_rows)).astype("timedelta64[h]")
    order = rng.permutation(table.num_rows)
    table = table.take(pa.array(order))
    return table.set_column(0, STORE_SCHEMA.field(0), pa.array(start + hours))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    rng = np.random.default_rng(2030)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lane.parquet"
        pq.write_table(lane_year(rng, options.records), path, compression="zstd")
        _measure(path, options.rounds, rng)


def _measure(path: Path, rounds: int, rng: np.random.Generator) -> None:
    table = pq.read_table(path).combine_chunks()
    classes, _ = effective_class(table)
    groups = axle_groups(table)
    first, last = np.datetime64("2030-01-01"), np.datetime64("2030-12-31")
    volumes = hourly_volumes(table, classes, first_on=first, last_on=last)
    reference = ReferencePeriod.of([week_figures(semitrailers(rng, 20_000))])
    week = semitrailers(rng, 10_000)
    ten = table.slice(0, 10_000)
    runs: dict[str, Callable[[], object]] = {
        "read the columns": lambda: pq.read_table(path),
        "axle groups": lambda: axle_groups(table),
        "ESALs, flexible (groups given)": lambda: vehicle_esals(
            groups, FlexiblePavement()
        ),
        "ESALs, rigid (groups given)": lambda: vehicle_esals(groups, RigidPavement()),
        "load spectra (groups given)": lambda: load_spectra(table, groups, classes),
        "gross weight histogram": lambda: gross_histogram(table, classes),
        "overweight, all limits": lambda: overweight(table),
        "hourly volumes by class": lambda: hourly_volumes(
            table, classes, first_on=first, last_on=last
        ),
        "seasonal factors": lambda: seasonal_factors(
            volumes.days, volumes.counts.sum(axis=(1, 2))
        ),
        "scaled weights": lambda: scaled(table, Scaling(0.96, 0.95, 0.97)),
    }
    of_week: dict[str, Callable[[], object]] = {
        "week of 10,000 tractor-semitrailers": lambda: week_figures(week, reference),
        "week of 10,000 vehicles of the year": lambda: week_figures(ten, reference),
    }
    times: dict[str, list[float]] = {name: [] for name in (*runs, *of_week)}
    for _ in range(rounds):
        for name, call in (*runs.items(), *of_week.items()):
            start = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - start)
    middle = {name: statistics.median(values) for name, values in times.items()}
    base = middle["read the columns"]
    _tell(f"{table.num_rows:,} records, {rounds} interleaved rounds, medians;")
    _tell("ratio is time over reading all columns of the lane-year")
    for name in runs:
        _tell(
            f"{name:38} ratio {middle[name] / base:6.2f}  {middle[name] * 1e3:8.1f} ms"
        )
    for name in of_week:
        share = middle[name] / (base * 10_000 / table.num_rows)
        _tell(
            f"{name:38} ratio {share:6.2f}  {middle[name] * 1e3:8.1f} ms "
            "(to reading as many records)"
        )


def _tell(line: str) -> None:
    sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
