"""Axle load spectra in the bins of mechanistic-empirical pavement design.

Bins as FHWA-HRT-13-090, table 56, has them (read): the first holds loads below 3,000 lb
for single axles, 6,000 lb for tandems, 12,000 lb for tridems and quads; then steps of
1,000, 2,000 and 3,000 lb. The number of bins, 39 for singles and tandems and 31 for
tridems and quads, is from memory. Heavier groups are counted beside the bins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from quality.calc.axle_groups import AxleGroupLoads, AxleKind
from quality.calc.volumes import N_CLASSES
from quality.records.schema import times_ms
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB

METHOD_VERSION = "load-spectra-1"


@dataclass(frozen=True)
class LoadBins:
    """Bins of one kind of axle group, in whole pounds.

    Attributes
    ----------
    first_lb
        The first bin holds all that is lighter.
    step_lb
        Width of every other bin.
    n
        Bins.
    """

    first_lb: int
    step_lb: int
    n: int

    @property
    def edges_lb(self) -> np.ndarray:
        """Ends of the bins from zero, int64, (n + 1,); a bin holds its lower end."""
        return np.concatenate(
            [[0], self.first_lb + self.step_lb * np.arange(self.n, dtype=np.int64)]
        )

    def place(self, load_kg: np.ndarray) -> np.ndarray:
        """Bin of each load to the nearest pound, ``n`` for what is heavier, (m,)."""
        pounds = np.rint(load_kg / KG_PER_LB).astype(np.int64)
        place = (pounds - self.first_lb) // self.step_lb + 1
        return np.clip(place, 0, self.n)


BINS: dict[AxleKind, LoadBins] = {
    AxleKind.SINGLE: LoadBins(3_000, 1_000, 39),
    AxleKind.TANDEM: LoadBins(6_000, 2_000, 39),
    AxleKind.TRIDEM: LoadBins(12_000, 3_000, 31),
    AxleKind.QUAD: LoadBins(12_000, 3_000, 31),
}


@dataclass(frozen=True)
class LoadSpectra:
    """Counts of axle groups by month, class, kind and bin.

    Attributes
    ----------
    months : datetime64[M], (m,)
        Months with vehicles, in order.
    n_vehicles : int64, (m, 16)
        Vehicles by month and class (0 unclassified).
    counts
        For each kind int64, (m, 16, bins + 1); the last column is heavier than all
        bins.
    n_larger : int64, (m, 16)
        Groups of five axles and more, which have no bins.
    n_unknown
        Groups left out because a weight is unknown.
    """

    months: np.ndarray
    n_vehicles: np.ndarray
    counts: dict[AxleKind, np.ndarray]
    n_larger: np.ndarray
    n_unknown: int

    def shares(self, kind: AxleKind) -> np.ndarray:
        """Normalised spectra, (m, 16, bins): each sums to 1, NaN where no group is.

        What is heavier than all bins is left out, as design's tables have no place for
        it; :attr:`counts` tells how many there were.
        """
        inside = self.counts[kind][..., :-1].astype(np.float64)
        total = inside.sum(axis=-1, keepdims=True)
        return np.divide(
            inside, total, out=np.full(inside.shape, np.nan), where=total > 0
        )

    def groups_per_vehicle(self, kind: AxleKind) -> np.ndarray:
        """Mean number of groups of a kind, (16,) by class; NaN without vehicles."""
        n = self.n_vehicles.sum(axis=0).astype(np.float64)
        groups = self.counts[kind].sum(axis=(0, 2)).astype(np.float64)
        return np.divide(groups, n, out=np.full(n.shape, np.nan), where=n > 0)

    def frame(self) -> pd.DataFrame:
        """One row for each month, class, kind and bin that holds a group.

        ``month`` (its first day), ``vehicle_class``, ``axle_kind``, ``from_lb``,
        ``to_lb`` (excluded; missing above all bins), ``n`` and ``share`` of the month,
        class and kind's groups, those above all bins included.
        """
        parts = []
        for kind, counts in self.counts.items():
            month, vehicle_class, place = np.nonzero(counts)
            n = counts[month, vehicle_class, place]
            edges = BINS[kind].edges_lb.astype(np.float64)
            parts.append(
                pd.DataFrame(
                    {
                        "month": self.months[month].astype("datetime64[s]"),
                        "vehicle_class": vehicle_class,
                        "axle_kind": kind.name.lower(),
                        "from_lb": edges[place],
                        "to_lb": np.append(edges[1:], np.nan)[place],
                        "n": n,
                        "share": n / counts.sum(axis=-1)[month, vehicle_class],
                    }
                )
            )
        return pd.concat(parts, ignore_index=True)


def load_spectra(
    table: pa.Table | pa.RecordBatch,
    groups: AxleGroupLoads,
    vehicle_class: np.ndarray,
) -> LoadSpectra:
    """Count axle groups by month, class, kind and load.

    Parameters
    ----------
    table
        Records of one lane or of several.
    groups
        Their axle groups.
    vehicle_class : int8, (n,)
        Class of each record, 0 to 15.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When ``groups`` or ``vehicle_class`` belong to another table.
    """
    n = table.num_rows
    if groups.n_vehicles != n or len(vehicle_class) != n:
        raise DomainError(
            f"Load spectra: axle groups of {groups.n_vehicles} vehicles and "
            f"{len(vehicle_class)} classes do not belong to a table of {n}."
        )
    months, cell = month_cells(table)
    cell = cell * N_CLASSES + vehicle_class
    n_cells = len(months) * N_CLASSES
    shape = (len(months), N_CLASSES)
    known = ~np.isnan(groups.load_kg)
    kinds = groups.kind
    counts = {}
    for kind, bins in BINS.items():
        which = np.flatnonzero(known & (kinds == kind))
        place = bins.place(groups.load_kg[which])
        found = np.bincount(
            cell[groups.row[which]] * (bins.n + 1) + place,
            minlength=n_cells * (bins.n + 1),
        )
        counts[kind] = found.reshape(*shape, bins.n + 1)
    larger = groups.row[known & (kinds == AxleKind.LARGER)]
    return LoadSpectra(
        months,
        n_vehicles=np.bincount(cell, minlength=n_cells).reshape(shape),
        counts=counts,
        n_larger=np.bincount(cell[larger], minlength=n_cells).reshape(shape),
        n_unknown=int((~known).sum()),
    )


def month_cells(table: pa.Table | pa.RecordBatch) -> tuple[np.ndarray, np.ndarray]:
    """Months with vehicles in order, and each record's place among them.

    Returns
    -------
    months : datetime64[M], (m,)
    place : int64, (n,)
    """
    days = times_ms(table).view(np.int64) // 86_400_000
    if len(days) == 0:
        return np.zeros(0, "datetime64[M]"), np.zeros(0, np.int64)
    low, high = int(days.min()), int(days.max())
    every = np.arange(low, high + 1).astype("datetime64[D]").astype("datetime64[M]")
    used = np.bincount(days - low, minlength=len(every)) > 0
    months = np.unique(every[used])
    return months, np.searchsorted(months, every)[days - low]


@dataclass(frozen=True)
class GrossHistogram:
    """Vehicles by month, class and gross weight.

    Attributes
    ----------
    months : datetime64[M], (m,)
    step_kg
        Width of a bin [kg].
    counts : int64, (m, 16, bins + 1)
        The last column holds what is heavier than all bins.
    """

    months: np.ndarray
    step_kg: float
    counts: np.ndarray

    @property
    def edges_kg(self) -> np.ndarray:
        """Ends of the bins [kg], (bins + 1,)."""
        return np.arange(self.counts.shape[-1]) * self.step_kg


def gross_histogram(
    table: pa.Table | pa.RecordBatch,
    vehicle_class: np.ndarray,
    *,
    step_kg: float = 2_000 * KG_PER_LB,
    n_bins: int = 75,
) -> GrossHistogram:
    """Count vehicles by month, class and gross weight.

    Parameters
    ----------
    table
        Vehicle records.
    vehicle_class : int8, (n,)
        Class of each record, 0 to 15.
    step_kg, n_bins
        Width [kg] and number of bins from zero; by default 2,000 lb up to 150,000 lb.
    """
    months, cell = month_cells(table)
    gvw = np.asarray(table.column("gvw_kg"), dtype=np.float64)
    # float32 keeps a whole pound to 0.002 kg at 80,000 lb: that stays in its bin
    place = np.clip(np.floor((gvw + 0.01) / step_kg), 0, n_bins).astype(np.int64)
    cell = (cell * N_CLASSES + vehicle_class) * (n_bins + 1) + place
    shape = (len(months), N_CLASSES, n_bins + 1)
    counts = np.bincount(cell, minlength=int(np.prod(shape))).reshape(shape)
    return GrossHistogram(months, step_kg, counts)
