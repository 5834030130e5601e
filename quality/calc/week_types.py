"""Figures of one lane's week, as values that go into JSON and come back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from quality.calc.distribution_distance import Distance
from quality.calc.gain_offset import GainOffset
from quality.calc.loaded_peak import fit_reference
from quality.calc.mixture_fit import N_STEPS, PeakFit
from quality.calc.sample_mean import SampleMean, SampleShare
from quality.calc.steering import BandMean, GrossBand
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

METHOD_VERSION = "class9-week-1"


@dataclass(frozen=True)
class ReferencePeriod:
    """The weeks after a calibration that later weeks are held against.

    Attributes
    ----------
    counts : int64, (N_STEPS + 1,)
        Trucks of the kind by gross weight.
    peaks
        Mixture fitted to them.
    """

    counts: np.ndarray
    peaks: PeakFit

    @classmethod
    def of(cls, weeks: Sequence[WeekFigures]) -> ReferencePeriod:
        """From the figures of its weeks, which need no reference themselves.

        Raises
        ------
        wimprog.lib.errors.DomainError
            With fewer than 500 trucks.
        """
        counts = np.zeros(N_STEPS + 1, dtype=np.int64)
        for week in weeks:
            counts += week.counts
        return cls(counts, fit_reference(counts))

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values."""
        return {"counts": _packed(self.counts), "peaks": self.peaks.as_dict()}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> ReferencePeriod:
        """What :meth:`as_dict` gave."""
        return cls(_unpacked(data["counts"]), PeakFit.from_dict(data["peaks"]))


@dataclass(frozen=True)
class Peaks:
    """Gross weight peaks of a week, or of several where one is too thin.

    Attributes
    ----------
    fit
        The reference's mixture moved onto the trucks, or fitted freely where the peaks
        have another shape now.
    n_weeks
        Weeks added up, the last of them this one.
    has_reference_shape
        Which of the two ``fit`` is.
    other_loaded_kg
        Loaded peak by the other [kg].
    unloaded_smoothed_kg, loaded_smoothed_kg
        Peaks of the smoothed histogram, another opinion; None where there is none.
    gain_offset
        Against the reference.
    """

    fit: PeakFit
    n_weeks: int
    has_reference_shape: bool
    other_loaded_kg: float
    unloaded_smoothed_kg: float | None
    loaded_smoothed_kg: float | None
    gain_offset: GainOffset

    def loaded_change_pct(self, reference: PeakFit) -> float:
        """Change of the loaded peak since the reference [%]."""
        return 100.0 * (self.fit.loaded_kg / reference.loaded_kg - 1.0)


@dataclass(frozen=True)
class EsalSum:
    """Equivalent single axle loads of the week's trucks of the kind."""

    total: float
    per_truck: float | None
    n_unknown: int
    n_beyond_guide: int
    pavement: str


@dataclass(frozen=True)
class WeekFigures:
    """Figures of one lane in one week.

    Attributes
    ----------
    n_vehicles
        All vehicles of the week.
    n_trucks
        Trucks of the kind; ``n_worked_out`` of them had a blank class.
    steering_kg, steering_by_band
        Steering axle [kg], of all and by gross weight band.
    counts : int64, (N_STEPS + 1,)
        Trucks by gross weight in steps of 0.25 kip; weeks add up.
    peaks
        None where even pooled weeks are too thin, or without a reference.
    drive_spacing_m
        Distance between the axles of the drive tandem [m].
    drive_split, trailer_split
        Share of a tandem's load on its first axle.
    distance
        From the reference; shown, never an alarm.
    over_gross
        Trucks over the gross limit.
    esal_flexible, esal_rigid
        Equivalent single axle loads.
    notes
        Sentences for people: what is missing and why, what disagrees.
    """

    n_vehicles: int
    n_trucks: int
    n_worked_out: int
    steering_kg: SampleMean
    steering_by_band: tuple[BandMean, ...]
    counts: np.ndarray = field(compare=False)
    peaks: Peaks | None
    drive_spacing_m: SampleMean
    drive_split: SampleMean
    trailer_split: SampleMean
    distance: Distance | None
    over_gross: SampleShare
    gross_limit_kg: float
    esal_flexible: EsalSum
    esal_rigid: EsalSum
    notes: tuple[str, ...]
    method_version: str = METHOD_VERSION

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready values: no array, no NaN, no infinity."""
        data = asdict(self)
        data["counts"] = _packed(self.counts)
        if self.peaks is not None:
            data["peaks"]["fit"] = self.peaks.fit.as_dict()
        for band in data["steering_by_band"]:
            if math.isinf(band["band"]["high_kg"]):
                band["band"]["high_kg"] = None
        data["steering_by_band"] = list(data["steering_by_band"])
        data["notes"] = list(self.notes)
        return data

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> WeekFigures:
        """What :meth:`as_dict` gave, also after a trip through JSON.

        Raises
        ------
        wimprog.lib.errors.DomainError
            For figures of another method version; they are to be worked out again.
        """
        if data.get("method_version") != METHOD_VERSION:
            raise DomainError(
                f"These figures are of version {data.get('method_version')!r}; work "
                f"them out again with {METHOD_VERSION}."
            )
        means = (
            "steering_kg", "drive_spacing_m", "drive_split", "trailer_split",
        )  # fmt: skip
        out = dict(data)
        for name in means:
            out[name] = SampleMean(**data[name])
        out["steering_by_band"] = tuple(
            _band(one["band"], one["steering_kg"]) for one in data["steering_by_band"]
        )
        out["counts"] = _unpacked(data["counts"])
        out["over_gross"] = SampleShare(**data["over_gross"])
        out["esal_flexible"] = EsalSum(**data["esal_flexible"])
        out["esal_rigid"] = EsalSum(**data["esal_rigid"])
        out["notes"] = tuple(data["notes"])
        out["distance"] = Distance(**data["distance"]) if data["distance"] else None
        out["peaks"] = _peaks(data["peaks"]) if data["peaks"] else None
        return cls(**out)


def _packed(counts: np.ndarray) -> dict[str, Any]:
    """Counts without the empty steps at both ends."""
    used = np.flatnonzero(counts)
    if len(used) == 0:
        return {"from_step": 0, "counts": []}
    low, high = int(used[0]), int(used[-1]) + 1
    return {"from_step": low, "counts": counts[low:high].tolist()}


def _unpacked(data: dict[str, Any]) -> np.ndarray:
    counts = np.zeros(N_STEPS + 1, dtype=np.int64)
    low = data["from_step"]
    counts[low : low + len(data["counts"])] = data["counts"]
    return counts


def _band(band: dict[str, Any], mean: dict[str, Any]) -> BandMean:
    high = math.inf if band["high_kg"] is None else band["high_kg"]
    return BandMean(GrossBand(**{**band, "high_kg": high}), SampleMean(**mean))


def _peaks(data: dict[str, Any]) -> Peaks:
    moved = data["gain_offset"]
    return Peaks(
        **{
            **data,
            "fit": PeakFit.from_dict(data["fit"]),
            "gain_offset": GainOffset(
                moved["gain"],
                Interval(**moved["gain_interval"]),
                moved["offset_kg"],
                Interval(**moved["offset_interval"]),
            ),
        }
    )
