"""Daily sums of vehicle records: what every screen and report reads instead of them.

Sums, counts and sums of squares only, so that days of several parts add up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from quality.calc.checks import RECORD_CHECKS, Records
from quality.calc.classify import RECORDED_UNCLASSIFIED, UNCLASSIFIED
from quality.calc.day_counts import N_CLASSES
from quality.calc.day_figures import Figures, day_figures, merged, record_counts
from quality.calc.days import HOUR_COLUMNS
from quality.calc.legal_limits import HALF_A_POUND_KG
from quality.records.report import HourMark
from quality.records.schema import times_ms

METHOD_VERSION = "daily-2"
LEGAL_GROSS_KG = 36287.3896
"""80,000 lb, the US federal limit (confirmed); a program sets its own."""

CLASS_COLUMNS = (
    "n_vehicles",
    "gvw_sum_kg",
    "steering_sum_kg",
    "steering_sum_sq_kg2",
    "n_over_gross",
)
DAY_COLUMNS = ("n_vehicles", "n_unclassified", "n_implausible", "hours_seen")


@dataclass(frozen=True)
class Daily:
    """Sums of one lane.

    Attributes
    ----------
    by_class
        One row a date and class (0 unclassified, 1–15): ``date`` (datetime64[s] at
        midnight), ``vehicle_class``, and :data:`CLASS_COLUMNS` [kg, kg²].
    by_day
        One row a date: ``date``, :data:`DAY_COLUMNS` and the vehicles of each hour,
        ``h00`` to ``h23``. ``hours_seen`` has bit h set when hour h holds a vehicle,
        or the file says that it was recorded and empty. ``figures`` is what
        :mod:`quality.calc.day_figures` counts for the checks, a mapping a day.
    """

    by_class: pd.DataFrame
    by_day: pd.DataFrame


def daily_sums(
    table: pa.Table | pa.RecordBatch,
    *,
    legal_gross_kg: float = LEGAL_GROSS_KG,
    vehicle_class: np.ndarray | None = None,
    limits: Mapping[str, float] | None = None,
) -> Daily:
    """Sum one lane's records by day and by day and class.

    Parameters
    ----------
    table
        Records of one lane, ``STORE_SCHEMA``, in any order.
    legal_gross_kg
        A vehicle heavier than this counts as over gross [kg].
    vehicle_class : int8, (n,), optional
        Classes to use; by default the record's, and the rules' where it has none.
    limits
        The agency's own limits of the checks of records by key; others are ignored.

    Notes
    -----
    The steering axle is the first. Class 15 of the record counts as unclassified.
    """
    n = table.num_rows
    if n == 0:
        return _empty()
    records = Records(table)
    if vehicle_class is None:
        vehicle_class = records.effective_class
    hours = times_ms(table).astype(np.int64) // 3_600_000
    days = hours // 24
    first = int(days.min())
    place = (days - first).astype(np.int64)
    n_days = int(place.max()) + 1
    cell = place * N_CLASSES + vehicle_class
    n_cells = n_days * N_CLASSES
    gvw = records.column("gvw_kg").astype(np.float64)
    steering = records.column("w1_kg").astype(np.float64)
    sums = {
        "n_vehicles": np.bincount(cell, minlength=n_cells),
        "gvw_sum_kg": np.bincount(cell, gvw, n_cells),
        "steering_sum_kg": np.bincount(cell, steering, n_cells),
        "steering_sum_sq_kg2": np.bincount(cell, steering * steering, n_cells),
        "n_over_gross": np.bincount(
            cell[gvw > legal_gross_kg + HALF_A_POUND_KG], minlength=n_cells
        ),
    }
    used = np.flatnonzero(sums["n_vehicles"])
    by_class = pd.DataFrame(
        {
            "date": _dates(first + used // N_CLASSES),
            "vehicle_class": (used % N_CLASSES).astype(np.int64),
            **{name: values[used] for name, values in sums.items()},
        }
    )
    by_hour = np.bincount(
        place * 24 + (hours - days * 24), minlength=n_days * 24
    ).reshape(n_days, 24)
    unknown = (vehicle_class == UNCLASSIFIED) | (vehicle_class == RECORDED_UNCLASSIFIED)
    own = {"legal-gross": legal_gross_kg, **(limits or {})}
    counts = record_counts(records, place, n_days, RECORD_CHECKS, own)
    per_day = {
        "n_vehicles": by_hour.sum(axis=1),
        "n_unclassified": np.bincount(place[unknown], minlength=n_days),
        "n_implausible": counts["physical-limits"][0],
        "hours_seen": (by_hour > 0) @ (1 << np.arange(24)),
    }
    seen = np.flatnonzero(per_day["n_vehicles"])
    by_day = pd.DataFrame(
        {
            "date": _dates(first + seen),
            **{name: values[seen].astype(np.int64) for name, values in per_day.items()},
            **{name: by_hour[seen, h] for h, name in enumerate(HOUR_COLUMNS)},
            "figures": day_figures(records, place, seen, vehicle_class, counts),
        }
    )
    return Daily(by_class, by_day)


def _dates(day_numbers: np.ndarray) -> np.ndarray:
    return day_numbers.astype("datetime64[D]").astype("datetime64[s]")


def _empty() -> Daily:
    by_class = pd.DataFrame(
        {
            "date": _dates(np.zeros(0, dtype=np.int64)),
            "vehicle_class": np.zeros(0, dtype=np.int64),
            **{
                name: np.zeros(0, dtype=np.float64 if "sum" in name else np.int64)
                for name in CLASS_COLUMNS
            },
        }
    )
    names = (*DAY_COLUMNS, *HOUR_COLUMNS)
    by_day = pd.DataFrame(
        {
            "date": _dates(np.zeros(0, dtype=np.int64)),
            **{name: np.zeros(0, dtype=np.int64) for name in names},
            "figures": np.zeros(0, dtype=object),
        }
    )
    return Daily(by_class, by_day)


def combine(parts: Iterable[Daily]) -> Daily:
    """Add up the sums of several parts of one lane."""
    all_parts: Sequence[Daily] = list(parts)
    if not all_parts:
        return _empty()
    by_class = pd.concat([part.by_class for part in all_parts])
    by_day = pd.concat([part.by_day for part in all_parts])
    seen = by_day.groupby("date")["hours_seen"].apply(
        lambda bits: int(np.bitwise_or.reduce(bits.to_numpy(dtype=np.int64)))
    )
    figures: dict[pd.Timestamp, list[Figures]] = {}
    for date, of_part in zip(by_day["date"], by_day["figures"], strict=True):
        figures.setdefault(date, []).append(of_part)
    days = by_day.drop(columns=["hours_seen", "figures"]).groupby("date").sum()
    days.insert(len(DAY_COLUMNS) - 1, "hours_seen", seen.astype(np.int64))
    days["figures"] = pd.Series({date: merged(of) for date, of in figures.items()})
    classes = by_class.groupby(["date", "vehicle_class"]).sum()
    return Daily(classes.reset_index(), days.reset_index())


def with_hour_marks(daily: Daily, marks: Iterable[HourMark]) -> Daily:
    """Take a file's hour marks of this lane into ``hours_seen``.

    A recorded hour without trucks (``d``) is seen; a missing one (``m``) is not, unless
    a record of that hour says otherwise. A day that has only marks gets a row.
    """
    bits: dict[np.datetime64, int] = {}
    for mark in marks:
        hour = mark.hour.astype("datetime64[h]")
        day = hour.astype("datetime64[D]")
        bit = 0 if mark.missing else 1 << int((hour - day).astype(int))
        bits[day] = bits.get(day, 0) | bit
    if not bits:
        return daily
    zero = np.zeros(len(bits), dtype=np.int64)
    marked = pd.DataFrame(
        {
            "date": np.array(list(bits), "datetime64[D]").astype("datetime64[s]"),
            **dict.fromkeys((*DAY_COLUMNS, *HOUR_COLUMNS), zero),
            "hours_seen": np.array(list(bits.values()), dtype=np.int64),
            "figures": [{} for _ in bits],
        }
    )
    return combine([daily, Daily(_empty().by_class, marked)])


def hours_of(bits: int) -> list[int]:
    """The hours whose bits are set, in order.

    >>> hours_of(0b101)
    [0, 2]
    """
    return [hour for hour in range(24) if bits >> hour & 1]
