"""What the checks of a day look at, counted from its records.

Compact, of plain values, and such that the parts of a day add up.

Figures of a day are a mapping:

``classes``
    Vehicles of classes 0 (none) to 15.
``speed``
    ``from``: the first step of 2 km/h; ``n``: vehicles of each step from there on.
``same``
    For the first axle's weight ``w1``, the ``speed`` and the first spacing ``s1``:
    records that have the very value of the one before, records that could be compared,
    and the longest run of one value.
``checks``
    For each check of records: how many break it, and how many could be tested.

A key that is absent is "no data", never zero.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from quality.calc.checks.kinds import RecordCheck
from quality.calc.checks.records import Records
from quality.calc.day_counts import (
    N_CLASSES,
    N_SPEED_STEPS,
    SAME_COLUMNS,
    SPEED_STEP_KMH,
)
from quality.calc.day_speeds import speed_counts

Figures = dict[str, Any]


def record_counts(
    records: Records,
    place: np.ndarray,
    n_days: int,
    checks: Iterable[RecordCheck],
    limits: Mapping[str, float],
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """How many records of each day break each check, and how many were tested.

    Parameters
    ----------
    place : int64, (n,)
        Day of each record, 0 to n_days − 1.
    limits
        The agency's own by check key, in place of the defaults.

    Returns
    -------
    By check key, two arrays (n_days,).
    """
    all_of_them = np.bincount(place, minlength=n_days)
    counts = {}
    for check in checks:
        result = check.run(records, limits.get(check.key, check.default_limit))
        broken = np.bincount(place[result.broken], minlength=n_days)
        whole = bool(result.tested.all())
        tested = (
            all_of_them
            if whole
            else np.bincount(place[result.tested], minlength=n_days)
        )
        counts[check.key] = (broken, tested)
    return counts


def day_figures(
    records: Records,
    place: np.ndarray,
    days: np.ndarray,
    vehicle_class: np.ndarray,
    counts: Mapping[str, tuple[np.ndarray, np.ndarray]],
) -> list[Figures]:
    """Figures of each of ``days`` (their places).

    Parameters
    ----------
    place : int64, (n,)
        Day of each record; ``days`` holds the places that are wanted.
    vehicle_class : (n,)
        Class of each record, 0 where there is none.
    counts
        From :func:`record_counts`.
    """
    n_days = int(place.max(initial=-1)) + 1
    classes = np.bincount(place * N_CLASSES + vehicle_class, minlength=n_days * 16)
    classes = classes.reshape(n_days, N_CLASSES)
    speeds = _speeds(records, place, n_days)
    same = {
        name: _same(records.column(column), place, n_days)
        for name, column in SAME_COLUMNS.items()
    }
    return [
        _of_day(
            {
                "classes": classes[day].tolist(),
                "speed": None if speeds is None else _trimmed(speeds[day]),
                "same": {
                    name: values[day].tolist()
                    for name, values in same.items()
                    if values[day, 1]
                },
                "checks": {
                    key: [int(broken[day]), int(tested[day])]
                    for key, (broken, tested) in counts.items()
                    if tested[day]
                },
            }
        )
        for day in days.tolist()
    ]


def _of_day(figures: Figures) -> Figures:
    return {key: value for key, value in figures.items() if value}


def _speeds(records: Records, place: np.ndarray, n_days: int) -> np.ndarray | None:
    speed = records.column("speed_kmh")
    known = np.isfinite(speed) & (speed >= 0)
    if not known.any():
        return None
    step = np.minimum(speed[known] / SPEED_STEP_KMH, N_SPEED_STEPS - 1).astype(np.int64)
    cell = place[known] * N_SPEED_STEPS + step
    return np.bincount(cell, minlength=n_days * N_SPEED_STEPS).reshape(n_days, -1)


def _trimmed(counts: np.ndarray) -> Figures | None:
    used = np.flatnonzero(counts)
    if len(used) == 0:
        return None
    first, last = int(used[0]), int(used[-1])
    return {"from": first, "n": counts[first : last + 1].tolist()}


def _same(values: np.ndarray, place: np.ndarray, n_days: int) -> np.ndarray:
    """Equal neighbours, those compared and the longest run of each day, (n_days, 3)."""
    out = np.zeros((n_days, 3), dtype=np.int64)
    if len(values) < 2 or np.isnan(values).all():
        return out
    together = place[1:] == place[:-1]
    compared = together & ~np.isnan(values[1:]) & ~np.isnan(values[:-1])
    equal = together & (values[1:] == values[:-1])
    day = place[1:]
    out[:, 0] = np.bincount(day[equal], minlength=n_days)
    out[:, 1] = np.bincount(day[compared], minlength=n_days)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], equal, [False]])))
    starts, stops = edges[::2], edges[1::2]
    np.maximum.at(out[:, 2], day[starts], stops - starts + 1)
    out[:, 2] = np.where(out[:, 1] > 0, np.maximum(out[:, 2], 1), 0)
    return out


def merged(parts: Iterable[Mapping[str, Any] | None]) -> Figures:
    """Figures of one day from those of its parts.

    Records on either side of a cut are not compared, so a run that a cut divides
    counts as two.
    """
    out: Figures = {}
    for part in parts:
        if not part:
            continue
        if not out:
            out = dict(part)
            continue
        _add(out, part)
    return out


def _add(out: Figures, part: Mapping[str, Any]) -> None:
    if "classes" in part:
        before = out.get("classes", [0] * N_CLASSES)
        out["classes"] = [a + b for a, b in zip(before, part["classes"], strict=True)]
    if "speed" in part:
        counts = speed_counts(out) + speed_counts(part)
        out["speed"] = _trimmed(counts)
    if "same" in part:
        same = dict(out.get("same", {}))
        for name, (equal, compared, longest) in part["same"].items():
            a, b, c = same.get(name, (0, 0, 0))
            same[name] = [a + equal, b + compared, max(c, longest)]
        out["same"] = same
    if "checks" in part:
        checks = dict(out.get("checks", {}))
        for key, (broken, tested) in part["checks"].items():
            a, b = checks.get(key, (0, 0))
            checks[key] = [a + broken, b + tested]
        out["checks"] = checks
