"""What 1, 10 and 100 million records cost, with 1 and 2 workers, as ratios in one run.

Run with: python -m tests.bench.bench_scale            (1 and 10 million)
          python -m tests.bench.bench_scale --huge     (100 million too: 20 GB, an hour)

Invented vehicles of one site-year (four lanes, a million records) are written as W
records and given to as many stations as needed. They are imported as users do it (the
whole of ``records_import``, database and all), by one process and by two at a time, and
their daily sums computed anew from the store through the executor's seam. Each step is
a process of its own, so that its peak memory is its own. The reference of every ratio
is a generic columnar CSV reader on the same vehicles, without any check, in this run.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

MILLION = 1_000_000
SITE_RECORDS = MILLION
YEAR = "2031"
ROOT = Path(__file__).resolve().parents[2]
STATION_AT = 3
SEED = 5


# --- vehicles -------------------------------------------------------------------------


def vehicles(n: int) -> Any:
    """A site-year in the readers' schema; trucks as varied as a real lane's."""
    import pyarrow as pa

    from quality.records.schema import (
        RECORD_SCHEMA,
        SPACING_COLUMNS,
        WEIGHT_COLUMNS,
    )
    from wimprog.lib.units import KG_PER_LB, M_PER_FT

    rng = np.random.default_rng(SEED)
    hours = np.sort(rng.integers(0, 365 * 24, n))
    kind = rng.choice(3, n, p=[0.35, 0.15, 0.5])
    n_axles = np.array([2, 3, 5])[kind]
    vehicle_class = np.array([5, 6, 9])[kind]
    lb = np.zeros((n, 13), dtype=np.int64)
    spacing_tenths = np.zeros((n, 12), dtype=np.int64)
    for k in range(5):
        loaded = rng.random(n) < 0.6
        mean = np.where(loaded, 14_500, 7_000) if k else np.full(n, 10_800)
        lb[:, k] = np.maximum(rng.normal(mean, 900), 1000).astype(np.int64)
        feet = (16.5, 4.3, 32.0, 4.2, 4.2)[k]
        spacing_tenths[:, k] = (10 * feet + rng.integers(-6, 7, n)).astype(np.int64)
    place = np.arange(13)
    lb[place >= n_axles[:, None]] = 0
    start = np.datetime64(f"{YEAR}-01-01T00", "h")
    lane = rng.integers(0, 4, n)
    data: dict[str, Any] = {
        "state_code": np.full(n, "99"),
        "station_id": np.full(n, "000000"),
        "direction_code": np.array(["3", "7"])[lane // 2],
        "lane_code": np.array(["1", "2"])[lane % 2],
        "time": (start + hours).astype("datetime64[ms]"),
        "vehicle_class": vehicle_class.astype(np.int8),
        "gvw_kg": (lb.sum(axis=1) * KG_PER_LB).astype(np.float32),
        "n_axles": n_axles.astype(np.int8),
        "source_line": np.arange(n, dtype=np.int32),
    }
    columns = {}
    for field in RECORD_SCHEMA:
        if field.name in WEIGHT_COLUMNS:
            k = WEIGHT_COLUMNS.index(field.name)
            values = (lb[:, k] * KG_PER_LB).astype(np.float32)
            columns[field.name] = pa.array(values, mask=n_axles <= k)
        elif field.name in SPACING_COLUMNS:
            k = SPACING_COLUMNS.index(field.name)
            values = (spacing_tenths[:, k] * M_PER_FT / 10).astype(np.float32)
            columns[field.name] = pa.array(values, mask=n_axles <= k + 1)
        elif field.name in data:
            columns[field.name] = pa.array(data[field.name]).cast(field.type)
        else:
            columns[field.name] = pa.nulls(n, field.type)
    return pa.table(columns, schema=RECORD_SCHEMA)


class SiteYears:
    """The same site-year as the file of any station."""

    def __init__(self, text: bytes) -> None:
        self.bytes = np.frombuffer(text, dtype=np.uint8).copy()
        ends = np.flatnonzero(self.bytes == 10)
        starts = np.concatenate([[0], ends[:-1] + 1])
        self.at = starts[:, None] + np.arange(STATION_AT, STATION_AT + 6)

    def of(self, number: int) -> Any:
        """Bytes of the file of station ``number``."""
        self.bytes[self.at] = np.frombuffer(f"{number:06d}".encode(), dtype=np.uint8)
        return self.bytes.data


def write_sources(folder: Path, n_sites: int, *, together: bool) -> list[Path]:
    from quality.records.w_write import write_w_records

    folder.mkdir()
    text = io.BytesIO()
    write_w_records(vehicles(SITE_RECORDS), text)
    site = SiteYears(text.getvalue())
    paths = []
    for number in range(n_sites):
        path = folder / ("all.wgt" if together else f"{number:06d}.wgt")
        with path.open("ab") as out:
            out.write(site.of(number))
        if path not in paths:
            paths.append(path)
    return paths


# --- steps, each in a process of its own ----------------------------------------------


def _cpu_s() -> float:
    """Processor seconds of this process and of those it has waited for."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def _setup(folder: Path) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'db.sqlite3'}"
    import django
    from django.conf import settings

    django.setup()
    settings.RECORD_STORE = folder / "records"


def step_prepare(folder: Path, sources: Path, n_sites: int, together: bool) -> Any:
    _setup(folder)
    from django.apps import apps
    from django.conf import settings
    from django.core.management import call_command

    labels = [config.label for config in apps.get_app_configs()]
    settings.MIGRATION_MODULES = dict.fromkeys(labels)
    call_command("migrate", run_syncdb=True, verbosity=0)
    paths = write_sources(sources, n_sites, together=together)
    return {"n_bytes": sum(path.stat().st_size for path in paths)}


def step_import(folder: Path, sources: Path, share: int, of: int) -> Any:
    _setup(folder)
    from quality.services import records_import

    start, cpu_s = time.perf_counter(), _cpu_s()
    n = 0
    for path in sorted(sources.iterdir())[share::of]:
        n += records_import(path, by=None).n_kept
    return {"n": n, "wall_s": time.perf_counter() - start, "cpu_s": _cpu_s() - cpu_s}


def step_compute(folder: Path, where: str) -> Any:
    _setup(folder)
    from quality.calc.daily import combine, daily_sums
    from quality.calc.executor import Choice, executor
    from quality.calc.over_parts import PartWork, over_parts
    from quality.models import RecordPart

    rows = list(
        RecordPart.objects.order_by("lane", "month", "path").values_list(
            "lane_id", "path"
        )
    )
    work = PartWork(
        partial(daily_sums, legal_gross_kg=36_287.4), str(folder / "records")
    )
    digest = hashlib.sha256()
    with executor(Choice.parse(where)) as place:
        # workers start and load their modules before the clock does
        list(over_parts(place, work, [path for _, path in rows[:8]], together=1))
        start = time.perf_counter()
        found = over_parts(place, work, [path for _, path in rows])
        pairs: Iterator[Any] = zip((lane for lane, _ in rows), found, strict=True)
        for _, one in groupby(pairs, key=lambda pair: pair[0]):
            daily = combine(part for _, part in one)
            for name in daily.by_class.columns:
                digest.update(daily.by_class[name].to_numpy().tobytes())
        wall_s = time.perf_counter() - start
    return {"wall_s": wall_s, "digest": digest.hexdigest(), "n_parts": len(rows)}


def step_reference(rounds: int) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.csv as pacsv

    from tests.bench.bench_records import UNITS

    table = vehicles(SITE_RECORDS)
    for name, unit in UNITS.items():  # the record's own whole numbers
        numbers = pc.round(pc.divide(table.column(name), unit)).cast(pa.int32())
        table = table.set_column(table.schema.get_field_index(name), name, numbers)
    text = io.BytesIO()
    pacsv.write_csv(table, text)
    raw = text.getvalue()
    times = []
    for _ in range(rounds):
        start, cpu_s = time.perf_counter(), _cpu_s()
        pacsv.read_csv(io.BytesIO(raw))
        times.append((time.perf_counter() - start, _cpu_s() - cpu_s))
    wall_s, cpu_s = (statistics.median(one) for one in zip(*times, strict=True))
    return {"wall_s": wall_s, "cpu_s": cpu_s}


def step_store(folder: Path) -> Any:
    _setup(folder)
    from django.db.models import Sum

    from quality.models import RecordPart

    total = RecordPart.objects.aggregate(n=Sum("n_records"), b=Sum("size_bytes"))
    return {
        "n": total["n"],
        "store_bytes": total["b"],
        "n_parts": RecordPart.objects.count(),
        "db_bytes": (folder / "db.sqlite3").stat().st_size,
    }


STEPS: dict[str, Callable[..., Any]] = {
    "prepare": step_prepare,
    "import": step_import,
    "compute": step_compute,
    "reference": step_reference,
    "store": step_store,
}


def start(step: str, *args: Any) -> subprocess.Popen[str]:
    given = json.dumps([str(a) if isinstance(a, Path) else a for a in args])
    return subprocess.Popen(
        [sys.executable, "-m", "tests.bench.bench_scale", "--step", step, given],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )


def answer(running: subprocess.Popen[str]) -> dict[str, Any]:
    out, _ = running.communicate()
    if running.returncode:
        sys.exit(f"a step failed with {running.returncode}")
    return dict(json.loads(out.splitlines()[-1]))


def run_step(step: str, given: str) -> None:
    args = [Path(a) if str(a).startswith("/") else a for a in json.loads(given)]
    result = STEPS[step](*args)
    usage = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    result["rss_mb"] = usage.ru_maxrss / 1024
    result["child_rss_mb"] = children.ru_maxrss / 1024
    sys.stdout.write(json.dumps(result) + "\n")


# --- the table ----------------------------------------------------------------


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def measure(
    n_sites: int, workers: int, *, together: bool, base: Path
) -> dict[str, Any]:
    folder = base / "run"
    sources = base / "sources"
    folder.mkdir()
    try:
        made = answer(start("prepare", folder, sources, n_sites, together))
        running = [
            start("import", folder, sources, share, workers) for share in range(workers)
        ]
        imports = [answer(one) for one in running]
        wall_s = max(one["wall_s"] for one in imports)
        result = answer(start("store", folder))
        where = (
            ["serial"]
            if workers == 1
            else [f"threads:{workers}", f"processes:{workers}"]
        )
        result["compute"] = (
            {}
            if together
            else {one: answer(start("compute", folder, one)) for one in where}
        )
    finally:
        shutil.rmtree(folder)
        shutil.rmtree(sources, ignore_errors=True)
    return result | {
        "wall_s": wall_s,
        "cpu_s": sum(one["cpu_s"] for one in imports),
        "source_bytes": made["n_bytes"],
        "rss_mb": max(one["rss_mb"] for one in imports),
    }


def row(
    label: str, m: dict[str, Any], ref: dict[str, float], first: dict[str, float]
) -> None:
    """Print a line: ratios above 1 are faster than the reference."""
    n = m["n"]
    cells = [
        label,
        f"{1e-6 * n / m['wall_s']:.2f}",
        " / ".join(f"{n * ref[kind] / m[kind]:.2f}" for kind in ("wall_s", "cpu_s")),
        f"{m['cpu_s'] / n / first['cpu_s']:.2f}",
        f"{m['store_bytes'] / n:.1f}",
        f"{m['db_bytes'] / n:.2f}",
        f"{m['n_parts']:,}",
        f"{m['rss_mb']:.0f}",
        "; ".join(
            f"{where} {1e-6 * n / one['wall_s']:.1f} M/s, "
            f"ratio {ref['wall_s'] / (one['wall_s'] / n):.2f}, "
            f"{max(one['rss_mb'], one['child_rss_mb']):.0f} MB"
            for where, one in m["compute"].items()
        ),
    ]
    say("| " + " | ".join(cells) + " |")


def layouts(workers: list[int], only: str | None) -> Iterator[tuple[int, bool]]:
    """Workers, and whether all is in one file (which one worker reads)."""
    for n in workers:
        for together in (False, True):
            kind = "one file" if together else "files"
            if only in (None, kind) and not (together and n > 1):
                yield n, together


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--step", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--millions", type=int, nargs="*", default=[1, 10])
    parser.add_argument("--huge", action="store_true", help="100 million records too")
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument(
        "--only", choices=["files", "one file"], help="sites apart, or all together"
    )
    parser.add_argument("--scratch", default=tempfile.gettempdir())
    options = parser.parse_args()
    if options.step:
        run_step(*options.step)
        return
    sizes = options.millions + ([100] if options.huge else [])
    with tempfile.TemporaryDirectory(dir=options.scratch) as name:
        ref = answer(start("reference", 5))
        ref = {kind: ref[kind] / SITE_RECORDS for kind in ("wall_s", "cpu_s")}
        say(
            f"reference: generic columnar CSV reader, {1e-6 / ref['wall_s']:.2f} M "
            f"records/s by the clock, {1e-6 / ref['cpu_s']:.2f} M a processor second"
        )
        say(
            "| records, files, workers | import M/s | ratio by clock / by processor | "
            "processor time a record against the first line | store B/record | "
            "database B/record | parts | import peak MB | daily sums anew |"
        )
        say("|---" * 9 + "|")
        first: dict[str, float] = {}
        digests: dict[int, set[str]] = {}
        for millions in sizes:
            for workers, together in layouts(options.workers, options.only):
                m = measure(millions, workers, together=together, base=Path(name))
                first = first or {"cpu_s": m["cpu_s"] / m["n"]}
                files = "one file" if together else f"{millions} files"
                row(f"{millions} M, {files}, {workers}", m, ref, first)
                for one in m["compute"].values():
                    digests.setdefault(millions, set()).add(one["digest"])
        same = all(len(found) == 1 for found in digests.values())
        say(f"daily sums equal to the last bit in every place: {same}")


if __name__ == "__main__":
    main()
