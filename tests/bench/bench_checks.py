"""How long all checks of records take, as a ratio to reading the same columns.

Run with: python -m tests.bench.bench_checks [records]

Invented records of one lane are written to a Parquet file; reading its columns into
memory is held against running every check on them, and against the daily sums whole.
"""

from __future__ import annotations

import io
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from quality.calc.checks import RECORD_CHECKS, Records
from quality.calc.daily import daily_sums
from quality.records.schema import (
    SPACING_COLUMNS,
    STORE_SCHEMA,
    WEIGHT_COLUMNS,
    TimeResolution,
    with_resolution,
)

ROUNDS = 5
MONTH_MS = 30 * 86_400_000
AXLES = {2: 0.30, 3: 0.05, 4: 0.05, 5: 0.54, 6: 0.05, 7: 0.01}


def records(n: int) -> pa.Table:
    """Invented records: a month of one lane, mostly of two and five axles."""
    rng = np.random.default_rng(0)
    axles = rng.choice(list(AXLES), n, p=list(AXLES.values()))
    weights = rng.uniform(2500, 8500, (n, len(WEIGHT_COLUMNS))).astype(np.float32)
    spacings = rng.uniform(1.2, 9, (n, len(SPACING_COLUMNS))).astype(np.float32)
    spacings[:, [1, 3]] = 1.3
    weights[np.arange(weights.shape[1]) >= axles[:, None]] = np.nan
    spacings[np.arange(spacings.shape[1]) >= axles[:, None] - 1] = np.nan
    columns = {
        "time": pa.array(np.sort(rng.integers(0, MONTH_MS, n)).view("M8[ms]")),
        "vehicle_class": pa.array(
            np.choose(axles - 2, [5, 6, 8, 9, 10, 13]), pa.int8()
        ),
        "speed_kmh": pa.array(rng.normal(100, 8, n).astype(np.float32)),
        "gvw_kg": pa.array(np.nansum(weights, axis=1)),
        "n_axles": pa.array(axles, pa.int8()),
        "source_line": pa.array(np.arange(n), pa.int32()),
    }
    for names, values in ((WEIGHT_COLUMNS, weights), (SPACING_COLUMNS, spacings)):
        for k, name in enumerate(names):
            columns[name] = pa.array(values[:, k], from_pandas=True)
    schema = with_resolution(STORE_SCHEMA, TimeResolution.INSTANT)
    arrays = [
        columns.get(one.name, pa.nulls(n, one.type)).cast(one.type) for one in schema
    ]
    return pa.table(arrays, schema=schema)


def _checks(table: pa.Table) -> None:
    prepared = Records(table)
    for check in RECORD_CHECKS:
        check.run(prepared, check.default_limit)


def _time(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def main() -> None:
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    table = records(n)
    file = io.BytesIO()
    pq.write_table(table, file)

    def read() -> pa.Table:
        file.seek(0)
        return pq.read_table(file, use_threads=False)

    runs: dict[str, Callable[[], object]] = {
        "read the columns": read,
        f"all {len(RECORD_CHECKS)} checks of records": lambda: _checks(table),
        "daily sums with them": lambda: daily_sums(table),
    }
    for check in RECORD_CHECKS:
        runs[f"  {check.key} alone"] = lambda c=check: c.run(
            Records(table), c.default_limit
        )
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(ROUNDS):
        for name, call in runs.items():
            times[name].append(_time(call))
    base = statistics.median(times["read the columns"])
    lines = [f"{n:,} records, {ROUNDS} interleaved rounds; ratio to reading, median"]
    for name, each in times.items():
        took = statistics.median(each)
        lines.append(f"{name:32} ratio {took / base:6.2f}   {took:6.3f} s")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
