"""How fast records are read, as ratios within one run; and that cost stays flat.

Run with: python -m tests.bench.bench_records
          python -m tests.bench.bench_records --scale [--hundred-million]

The same vehicles are written in every layout and as a CSV of the same whole numbers;
the readers (with their checks) are held against a generic columnar CSV reader (without
any). Two ratios: by the clock, which a busy machine blurs, and by processor time.

``--scale`` writes files of a million and ten million records into a temporary folder
that it removes, and reads each in a process of its own to learn its peak memory.
"""

from __future__ import annotations

import argparse
import io
import re
import resource
import statistics
import subprocess
import sys
import tempfile
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
UNITS = {
    **dict.fromkeys(("gvw_kg", *WEIGHT_COLUMNS), KG_PER_LB),
    **dict.fromkeys(SPACING_COLUMNS, M_PER_FT / 10),
    "speed_kmh": KMH_PER_MPH,
}
HEADINGS = {
    "state_code": "State",
    "station_id": "Station",
    "direction_code": "Direction",
    "lane_code": "Lane",
    "time": "Timestamp",
    "vehicle_class": "Class",
    "speed_kmh": "Speed mph",
    "gvw_kg": "GVW lb",
    "n_axles": "Axles",
    **{name: f"Axle {k} lb" for k, name in enumerate(WEIGHT_COLUMNS[:7], start=1)},
    **{name: f"Gap {k} ft" for k, name in enumerate(SPACING_COLUMNS[:6], start=1)},
}


def _read(raw: bytes) -> pa.Table:
    return open_records(io.BytesIO(raw), options=MPH).read_all()


def _stream(raw: bytes) -> int:
    reader = open_records(io.BytesIO(raw), options=MPH)
    n = sum(batch.num_rows for batch in reader)
    if reader.report.n_refused:
        raise SystemExit(f"refused: {reader.report.complaints[0]}")
    return n


def _csv(raw: bytes) -> int:
    return int(pacsv.read_csv(io.BytesIO(raw)).num_rows)


def _whole_numbers(table: pa.Table) -> pa.Table:
    """The table in the record's own units, so that both texts carry the same digits."""
    for name, unit in UNITS.items():
        numbers = pc.round(pc.divide(table.column(name), unit)).cast(pa.int32())
        table = table.set_column(table.schema.get_field_index(name), name, numbers)
    return table


def _as_csv(table: pa.Table) -> bytes:
    out = io.BytesIO()
    pacsv.write_csv(table, out)
    return out.getvalue()


def _with_headings(table: pa.Table) -> bytes:
    """The same numbers under headings that a reader knows, spacings in feet."""
    chosen = table.select(list(HEADINGS))
    for name in SPACING_COLUMNS[:6]:
        feet = pc.divide(chosen.column(name).cast(pa.float64()), 10)
        chosen = chosen.set_column(chosen.schema.get_field_index(name), name, feet)
    return _as_csv(chosen.rename_columns([HEADINGS[name] for name in HEADINGS]))


def _blank_padded(raw: bytes) -> bytes:
    """Fixed-width lines with blanks for the zeros in front of the weights."""
    line = re.compile(rb"^(.{26})0(.{5})0(.)(.*)$", re.MULTILINE)
    return line.sub(rb"\1 \2 \3\4", raw)


def _unpadded(raw: bytes) -> bytes:
    """Delimited lines without zeros in front of weights, spacings and counts."""
    return re.sub(rb"\|0+(?=[1-9])", b"|", raw)


def _files(table: pa.Table) -> dict[str, bytes]:
    out: dict[str, bytes] = {}
    for name, layout in (("W fixed", Layout.W_FIXED), ("W pipe", Layout.W_PIPE)):
        sink = io.BytesIO()
        write_w_records(table, sink, layout=layout, open_field=OpenField.SPEED_MPH)
        out[name] = sink.getvalue()
    out["W fixed, blanks in front"] = _blank_padded(out["W fixed"])
    out["W fixed, CR LF"] = out["W fixed"].replace(b"\n", b"\r\n")
    out["W pipe, unpadded"] = _unpadded(out["W pipe"])
    out["headed CSV"] = _with_headings(_whole_numbers(table))
    return out


def _timed(call: Callable[[], object]) -> tuple[float, float]:
    clock, processor = time.perf_counter(), time.process_time()
    call()
    return time.perf_counter() - clock, time.process_time() - processor


def compare(n_wanted: int, n_rounds: int) -> list[str]:
    """Ratios against the columnar CSV reader, above 1 where we are faster."""
    sample = _read(SAMPLE.read_bytes())
    table = pa.concat_tables([sample] * (n_wanted // sample.num_rows)).combine_chunks()
    n = table.num_rows
    files = _files(table)
    text = _as_csv(_whole_numbers(table))
    _, lane = next(split_by_lane(table))
    lane = lane.combine_chunks()
    classes, _ = effective_class(lane)
    runs: dict[str, tuple[Callable[[], object], int]] = {
        "columnar CSV reader, no checks": (lambda: _csv(text), n)
    }
    for name, raw in files.items():
        runs[name] = (lambda raw=raw: _stream(raw), n)  # type: ignore[misc]
    runs["write W fixed"] = (lambda: write_w_records(table, io.BytesIO()), n)
    runs["daily sums"] = (
        lambda: daily_sums(lane, vehicle_class=classes),
        lane.num_rows,
    )
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in runs}
    for _ in range(n_rounds):
        for name, (call, _) in runs.items():
            times[name].append(_timed(call))
    each = {
        name: [statistics.median(part) / runs[name][1] for part in zip(*rows)]  # noqa: B905
        for name, rows in times.items()
    }
    base = next(iter(each.values()))
    lines = [
        f"{n:,} records, {n_rounds} interleaved rounds; a ratio above 1 is faster",
        f"{'':32} {'clock':>7} {'processor':>10}   records/s",
    ]
    for name, (clock, processor) in each.items():
        lines.append(
            f"{name:32} {base[0] / clock:7.2f} {base[1] / processor:10.2f}"
            f"   {1e-6 / clock:6.2f} M"
        )
    return lines


def read_alone(path: Path) -> str:
    """Read one file; seconds, processor seconds, records and peak MB, for a parent."""
    clock, processor = time.perf_counter(), time.process_time()
    with open_records(path, options=MPH) as reader:
        n = sum(batch.num_rows for batch in reader)
    took = time.perf_counter() - clock, time.process_time() - processor
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return f"{took[0]:.4f} {took[1]:.4f} {n} {peak:.0f}"


def scale(sizes: list[int]) -> list[str]:
    """Cost a record and peak memory for files of these many records."""
    sample = _read(SAMPLE.read_bytes())
    sink = io.BytesIO()
    table = pa.concat_tables([sample] * 500)
    write_w_records(table, sink, open_field=OpenField.SPEED_MPH)
    raw, n = sink.getvalue(), table.num_rows
    lines = [f"{'records':>12} {'MB':>8} {'us each':>8} {'cpu us':>8} {'peak MB':>8}"]
    with tempfile.TemporaryDirectory(prefix="records-") as folder:
        for size in sizes:
            path = Path(folder) / f"{size}.wgt"
            with path.open("wb") as file:
                for _ in range(size // n):
                    file.write(raw)
            command = [sys.executable, "-m", "tests.bench.bench_records"]
            done = subprocess.run(
                [*command, "--alone", str(path)],
                capture_output=True,
                text=True,
                check=True,
            )
            clock, processor, count, peak = (float(one) for one in done.stdout.split())
            megabytes = path.stat().st_size / 1e6
            lines.append(
                f"{count:12,.0f} {megabytes:8,.0f} {1e6 * clock / count:8.3f}"
                f" {1e6 * processor / count:8.3f} {peak:8,.0f}"
            )
            path.unlink()
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=400_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--scale", action="store_true")
    parser.add_argument("--hundred-million", action="store_true")
    parser.add_argument("--alone", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.alone:
        lines = [read_alone(options.alone)]
    elif options.scale:
        sizes = [1_000_000, 10_000_000]
        lines = scale(sizes + [100_000_000] * options.hundred_million)
    else:
        lines = compare(options.records, options.rounds)
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
