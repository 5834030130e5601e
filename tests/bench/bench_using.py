"""What an answer about one lane-year costs, as a ratio to reading its columns.

Run with: python -m tests.bench.bench_using [--records 1000000]

An invented lane-year is written to a store of its own, a part a month; every sum of the
page "What was carried" (volumes, gross weights, spectra, both equivalent axle loads,
overweight) is taken through the executor's seam, and held against reading the same
columns of the same parts in this run.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from quality.calc.carried import COLUMNS, CarriedRule, added, nothing, part_sums
from quality.calc.executor import Choice, executor
from quality.calc.over_parts import PartWork, over_parts
from quality.records.store import read_parts, write_part
from tests.bench.bench_weeks import lane_year

REPEATS = 3


def timed(call: Callable[[], object]) -> float:
    """Median seconds of a call."""
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def say(line: str) -> None:
    """One line of the answer."""
    sys.stdout.write(line + "\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=1_000_000)
    n = parser.parse_args().records
    table = lane_year(np.random.default_rng(7), n).sort_by("time")
    first, last = np.datetime64("2030-01-01"), np.datetime64("2030-12-31")
    every = np.arange(first, last + 1)
    rules = {
        "all days": CarriedRule(every),
        "nine days in ten": CarriedRule(every[np.arange(len(every)) % 10 > 0]),
    }
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        parts = write_part(root, "OV-001", "E1", table, source_sha256="0" * 64)
        paths = [part.path for part in parts]
        reading = timed(lambda: read_parts(root, paths, columns=COLUMNS))
        say(f"{n:,} records, {len(paths)} parts, median of {REPEATS}")
        say(f"reading the columns: {reading:.3f} s = 1")
        for place in ("serial", "threads:2"):
            for words, rule in rules.items():

                def answer(place: str = place, rule: CarriedRule = rule) -> object:
                    work = PartWork(partial(part_sums, rule=rule), str(root), COLUMNS)
                    with executor(Choice.parse(place)) as here:
                        found = list(over_parts(here, work, paths, together=1))
                    kept = [one for one in found if one is not None]
                    return added([nothing(first, last, rule), *kept])

                taken = timed(answer)
                say(
                    f"{place}, {words}: {taken:.3f} s, {taken / reading:.1f} times "
                    f"reading, {n / taken / 1e6:.2f} million records/s"
                )


if __name__ == "__main__":
    main()
