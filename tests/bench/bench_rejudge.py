"""How fast sessions are judged, as ratios within one run.

Run with: python -m tests.bench.bench_rejudge

Two questions. One session of 2 trucks with 200 runs each, computed anew (errors of all
quantities, statistics, factor, every standard), against bare numpy that does the same
arithmetic on arrays that are already there: errors, means, spreads and shares within,
without runs, reasons, intervals or words. And many sessions judged again under a new
class, against the loop that judges each by itself (measured on some of them) and
against bare numpy on equally long sessions in one rectangular array.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy import special

from calibration.calc.judging import judge_runs
from calibration.calc.many_sessions import FlatErrors, ManySessions
from calibration.calc.rejudging import rejudge
from calibration.calc.run_errors import run_errors
from calibration.calc.standards import find_standard
from calibration.calc.types import MeasuredRun, Quantity, ReferenceVehicle

AXLES_KG = np.array([5000.0, 7500.0, 7500.0, 8000.0, 8000.0])
SPACINGS_M = (5.0, 1.3, 9.8, 1.25)
PARTS = {
    Quantity.GROSS_WEIGHT: [[0, 1, 2, 3, 4]],
    Quantity.AXLE_GROUP: [[1, 2], [3, 4]],
    Quantity.SINGLE_AXLE: [[0]],
    Quantity.AXLE_OF_GROUP: [[1], [2], [3], [4]],
    Quantity.AXLE: [[0], [1], [2], [3], [4]],
}
CLASSES = {"astm-e1318": "Type I", "cost-323": "B(10)", "ltpp": "research quality"}
TOLERANCE_PCT = {
    Quantity.GROSS_WEIGHT: 10.0,
    Quantity.AXLE_GROUP: 15.0,
    Quantity.AXLE: 20.0,
}


def trucks() -> list[ReferenceVehicle]:
    return [
        ReferenceVehicle(name, 9, tuple(AXLES_KG), SPACINGS_M) for name in ("T1", "T2")
    ]


def runs_of(weights_kg: np.ndarray) -> list[MeasuredRun]:
    return [
        MeasuredRun(
            run=str(place + 1),
            vehicle=("T1", "T2")[place % 2],
            time=None,
            axle_weights_kg=tuple(row),
            axle_spacings_m=SPACINGS_M,
            speed_kmh=80.0,
            reference_speed_kmh=80.5,
        )
        for place, row in enumerate(weights_kg)
    ]


def bare_session(weights_kg: np.ndarray) -> list[float]:
    found = []
    for parts in PARTS.values():
        reference = np.array([AXLES_KG[part].sum() for part in parts])
        measured = np.column_stack([weights_kg[:, part].sum(axis=1) for part in parts])
        errors = (100.0 * (measured - reference) / reference).ravel()
        mean, sd, n = errors.mean(), errors.std(ddof=1), errors.size
        half = special.stdtrit(n - 1, 0.975) * sd
        within = [
            np.count_nonzero(np.abs(errors) <= limit) for limit in range(5, 40, 5)
        ]
        found += [mean, sd, half, half / n**0.5, *within]
    return found


def many(weights_kg: np.ndarray) -> ManySessions:
    """Sessions from weights of shape (sessions, runs, axles)."""
    n_sessions, n_runs, _ = weights_kg.shape
    flat = {}
    for quantity, parts in PARTS.items():
        reference = np.array([AXLES_KG[part].sum() for part in parts])
        measured = np.stack([weights_kg[..., part].sum(axis=-1) for part in parts], -1)
        held = np.broadcast_to(reference, measured.shape)
        flat[quantity] = FlatErrors(
            quantity=quantity,
            session=np.repeat(np.arange(n_sessions), n_runs * len(parts)),
            run=np.tile(np.repeat(np.arange(n_runs), len(parts)), n_sessions),
            errors=(100.0 * (measured - held) / held).ravel(),
            measured=measured.ravel(),
            reference=held.ravel(),
            reference_gvw_kg=np.full(measured.size, AXLES_KG.sum()),
        )
    nothing = np.empty(0, dtype=np.int64)
    return ManySessions(
        n_sessions, flat, np.full(n_sessions, n_runs), nothing, np.empty(0)
    )


def bare_many(by_quantity: dict[Quantity, np.ndarray]) -> list[np.ndarray]:
    """E1318 Type I on errors of shape (sessions, errors a session)."""
    met = []
    for quantity, tolerance in TOLERANCE_PCT.items():
        errors = by_quantity[quantity]
        n = errors.shape[1]
        n_outside = np.count_nonzero(np.abs(errors) > tolerance, axis=1)
        met += [errors.mean(axis=1), errors.std(axis=1, ddof=1), n_outside <= n // 20]
    return met


def clock(calls: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Median seconds of each call, in interleaved rounds."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(rounds):
        for name, call in calls.items():
            start = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(found) for name, found in times.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--looped", type=int, default=50)
    parser.add_argument("--rounds", type=int, default=7)
    options = parser.parse_args()
    rng = np.random.default_rng(1318)

    weights_kg = AXLES_KG * (1 + rng.normal(0.5, 3.0, (400, 5)) / 100)
    vehicles, runs = trucks(), runs_of(weights_kg)
    one = clock(
        {
            "all of it": lambda: judge_runs(vehicles, runs),
            "errors alone": lambda: run_errors(vehicles, runs),
            "bare numpy": lambda: bare_session(weights_kg),
        },
        options.rounds,
    )
    lines = ["2 trucks with 200 runs each, recomputed"]
    lines += [
        f"  {name:14} {1000 * seconds:8.2f} ms   {seconds / one['bare numpy']:7.1f} x "
        "bare numpy"
        for name, seconds in one.items()
    ]

    shape = (options.sessions, options.runs, 5)
    several_kg = AXLES_KG * (1 + rng.normal(0.5, 3.0, shape) / 100)
    sessions = many(several_kg)
    looped = [run_errors(vehicles, runs_of(w)) for w in several_kg[: options.looped]]
    rectangles = {
        quantity: flat.errors.reshape(options.sessions, -1)
        for quantity, flat in sessions.by_quantity.items()
    }
    lines.append(
        f"{options.sessions:,} sessions of {options.runs} runs under one class"
    )
    for key, name in CLASSES.items():
        judge = find_standard(key).judge
        calls: dict[str, Callable[[], object]] = {
            "one pass": lambda key=key, name=name: rejudge(
                sessions, standard=key, class_name=name
            ),
            "loop": lambda judge=judge, name=name: [
                judge(errors, wanted_class=name) for errors in looped
            ],
        }
        if key == "astm-e1318":
            calls["bare numpy"] = lambda: bare_many(rectangles)
        found = clock(calls, options.rounds)
        loop = found["loop"] * options.sessions / options.looped
        text = (
            f"  {key:11} {name:17} {1000 * found['one pass']:8.1f} ms; the loop takes "
            f"{loop / found['one pass']:6.0f} times as long"
        )
        if "bare numpy" in found:
            text += f"; {found['one pass'] / found['bare numpy']:.1f} x bare numpy"
        lines.append(text)
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
