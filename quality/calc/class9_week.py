"""What one lane's five-axle tractor-semitrailers (3-S2) say of its scale in one week.

Steering axle by gross weight band, unloaded and loaded gross weight peaks, gain and
offset, drive tandem spacing, tandem split, distance from the reference period, trucks
over the gross limit, equivalent axle loads. Everything carries n; what has an interval
carries it. Nothing here judges: charts and checks do, from many weeks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pyarrow as pa

from calibration.calc.axle_groups import GROUP_LIMIT_M
from quality.calc.axle_groups import axle_groups
from quality.calc.classify import RULES, effective_class
from quality.calc.daily import LEGAL_GROSS_KG
from quality.calc.distribution_distance import distance
from quality.calc.esals import FlexiblePavement, Pavement, RigidPavement, vehicle_esals
from quality.calc.gain_offset import gain_and_offset
from quality.calc.loaded_peak import (
    DISAGREEMENT,
    choose_fit,
    gross_counts,
    smoothed_peak_kg,
)
from quality.calc.mixture_fit import (
    LEAST_LOADED_SHARE,
    LEAST_TRUCKS,
    N_STEPS,
    STEP_KG,
)
from quality.calc.sample_mean import LEVEL, SampleMean, SampleShare
from quality.calc.steering import (
    SLACK_KG,
    USUAL_BANDS,
    GrossBand,
    steering_by_band,
)
from quality.calc.week_types import EsalSum, Peaks, ReferencePeriod, WeekFigures
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS
from wimprog.lib.units import M_PER_FT

MOST_WEEKS_POOLED = 13
"""A quarter of a year; own choice. Longer would hide when something changed."""


@dataclass(frozen=True)
class TruckKind:
    """Trucks alike enough to be followed as one.

    Attributes
    ----------
    name
        For people.
    vehicle_class
        Recorded class; a vehicle whose class is blank is taken when the rules give it
        this class. None: the spacings alone decide.
    spacings_m
        Least and greatest of each spacing, both included [m].
    drive, trailer
        Places (0 the steering axle) of the two axles of the drive tandem and of the
        last two axles of the trailer.
    """

    name: str
    vehicle_class: int | None
    spacings_m: tuple[tuple[float, float], ...]
    drive: tuple[int, int] = (1, 2)
    trailer: tuple[int, int] = (3, 4)

    @property
    def n_axles(self) -> int:
        """Axles of the truck."""
        return len(self.spacings_m) + 1


def _from_rules() -> TruckKind:
    rule = next(one for one in RULES if one.name == "3-S2")
    ranges = tuple((low * M_PER_FT, high * M_PER_FT) for low, high in rule.spacings_ft)
    return TruckKind("five-axle tractor-semitrailer (3-S2)", 9, ranges)


TRACTOR_SEMITRAILER = _from_rules()
"""Spacings of the rule that gives the class (FHWA-HRT-13-091, table 2, from memory)."""


@dataclass(frozen=True)
class WeekSettings:
    """What the figures of a week are worked out with.

    Attributes
    ----------
    kind
        Trucks to follow.
    bands
        Bands of gross weight for the steering axle.
    gross_limit_kg
        Limit of gross weight; exactly at it is not over.
    flexible, rigid
        Pavements for equivalent axle loads.
    group_limit_m
        Widest distance between neighbouring axles of one group [m].
    level
        Level of all intervals.
    """

    kind: TruckKind = TRACTOR_SEMITRAILER
    bands: tuple[GrossBand, ...] = USUAL_BANDS
    gross_limit_kg: float = LEGAL_GROSS_KG
    flexible: FlexiblePavement = field(default_factory=FlexiblePavement)
    rigid: RigidPavement = field(default_factory=RigidPavement)
    group_limit_m: float = GROUP_LIMIT_M
    level: float = LEVEL


DEFAULTS = WeekSettings()
_CLASS_COLUMNS = [
    "vehicle_class", "n_axles", "gvw_kg", WEIGHT_COLUMNS[0], *SPACING_COLUMNS,
]  # fmt: skip


def is_of_kind(
    table: pa.Table | pa.RecordBatch, kind: TruckKind = TRACTOR_SEMITRAILER
) -> tuple[np.ndarray, int]:
    """Which records are trucks of a kind.

    A truck is of the kind when it has the axles, its spacings lie in the ranges and its
    class, as recorded or where blank as the rules give it, is the kind's. A record of
    the class that carries no spacings at all is taken by its class.

    Returns
    -------
    is_truck : bool, (n,)
    n_worked_out : int
        Trucks among them whose class was blank (all, where spacings alone decide).
    """
    chosen = np.asarray(table.column("n_axles")) == kind.n_axles
    unspaced = np.ones(len(chosen), dtype=bool)
    fits = np.ones(len(chosen), dtype=bool)
    for name, (low, high) in zip(
        SPACING_COLUMNS[: len(kind.spacings_m)], kind.spacings_m, strict=True
    ):
        gap = np.asarray(table.column(name), dtype=np.float32)
        slack = 0.005 * M_PER_FT  # the ranges are given to 0.01 ft
        fits &= (gap >= np.float32(low - slack)) & (gap <= np.float32(high + slack))
        unspaced &= np.isnan(gap)
    if kind.vehicle_class is None:
        chosen &= fits
        return chosen, int(chosen.sum())
    chosen &= fits | unspaced
    recorded = table.column("vehicle_class")
    if recorded.null_count == 0:
        return chosen & (np.asarray(recorded) == kind.vehicle_class), 0
    rows = np.flatnonzero(chosen)
    narrow = table.select(_CLASS_COLUMNS).take(pa.array(rows))
    classes, _ = effective_class(narrow)
    chosen[rows[classes != kind.vehicle_class]] = False
    blank = np.asarray(narrow.column("vehicle_class").is_null())
    return chosen, int((blank & (classes == kind.vehicle_class)).sum())


def week_figures(
    table: pa.Table | pa.RecordBatch,
    reference: ReferencePeriod | None = None,
    *,
    earlier: Sequence[np.ndarray] = (),
    settings: WeekSettings = DEFAULTS,
) -> WeekFigures:
    """Figures of one lane's records of one week.

    Parameters
    ----------
    table
        Records of the week, ``STORE_SCHEMA``, in any order; days set aside are left out
        by the caller.
    reference
        Period after the last calibration; without it there are no peaks and no
        distance.
    earlier
        ``counts`` of the weeks before in time order (at most the last 12 are used), to
        be added up where this week is too thin.
    settings
        Bands, limits, pavements.

    Notes
    -----
    Peaks need 500 trucks and a loaded share of 0.15 (simulation in MEASURED_PEAKS.md).
    """
    kind = settings.kind
    chosen, n_worked_out = is_of_kind(table, kind)
    trucks = _narrow(table, chosen, kind)
    weights = [
        np.asarray(trucks.column(name), dtype=np.float64)
        for name in WEIGHT_COLUMNS[: kind.n_axles]
    ]
    gvw = np.asarray(trucks.column("gvw_kg"), dtype=np.float64)
    level = settings.level
    n_over = int((gvw > settings.gross_limit_kg + SLACK_KG).sum())
    counts = gross_counts(gvw)
    gap = SPACING_COLUMNS[kind.drive[0]]
    groups = axle_groups(trucks, group_limit_m=settings.group_limit_m)

    def esals(pavement: Pavement) -> EsalSum:
        found = vehicle_esals(groups, pavement)
        return EsalSum(
            found.total,
            per_truck=found.total / len(gvw) if len(gvw) else None,
            n_unknown=found.n_unknown,
            n_beyond_guide=found.n_beyond_guide,
            pavement=found.pavement,
        )

    alone = WeekFigures(
        n_vehicles=table.num_rows,
        n_trucks=len(gvw),
        n_worked_out=n_worked_out,
        steering_kg=SampleMean.of(weights[0], level),
        steering_by_band=steering_by_band(gvw, weights[0], settings.bands, level=level),
        counts=counts,
        peaks=None,
        drive_spacing_m=SampleMean.of(np.asarray(trucks.column(gap)), level),
        drive_split=_split(weights, kind.drive, level),
        trailer_split=_split(weights, kind.trailer, level),
        distance=None,
        over_gross=SampleShare.of(n_over, len(gvw), level),
        gross_limit_kg=settings.gross_limit_kg,
        esal_flexible=esals(settings.flexible),
        esal_rigid=esals(settings.rigid),
        notes=(),
    )
    return held_against(alone, reference, earlier, level=level)


def held_against(
    figures: WeekFigures,
    reference: ReferencePeriod | None,
    earlier: Sequence[np.ndarray] = (),
    *,
    level: float = LEVEL,
) -> WeekFigures:
    """The same week held against another reference period, without its records.

    Parameters
    ----------
    figures
        Of the week; they carry its trucks by gross weight.
    reference, earlier
        As for :func:`week_figures`.
    """
    peaks, notes = _peaks(figures.counts, reference, earlier, level)
    apart = None
    if reference is not None:
        apart = distance(reference.counts, figures.counts, STEP_KG)
    return replace(figures, peaks=peaks, distance=apart, notes=tuple(notes))


def _narrow(
    table: pa.Table | pa.RecordBatch, chosen: np.ndarray, kind: TruckKind
) -> pa.Table:
    """The chosen trucks, only the columns that their axles have."""
    names = [
        "gvw_kg", "n_axles",
        *WEIGHT_COLUMNS[: kind.n_axles], *SPACING_COLUMNS[: kind.n_axles - 1],
    ]  # fmt: skip
    return table.select(names).filter(pa.array(chosen))


def _split(
    weights: Sequence[np.ndarray], tandem: tuple[int, int], level: float
) -> SampleMean:
    first, second = weights[tandem[0]], weights[tandem[1]]
    both = first + second
    known = both > 0
    return SampleMean.of(first[known] / both[known], level)


def _weeks(n: int) -> str:
    return "one week" if n == 1 else f"{n} weeks"


def _peaks(
    counts: np.ndarray,
    reference: ReferencePeriod | None,
    earlier: Sequence[np.ndarray],
    level: float,
) -> tuple[Peaks | None, list[str]]:
    """Peaks of this week, with as many weeks before as it takes; says why not."""
    notes: list[str] = []
    if reference is None:
        notes.append("No gross weight peaks: there is no reference period yet.")
        return None, notes
    total, chosen, n_weeks = np.zeros_like(counts), None, 0
    for one in [counts, *list(earlier)[:-MOST_WEEKS_POOLED:-1]]:
        total = total + one
        n_weeks += 1
        chosen = choose_fit(total, reference.peaks.mixture)
        if chosen is not None and chosen.fit.is_enough:
            break
    n = int(total[:N_STEPS].sum())
    if chosen is None and n >= LEAST_TRUCKS:
        notes.append(
            f"No gross weight peaks: the {n} trucks do not look like the reference's "
            "at any gain from 0.7 to 1.4."
        )
        return None, notes
    fit = chosen.fit if chosen else None
    if chosen is None or fit is None or not fit.is_enough:
        share = f", {100 * fit.loaded_share:.0f} % of them loaded" if fit else ""
        notes.append(
            f"No gross weight peaks: {n} trucks in {_weeks(n_weeks)}{share}; it takes "
            f"{LEAST_TRUCKS} with at least {100 * LEAST_LOADED_SHARE:.0f} % loaded."
        )
        return None, notes
    if n_weeks > 1:
        notes.append(f"Gross weight peaks from {n_weeks} weeks: one alone is too thin.")
    if not chosen.has_reference_shape:
        apart = 100 * (chosen.other_loaded_kg / fit.loaded_kg - 1.0)
        notes.append(
            f"With the reference's shape the loaded peak would be {apart:+.1f} % from "
            "here: the peaks have another shape now, as when weighing becomes noisier."
        )
    loaded = smoothed_peak_kg(total, fit.loaded_kg)
    if loaded is None:
        notes.append(
            "The smoothed histogram has no loaded peak where the fit puts it: look at "
            "the histogram before trusting the fit."
        )
    elif abs(loaded / fit.loaded_kg - 1.0) > DISAGREEMENT:
        notes.append(
            f"The smoothed histogram's loaded peak is "
            f"{100 * (loaded / fit.loaded_kg - 1.0):+.1f} % from the fitted one: look "
            "at the histogram before trusting either."
        )
    if not fit.has_converged:
        notes.append("The fit of the gross weight peaks did not settle.")
    peaks = Peaks(
        fit,
        n_weeks,
        chosen.has_reference_shape,
        chosen.other_loaded_kg,
        smoothed_peak_kg(total, fit.unloaded_kg),
        loaded,
        gain_and_offset(fit, reference.peaks, level),
    )
    return peaks, notes
