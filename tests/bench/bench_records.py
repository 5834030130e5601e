"""How fast records are read, as ratios within one run.

Run with: python -m tests.bench.bench_records

The same vehicles are written as W records and as a CSV of the same whole numbers; the
W reader (with its checks) is held against a generic columnar CSV reader (without any).
"""

from __future__ import annotations

import argparse
import io
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from quality.calc.classify import effective_class
from quality.calc.daily import daily_sums
from quality.records.detect import open_records
from quality.records.report import Layout
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS, split_by_lane
from quality.records.w_layout import OpenField, WOptions
from quality.records.w_write import write_w_records
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

SAMPLE = Path(__file__).resolve().parents[2] / "fixtures/samples/orrin_w2016.wgt"
MPH = WOptions(open_field=OpenField.SPEED_MPH)


def _read(raw: bytes) -> pa.Table:
    return open_records(io.BytesIO(raw), options=MPH).read_all()


def _stream(raw: bytes) -> int:
    return sum(batch.num_rows for batch in open_records(io.BytesIO(raw), options=MPH))


def _csv(raw: bytes) -> int:
    return int(pacsv.read_csv(io.BytesIO(raw)).num_rows)


UNITS = {
    **dict.fromkeys(("gvw_kg", *WEIGHT_COLUMNS), KG_PER_LB),
    **dict.fromkeys(SPACING_COLUMNS, M_PER_FT / 10),
    "speed_kmh": KMH_PER_MPH,
}


def _whole_numbers(table: pa.Table) -> pa.Table:
    """The table in the record's own units, so that both texts carry the same digits."""
    for name, unit in UNITS.items():
        numbers = pc.round(pc.divide(table.column(name), unit)).cast(pa.int32())
        table = table.set_column(table.schema.get_field_index(name), name, numbers)
    return table


def _time(call: Callable[[], object], rounds: list[float]) -> None:
    start = time.perf_counter()
    call()
    rounds.append(time.perf_counter() - start)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=400_000)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    sample = _read(SAMPLE.read_bytes())
    table = pa.concat_tables([sample] * (options.records // sample.num_rows))
    n = table.num_rows
    files: dict[str, bytes] = {}
    for layout in (Layout.W_FIXED, Layout.W_PIPE):
        out = io.BytesIO()
        write_w_records(table, out, layout=layout, open_field=OpenField.SPEED_MPH)
        files[layout] = out.getvalue()
    text = io.BytesIO()
    plain = table.combine_chunks()
    pacsv.write_csv(_whole_numbers(plain), text)
    _, lane = next(split_by_lane(plain))
    lane = lane.combine_chunks()
    classes, _ = effective_class(lane)
    runs: dict[str, tuple[Callable[[], object], int]] = {
        "columnar CSV reader, no checks": (lambda: _csv(text.getvalue()), n),
        "W fixed": (lambda: _stream(files[Layout.W_FIXED]), n),
        "W pipe": (lambda: _stream(files[Layout.W_PIPE]), n),
        "write W fixed": (
            lambda: write_w_records(table, io.BytesIO()),
            n,
        ),
        "daily sums": (lambda: daily_sums(lane, vehicle_class=classes), lane.num_rows),
    }
    times: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(options.rounds):
        for name, (call, _) in runs.items():
            _time(call, times[name])
    base = statistics.median(times["columnar CSV reader, no checks"]) / n
    lines = [
        f"{n:,} records, {options.rounds} interleaved rounds; ratio above 1 is faster"
    ]
    for name, (_, rows) in runs.items():
        each = statistics.median(times[name]) / rows
        lines.append(
            f"{name:32} ratio {base / each:6.2f}   {1e-6 / each:6.2f} M records/s"
        )
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
