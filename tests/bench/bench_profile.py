"""How fast a measured road is read and judged, as ratios within one run.

Run with: python -m tests.bench.bench_profile

100 km at 25 mm in two wheel paths are read from CSV, held against a generic columnar
CSV reader (without any check); and judged, held against one plain running sum of the
same elevations in numpy. The step-by-step recursion that the practice prints is timed
on a part of the road and scaled up.
"""

from __future__ import annotations

import argparse
import io
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from sites.calc.array_location import best_location
from sites.calc.iri import iri_m_per_km, smoothed_slope, start_slope, transition
from sites.calc.profile_reading import read_profile
from sites.calc.profile_words import WheelPath
from sites.calc.roughness import road_response, window_series

INTERVAL_MM = 25.0


def _file(n: int) -> bytes:
    draw = np.random.default_rng(20)
    columns = {"distance (m)": np.round(np.arange(n) * INTERVAL_MM / 1000.0, 3)}
    for name in ("left elevation (mm)", "right elevation (mm)"):
        columns[name] = np.round(np.cumsum(draw.normal(0.0, 0.2, n)), 3)
    out = io.BytesIO()
    pacsv.write_csv(pa.table(columns), out)
    return out.getvalue()


def _step_by_step(heights: np.ndarray) -> float:
    s, p = transition(INTERVAL_MM)
    first = start_slope(heights, INTERVAL_MM)
    state, total = np.array([first, 0.0, first, 0.0]), 0.0
    for slope in smoothed_slope(heights, INTERVAL_MM):
        state = s @ state + p * slope
        total += abs(state[0] - state[2])
    return total


def _median(call: Callable[[], object], rounds: int) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--km", type=float, default=100.0)
    parser.add_argument("--rounds", type=int, default=5)
    options = parser.parse_args()
    n = round(options.km * 1e6 / INTERVAL_MM)
    raw = _file(n)
    profile = read_profile(raw)
    response = road_response(profile)
    left = profile.elevation_mm[WheelPath.LEFT]
    both = [profile.elevation_mm[path] for path in profile.paths]

    def timed(call: Callable[[], object]) -> float:
        return _median(call, options.rounds)

    plain_csv = timed(lambda: pacsv.read_csv(io.BytesIO(raw)))
    plain_sum = timed(lambda: [np.cumsum(heights) for heights in both])
    rows = [
        ("read with all checks", timed(lambda: read_profile(raw)), plain_csv, "CSV"),
        ("quarter car, both paths", timed(lambda: road_response(profile)),
         plain_sum, "sum"),
        ("window series of 100 m", timed(lambda: window_series(response, 100.0)),
         plain_sum, "sum"),
        ("five best places", timed(lambda: best_location(response)), plain_sum, "sum"),
    ]  # fmt: skip
    part = left[:40_000]
    stepped = _median(lambda: _step_by_step(part), 1) * n / part.size
    filtered = timed(lambda: iri_m_per_km(left, INTERVAL_MM))
    out = sys.stdout
    out.write(f"{n:,} samples of two paths, {len(raw) / 1e6:.0f} MB\n")
    out.write(f"generic CSV reader {plain_csv:.2f} s; running sum {plain_sum:.3f} s\n")
    for name, seconds, base, of in rows:
        out.write(f"{name:28} {seconds:6.2f} s = {seconds / base:6.1f} × the {of}\n")
    out.write(
        f"index of one path by modes: {stepped / filtered:.0f} times as fast as step "
        f"by step ({filtered:.2f} s against {stepped:.0f} s, scaled up)\n"
    )


if __name__ == "__main__":
    main()
