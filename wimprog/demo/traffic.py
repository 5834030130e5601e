"""The demo's traffic: heavy vehicles of a lane's year, and what its sensors made of it.

Pure and vectorised. True weights come from a mixture of axle configurations; the lane
records them times its gain of the day, with noise.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pyarrow as pa

from quality.records.schema import (
    OPTIONAL_COLUMNS,
    SPACING_COLUMNS,
    STORE_SCHEMA,
    WEIGHT_COLUMNS,
    TimeResolution,
    with_resolution,
)
from wimprog.demo.scenario import LanePlan, _number, pavement_temp_c
from wimprog.demo.traits import HOURS, KG_PER_KIP, MONTHS, STREAM, WEEKDAYS

MAX_AXLES = 7
LB = KG_PER_KIP / 1000
GROWTH = 0.015


def silent_days(lane: LanePlan, days: np.ndarray) -> np.ndarray:
    """Days on which the lane recorded nothing."""
    out = np.zeros(days.size, dtype=bool)
    for fault in lane.faults:
        if fault.is_silent:
            out |= (days >= _number(fault.from_on)) & (days <= _number(fault.to_on))
    return out


def erratic_days(lane: LanePlan, days: np.ndarray) -> np.ndarray:
    """Days on which the lane recorded with one sensor gone."""
    out = np.zeros(days.size, dtype=bool)
    for fault in lane.faults:
        if not fault.is_silent:
            out |= (days >= _number(fault.from_on)) & (days <= _number(fault.to_on))
    return out


def lane_vehicles(lane: LanePlan, first_on: dt.date, last_on: dt.date) -> pa.Table:
    """What a lane recorded from a day to a day, in ``STORE_SCHEMA``, in time order."""
    rng = np.random.default_rng([lane.seed, first_on.year, 7])
    days = np.arange(_number(first_on), _number(last_on) + 1)
    weekday = (days + 3) % 7
    month = days.astype("datetime64[D]").astype("datetime64[M]").astype(int) % 12
    years = (days - days[0]) / 365.25 + (first_on - lane.opened_on).days / 365.25
    mean = (
        lane.trucks_a_day
        * np.array(WEEKDAYS)[weekday]
        * np.array(MONTHS)[month]
        * (1 + GROWTH * years)
        * np.exp(rng.normal(0, 0.07, days.size))
    )
    mean[silent_days(lane, days)] = 0
    count = rng.poisson(mean)
    n = int(count.sum())
    day = np.repeat(days, count)
    profile = np.array(HOURS) / sum(HOURS)
    hour = rng.choice(24, size=n, p=profile)
    order = np.lexsort((hour, day))
    day, hour = day[order], hour[order]
    weights, spacings, axles, classes = _true_vehicles(n, rng)
    gain = lane.gain(days, pavement_temp_c(days))[day - days[0]]
    noise = lane.traits.axle_noise
    body = 1 + rng.normal(0, 0.45 * noise, n)
    axle_noise = 1 + rng.normal(0, 0.85 * noise, weights.shape)
    recorded = weights * (gain * body)[:, None] * axle_noise
    wrong = erratic_days(lane, days)[day - days[0]]
    if wrong.any():
        recorded[wrong] *= rng.uniform(0.45, 0.75, (int(wrong.sum()), 1))
    pounds = np.rint(recorded / LB)
    pounds[weights > 0] = np.maximum(pounds[weights > 0], 400)
    spacings = np.where(
        spacings > 0, np.rint(spacings * rng.normal(1, 0.004, (n, 1)) / 0.03048), 0
    )
    speed = np.rint(rng.normal(61, 4.5, n).clip(35, 85)) * 1.609344
    return _table(day, hour, classes, speed, axles, pounds * LB, spacings * 0.03048)


def _true_vehicles(
    n: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Weights [kg] and spacings [m], zero beyond the last axle; axles; classes."""
    shares = np.array([kind.share for kind in STREAM])
    kinds = rng.choice(len(STREAM), size=n, p=shares / shares.sum())
    weights = np.zeros((n, MAX_AXLES))
    spacings = np.zeros((n, MAX_AXLES - 1))
    axles = np.zeros(n, dtype=np.int8)
    classes = np.zeros(n, dtype=np.int8)
    for place, kind in enumerate(STREAM):
        rows = np.flatnonzero(kinds == place)
        if not rows.size:
            continue
        loads = np.array(kind.loads)
        which = rng.choice(
            len(loads), size=rows.size, p=loads[:, 0] / loads[:, 0].sum()
        )
        gross = rng.normal(loads[which, 1], loads[which, 2]).clip(7.0, 140.0)
        steering = kind.steering_kip + kind.steering_slope * gross
        steering = (steering * rng.normal(1, 0.055, rows.size)).clip(2.5, 0.7 * gross)
        rest = (gross - steering)[:, None] * np.array(kind.split)
        rest *= rng.normal(1, 0.04, rest.shape)
        n_axles = 1 + rest.shape[1]
        weights[rows, 0] = steering
        weights[np.ix_(rows, np.arange(1, n_axles))] = rest
        spacings[np.ix_(rows, np.arange(n_axles - 1))] = np.array(
            kind.spacings_m
        ) * rng.normal(1, 0.03, (rows.size, n_axles - 1))
        axles[rows] = n_axles
        classes[rows] = kind.vehicle_class
    return weights * KG_PER_KIP, spacings, axles, classes


def _table(
    day: np.ndarray,
    hour: np.ndarray,
    classes: np.ndarray,
    speed: np.ndarray,
    axles: np.ndarray,
    weights_kg: np.ndarray,
    spacings_m: np.ndarray,
) -> pa.Table:
    schema = with_resolution(STORE_SCHEMA, TimeResolution.HOUR)
    n = day.size
    time = (day * 24 + hour).astype("datetime64[h]").astype("datetime64[ms]")
    columns: dict[str, pa.Array] = {
        "time": pa.array(time),
        "vehicle_class": pa.array(classes),
        "speed_kmh": pa.array(speed.astype(np.float32)),
        "gvw_kg": pa.array(weights_kg.sum(axis=1).astype(np.float32)),
        "n_axles": pa.array(axles),
        "source_line": pa.array(np.arange(1, n + 1, dtype=np.int32)),
    }
    for place, name in enumerate(WEIGHT_COLUMNS):
        columns[name] = _column(weights_kg, place, n)
    for place, name in enumerate(SPACING_COLUMNS):
        columns[name] = _column(spacings_m, place, n)
    for name in OPTIONAL_COLUMNS:
        columns[name] = pa.nulls(n, pa.float32())
    return pa.table(
        [columns[name].cast(schema.field(name).type) for name in schema.names],
        schema=schema,
    )


def _column(values: np.ndarray, place: int, n: int) -> pa.Array:
    if place >= values.shape[1]:
        return pa.nulls(n, pa.float32())
    column = values[:, place].astype(np.float32)
    return pa.array(column, mask=column <= 0)
