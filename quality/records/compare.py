"""Two deliveries of the same days, record by record, in bounded memory.

Records have no number of their own, so a delivery is a multiset of them: each record is
laid down as one 64-bit digest of its values beside its day. What waits lies in files,
one a lane and month, and only one month of one lane is in memory at a time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records.schema import STORE_SCHEMA, times_ms, with_optional

LAID = np.dtype([("day", "<i4"), ("digest", "<u8"), ("gvw_kg", "<f4"), ("hour", "u1")])
"""A record as it is compared: day [days since 1970-01-01], digest, weight and hour."""
_NOT_COMPARED = frozenset({"time", "source_line"})
_ODD = np.uint64(0x9E3779B97F4A7C15)
_MIX = np.uint64(0xBF58476D1CE4E5B9)


def record_digests(table: pa.Table) -> np.ndarray:
    """One digest a record of everything but its line number, shape (n,), uint64.

    Equal records have equal digests; different ones the same by chance about once in
    2⁶⁴ pairs.
    """
    table = with_optional(table)
    digest = _mixed(
        np.zeros(table.num_rows, dtype=np.uint64), times_ms(table).view("<i8")
    )
    for field in STORE_SCHEMA:
        if field.name not in _NOT_COMPARED:
            column = pc.cast(table.column(field.name), pa.float32())
            values = np.array(column.to_numpy(zero_copy_only=False), dtype="<f4")
            values[np.isnan(values)] = np.float32(np.nan)
            digest = _mixed(digest, (values + np.float32(0)).view("<u4"))
    return digest


def _mixed(digest: np.ndarray, bits: np.ndarray) -> np.ndarray:
    mixed = (digest + _ODD) ^ bits.astype(np.uint64)
    mixed = mixed * _MIX
    mixed ^= mixed >> np.uint64(29)
    return np.asarray(mixed)


def laid_down(table: pa.Table) -> np.ndarray:
    """The records as :data:`LAID`, shape (n,)."""
    times = times_ms(table)
    out = np.empty(table.num_rows, dtype=LAID)
    days = times.astype("M8[D]")
    out["day"] = days.astype(np.int64)
    out["hour"] = (times - days).astype("m8[h]").astype(np.int64)
    out["digest"] = record_digests(table)
    out["gvw_kg"] = table.column("gvw_kg").to_numpy()
    return out


def day_mask(table: pa.Table, days: Iterable[Any]) -> np.ndarray:
    """Which records are of these days, shape (n,), bool."""
    wanted = np.array(sorted(days), dtype="M8[D]")
    return np.isin(times_ms(table).astype("M8[D]"), wanted)


class LaidRecords:
    """Records laid by in files, one a lane and month, until they are compared."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def add(self, name: str, table: pa.Table) -> None:
        """Lay by records of one lane, of any months."""
        rows = laid_down(table)
        months = rows["day"].astype("M8[D]").astype("M8[M]")
        for month in np.unique(months):
            with self._file(name, month).open("ab") as out:
                out.write(rows[months == month].tobytes())

    def of(self, name: str, month: np.datetime64) -> np.ndarray:
        """A lane's records of a month, :data:`LAID`; empty when it has none."""
        path = self._file(name, month)
        return np.fromfile(path, LAID) if path.exists() else np.empty(0, LAID)

    def _file(self, name: str, month: np.datetime64) -> Path:
        return self.folder / f"{name}.{month.astype('M8[M]')}"


@dataclass(frozen=True)
class DayDifference:
    """One day of one lane in an older and in a newer delivery.

    Attributes
    ----------
    n_old, n_new
        Records.
    gvw_old_kg, gvw_new_kg
        Sums of gross weights [kg].
    hours_old, hours_new
        Hours of the day that hold a record.
    n_same, n_only_old, n_only_new
        Records that both have (as often as both have them), and the rest of each.
    """

    date: str
    n_old: int
    n_new: int
    gvw_old_kg: float
    gvw_new_kg: float
    hours_old: int
    hours_new: int
    n_same: int
    n_only_old: int
    n_only_new: int


def day_differences(
    old: np.ndarray, new: np.ndarray, days: Iterable[Any]
) -> list[DayDifference]:
    """Compare two deliveries day by day.

    Parameters
    ----------
    old, new
        :data:`LAID` records, in any order.
    days
        Days to compare, as dates.
    """
    found = []
    for day in np.array(sorted(days), dtype="M8[D]"):
        number = day.astype(np.int64)
        one, two = old[old["day"] == number], new[new["day"] == number]
        n_same = _shared(one["digest"], two["digest"])
        found.append(
            DayDifference(
                date=str(day),
                n_old=one.size,
                n_new=two.size,
                gvw_old_kg=float(one["gvw_kg"].sum(dtype=float)),
                gvw_new_kg=float(two["gvw_kg"].sum(dtype=float)),
                hours_old=np.unique(one["hour"]).size,
                hours_new=np.unique(two["hour"]).size,
                n_same=n_same,
                n_only_old=one.size - n_same,
                n_only_new=two.size - n_same,
            )
        )
    return found


def _shared(one: np.ndarray, two: np.ndarray) -> int:
    """Size of the intersection of two multisets."""
    values_1, counts_1 = np.unique(one, return_counts=True)
    values_2, counts_2 = np.unique(two, return_counts=True)
    _, at_1, at_2 = np.intersect1d(
        values_1, values_2, assume_unique=True, return_indices=True
    )
    return int(np.minimum(counts_1[at_1], counts_2[at_2]).sum())
