"""What lanes carried: the sums that pages, sheets and factors are made from.

Each stored part is summed by itself, wherever the executor works, and the sums are
added in the parts' order, so that the totals are the same to the last bit everywhere.
Only the days that a rule lets in are counted; weights are scaled only where a rule
names a scaling, and how many vehicles that touched is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa

from quality.calc.axle_groups import AxleKind, axle_groups
from quality.calc.classify import effective_class
from quality.calc.esals import FlexiblePavement, Pavement, RigidPavement, vehicle_esals
from quality.calc.legal_limits import LegalLimits
from quality.calc.load_spectra import (
    BINS,
    GrossHistogram,
    LoadSpectra,
    gross_histogram,
    load_spectra,
    month_cells,
)
from quality.calc.overweight import FEDERAL, KINDS, overweight
from quality.calc.sample_mean import SampleShare
from quality.calc.scaled_weights import Scaling, scaled
from quality.calc.volumes import N_CLASSES, HourlyVolumes, hourly_volumes
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS, times_ms
from wimprog.lib.units import KG_PER_LB

METHOD_VERSION = "carried-1"
COLUMNS = (
    "time", "vehicle_class", "gvw_kg", "n_axles", *WEIGHT_COLUMNS, *SPACING_COLUMNS,
)  # fmt: skip
"""What is read of each record."""
N_GROSS_BINS = 75
FLEXIBLE, RIGID = FlexiblePavement(), RigidPavement()
_DAY_MS = 86_400_000


@dataclass(frozen=True)
class ScaledSpan:
    """Days whose weights are scaled, both ends included."""

    first: np.datetime64
    last: np.datetime64
    scaling: Scaling


@dataclass(frozen=True)
class CarriedRule:
    """What is counted of a lane, and by what.

    Attributes
    ----------
    days : datetime64[D], (d,)
        Days that are let in, sorted.
    spans
        Where weights are scaled; they do not overlap.
    limits
        Of weight.
    flexible, rigid
        Pavements that equivalent axle loads are reckoned for.
    gross_step_kg
        Width of a bin of gross weight [kg].
    """

    days: np.ndarray
    spans: tuple[ScaledSpan, ...] = ()
    limits: LegalLimits = FEDERAL
    flexible: FlexiblePavement = FLEXIBLE
    rigid: RigidPavement = RIGID
    gross_step_kg: float = 2_000 * KG_PER_LB

    def lets_in(self, days: np.ndarray) -> np.ndarray:
        """Which of the records' days are counted, bool, (n,)."""
        if len(self.days) == 0:
            return np.zeros(len(days), dtype=bool)
        wanted = self.days.astype("datetime64[D]").astype(np.int64)
        low = int(wanted[0])
        table = np.zeros(int(wanted[-1]) - low + 1, dtype=bool)
        table[wanted - low] = True
        place = days - low
        inside = (place >= 0) & (place < len(table))
        return np.asarray(inside & table[np.where(inside, place, 0)])


@dataclass(frozen=True)
class EsalCounts:
    """Equivalent single axle loads by month and class.

    Attributes
    ----------
    loads : float64, (m, 16)
    n_groups, n_unknown, n_beyond_guide
        Axle groups added up, left out because a weight is unknown, and of more than
        three axles (the equation was carried on to those).
    pavement
        In a few words.
    """

    loads: np.ndarray
    n_groups: int
    n_unknown: int
    n_beyond_guide: int
    pavement: str

    @property
    def by_class(self) -> np.ndarray:
        """Of the whole period, float64, (16,)."""
        return np.asarray(self.loads.sum(axis=0))

    @property
    def total(self) -> float:
        """Of everything."""
        return float(self.by_class.sum())


@dataclass(frozen=True)
class Carried:
    """What was carried in some days.

    Attributes
    ----------
    days : datetime64[D], (d,)
        Consecutive days.
    hourly : int64, (d, 24, 16)
        Vehicles by day, hour and class (0 unclassified).
    spectra, gross
        Axle groups and gross weights; both hold the same months.
    flexible, rigid
        Equivalent single axle loads.
    over
        For each of :data:`quality.calc.overweight.KINDS` the vehicles over that limit
        by class, int64, (16,).
    n_worked_out
        Vehicles whose class was blank and worked out by the rules.
    n_scaled
        Vehicles whose weights were scaled.
    """

    days: np.ndarray
    hourly: np.ndarray
    spectra: LoadSpectra
    gross: GrossHistogram
    flexible: EsalCounts
    rigid: EsalCounts
    over: dict[str, np.ndarray] = field(compare=False)
    n_worked_out: int
    n_scaled: int

    @property
    def by_class(self) -> np.ndarray:
        """Vehicles by class, int64, (16,)."""
        return np.asarray(self.spectra.n_vehicles.sum(axis=0))

    @property
    def n_vehicles(self) -> int:
        """All vehicles."""
        return int(self.by_class.sum())

    def over_shares(self, vehicle_class: int | None = None) -> dict[str, SampleShare]:
        """Share of the vehicles over each limit, of all classes or of one."""
        n = self.by_class
        pick = slice(None)
        if vehicle_class is not None:
            pick = slice(vehicle_class, vehicle_class + 1)
        return {
            kind: SampleShare.of(int(self.over[kind][pick].sum()), int(n[pick].sum()))
            for kind in KINDS
        }

    def volumes(self, is_seen: np.ndarray) -> HourlyVolumes:
        """Hourly volumes, with the hours (d, 24) that were recorded."""
        return HourlyVolumes(self.days, self.hourly, is_seen)


def part_sums(table: pa.Table, rule: CarriedRule) -> Carried | None:
    """What one stored part carried; None when no day of it is let in.

    Parameters
    ----------
    table
        Records of one lane (:data:`COLUMNS`).
    rule
        Days, scalings, limits, pavements.

    Notes
    -----
    A blank class is worked out from the weights as recorded, also where they are scaled
    afterwards: a correction changes what a vehicle weighed, not what it was.
    """
    days = times_ms(table).view(np.int64) // _DAY_MS
    inside = rule.lets_in(days)
    if not inside.any():
        return None
    if not inside.all():
        table, days = table.filter(pa.array(inside)), days[inside]
    classes, n_worked_out = effective_class(table)
    pieces = []
    rest = np.ones(len(days), dtype=bool)
    for span in rule.spans:
        first, last = (
            int(day.astype("datetime64[D]").astype(np.int64))
            for day in (span.first, span.last)
        )
        chosen = (days >= first) & (days <= last)
        if chosen.any():
            raw = table.filter(pa.array(chosen))
            found = _sums(scaled(raw, span.scaling), classes[chosen], rule)
            pieces.append(replace(found, n_scaled=raw.num_rows))
            rest &= ~chosen
    if rest.all():
        pieces.append(_sums(table, classes, rule))
    elif rest.any():
        pieces.append(_sums(table.filter(pa.array(rest)), classes[rest], rule))
    return replace(added(pieces), n_worked_out=n_worked_out)


def _sums(table: pa.Table, classes: np.ndarray, rule: CarriedRule) -> Carried:
    groups = axle_groups(table)
    times = times_ms(table).astype("datetime64[D]")
    first, last = times.min(), times.max()
    n_days = int((last - first).astype(np.int64)) + 1
    volumes = hourly_volumes(
        table, classes, first_on=first, last_on=last,
        is_seen=np.ones((n_days, 24), dtype=bool),
    )  # fmt: skip
    months, cell = month_cells(table)
    cell = cell * N_CLASSES + classes
    shape = (len(months), N_CLASSES)

    def esals(pavement: Pavement) -> EsalCounts:
        found = vehicle_esals(groups, pavement)
        loads = np.bincount(cell, found.per_vehicle, shape[0] * N_CLASSES)
        return EsalCounts(
            loads.reshape(shape),
            found.n_groups,
            found.n_unknown,
            found.n_beyond_guide,
            found.pavement,
        )

    over = overweight(table, limits=rule.limits).by_class(classes)
    return Carried(
        days=volumes.days,
        hourly=volumes.counts,
        spectra=load_spectra(table, groups, classes),
        gross=gross_histogram(
            table, classes, step_kg=rule.gross_step_kg, n_bins=N_GROSS_BINS
        ),
        flexible=esals(rule.flexible),
        rigid=esals(rule.rigid),
        over={kind: over[kind] for kind in KINDS},
        n_worked_out=0,
        n_scaled=0,
    )


def nothing(
    first_on: np.datetime64, last_on: np.datetime64, rule: CarriedRule
) -> Carried:
    """No vehicle, over some days."""
    days = np.arange(first_on, last_on + np.timedelta64(1, "D"), dtype="datetime64[D]")
    months = np.zeros(0, "datetime64[M]")
    none = np.zeros((0, N_CLASSES), dtype=np.int64)
    return Carried(
        days=days,
        hourly=np.zeros((len(days), 24, N_CLASSES), dtype=np.int64),
        spectra=LoadSpectra(
            months,
            none,
            {
                kind: np.zeros((0, N_CLASSES, bins.n + 1), dtype=np.int64)
                for kind, bins in BINS.items()
            },
            none,
            0,
        ),
        gross=GrossHistogram(
            months,
            rule.gross_step_kg,
            np.zeros((0, N_CLASSES, N_GROSS_BINS + 1), dtype=np.int64),
        ),
        flexible=EsalCounts(none.astype(float), 0, 0, 0, rule.flexible.text),
        rigid=EsalCounts(none.astype(float), 0, 0, 0, rule.rigid.text),
        over={kind: np.zeros(N_CLASSES, dtype=np.int64) for kind in KINDS},
        n_worked_out=0,
        n_scaled=0,
    )


def added(parts: Sequence[Carried]) -> Carried:
    """Sums of several parts, of one lane or of many, in their order.

    Raises
    ------
    ValueError
        Without any part.
    """
    if not parts:
        raise ValueError("nothing to add up")
    if len(parts) == 1:
        return parts[0]
    months = np.unique(np.concatenate([one.spectra.months for one in parts]))
    places = [np.searchsorted(months, one.spectra.months) for one in parts]
    first = min(one.days[0] for one in parts)
    last = max(one.days[-1] for one in parts)
    days = np.arange(first, last + np.timedelta64(1, "D"), dtype="datetime64[D]")
    hourly = np.zeros((len(days), 24, N_CLASSES), dtype=np.int64)
    for one in parts:
        at = int((one.days[0] - first).astype(np.int64))
        hourly[at : at + len(one.days)] += one.hourly

    def by_month(arrays: Iterable[np.ndarray]) -> np.ndarray:
        out: np.ndarray | None = None
        for place, array in zip(places, arrays, strict=True):
            if out is None:
                out = np.zeros((len(months), *array.shape[1:]), dtype=array.dtype)
            out[place] += array
        assert out is not None  # noqa: S101 (there is a part)
        return out

    def esals(all_counts: Sequence[EsalCounts]) -> EsalCounts:
        return EsalCounts(
            by_month(one.loads for one in all_counts),
            sum(one.n_groups for one in all_counts),
            sum(one.n_unknown for one in all_counts),
            sum(one.n_beyond_guide for one in all_counts),
            all_counts[0].pavement,
        )

    return Carried(
        days=days,
        hourly=hourly,
        spectra=LoadSpectra(
            months,
            by_month(one.spectra.n_vehicles for one in parts),
            {
                kind: by_month(one.spectra.counts[kind] for one in parts)
                for kind in AxleKind
                if kind in BINS
            },
            by_month(one.spectra.n_larger for one in parts),
            sum(one.spectra.n_unknown for one in parts),
        ),
        gross=GrossHistogram(
            months,
            parts[0].gross.step_kg,
            by_month(one.gross.counts for one in parts),
        ),
        flexible=esals([one.flexible for one in parts]),
        rigid=esals([one.rigid for one in parts]),
        over={kind: sum_of(one.over[kind] for one in parts) for kind in KINDS},
        n_worked_out=sum(one.n_worked_out for one in parts),
        n_scaled=sum(one.n_scaled for one in parts),
    )


def sum_of(arrays: Iterable[np.ndarray]) -> np.ndarray:
    """Sum of arrays of one shape."""
    return np.asarray(np.sum(list(arrays), axis=0))
