"""Words and value types of calibration: what a test vehicle is, what a run measured.

Enums are born here and models take their choices from them; the stored word is the
word that people read. Everything is SI inside: kg, m, km/h, °C. Errors of weights are
in per cent of the reference, errors of speed and spacing in the unit itself, because
the standards limit them so.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wimprog.lib.judgement import Interval

FloatArray = NDArray[np.float64]


class TestPlan(StrEnum):
    """How repeatable or reproducible the runs are (COST 323 codes; from memory)."""

    __test__ = False  # not a test case, whatever its name suggests to a test runner

    FULL_REPEATABILITY = "r1"
    EXTENDED_REPEATABILITY = "r2"
    LIMITED_REPRODUCIBILITY = "R1"
    FULL_REPRODUCIBILITY = "R2"

    @property
    def meaning(self) -> str:
        """The code in words."""
        return {
            "r1": "one vehicle, same speed, load and lateral position",
            "r2": "one vehicle, several speeds, loads and small lateral shifts",
            "R1": "2 to 10 vehicles typical of the traffic, several speeds and loads",
            "R2": "a large sample of vehicles from the traffic, weighed statically",
        }[self.value]


class EnvironmentPlan(StrEnum):
    """How much weather and season the runs saw (COST 323 codes; from memory)."""

    REPEATABILITY = "I"
    LIMITED_REPRODUCIBILITY = "II"
    FULL_REPRODUCIBILITY = "III"

    @property
    def meaning(self) -> str:
        """The code in words."""
        return {
            "I": "within a few hours or a day",
            "II": "a day to a few days of one season",
            "III": "a full year, or many days of different seasons",
        }[self.value]


class LanePosition(StrEnum):
    """Where in the lane a run was driven."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


class SessionPurpose(StrEnum):
    """Why a calibration session is held."""

    INSTALLATION = "after installation"
    ROUTINE = "routine"
    AFTER_REPAIR = "after repair"
    AFTER_PAVEMENT_WORK = "after pavement work"
    AS_FOUND_CHECK = "as-found check"
    VERIFICATION = "verification"
    DISPUTE = "after a complaint"


class Quantity(StrEnum):
    """What an error is an error of."""

    GROSS_WEIGHT = "gross weight"
    AXLE_GROUP = "axle group"
    SINGLE_AXLE = "single axle"
    STEERING_AXLE = "steering axle"
    AXLE_OF_GROUP = "axle of a group"
    AXLE = "axle"
    WHEEL = "wheel load"
    SPEED = "speed"
    AXLE_SPACING = "axle spacing"
    WHEELBASE = "wheelbase"

    @property
    def unit(self) -> str:
        """Unit of the error: per cent of the reference, or the unit itself."""
        if self is Quantity.SPEED:
            return "km/h"
        return "m" if self in _LENGTHS else "%"


_LENGTHS = frozenset({Quantity.AXLE_SPACING, Quantity.WHEELBASE})

WheelPairs = tuple[tuple[float, float], ...]
"""Left and right wheel load [kg] of each axle, front to rear; left as the driver sees
it, and the wheels of one side of an axle are one load, twin tyres or not."""


@dataclass(frozen=True)
class ReferenceVehicle:
    """A test vehicle with one static weighing of it.

    Attributes
    ----------
    name
        The vehicle's name, as the runs call it.
    vehicle_class
        FHWA 13-category class.
    axle_weights_kg
        Static axle loads [kg], front to rear, one for each axle.
    axle_spacings_m
        Distances between neighbouring axles [m], one fewer than axles.
    weighed_at
        When it was weighed; None where that was not recorded.
    scale_certificate
        Identity of the scale's certificate.
    weighing
        Name of this weighing, where a vehicle was weighed more than once and runs say
        which weighing they are held against; otherwise empty.
    wheel_weights_kg
        Static wheel loads [kg], (left, right) for each axle; None where none were
        taken.
    typed
        For each field the text and the unit as they were typed, where known.
    """

    name: str
    vehicle_class: int | None
    axle_weights_kg: tuple[float, ...]
    axle_spacings_m: tuple[float, ...]
    weighed_at: dt.datetime | None = None
    scale_certificate: str = ""
    weighing: str = ""
    wheel_weights_kg: WheelPairs | None = None
    typed: Mapping[str, tuple[str, str]] = field(
        default_factory=dict, compare=False, repr=False
    )

    @property
    def n_axles(self) -> int:
        """Number of axles."""
        return len(self.axle_weights_kg)

    @property
    def gvw_kg(self) -> float:
        """Gross vehicle weight [kg]: the sum of the axles."""
        return float(sum(self.axle_weights_kg))


@dataclass(frozen=True)
class MeasuredRun:
    """One pass of a test vehicle, as the lane recorded it.

    Attributes
    ----------
    run
        The run's label.
    vehicle
        Name of the :class:`ReferenceVehicle`.
    time
        When it crossed the sensors; None where that was not recorded.
    axle_weights_kg
        Dynamic axle weights [kg] as the lane recorded them, front to rear.
    axle_spacings_m
        Axle spacings [m] as the lane recorded them; None where it recorded none.
    speed_kmh
        Speed [km/h] as the lane recorded it.
    reference_speed_kmh
        Speed [km/h] by an independent instrument, where one was taken.
    pavement_temp_c
        Pavement temperature [°C].
    lane_position
        Where in the lane the run was driven.
    excluded, exclusion_reason
        A run that is set aside, and why. It is never computed with.
    weighing
        Name of the static weighing it is held against; empty for the vehicle's latest
        weighing before the run.
    wheel_weights_kg
        Wheel loads [kg] as the lane recorded them, (left, right) for each axle; None
        where it weighs whole axles.
    typed
        For each field the text and the unit as they were typed, where known.
    """

    run: str
    vehicle: str
    time: dt.datetime | None
    axle_weights_kg: tuple[float, ...]
    axle_spacings_m: tuple[float, ...] | None = None
    speed_kmh: float | None = None
    reference_speed_kmh: float | None = None
    pavement_temp_c: float | None = None
    lane_position: LanePosition | None = None
    excluded: bool = False
    exclusion_reason: str = ""
    weighing: str = ""
    wheel_weights_kg: WheelPairs | None = None
    typed: Mapping[str, tuple[str, str]] = field(
        default_factory=dict, compare=False, repr=False
    )

    @property
    def gvw_kg(self) -> float:
        """Gross vehicle weight [kg] as measured: the sum of the axles."""
        return float(sum(self.axle_weights_kg))


@dataclass(frozen=True, eq=False)
class QuantityErrors:
    """The single errors of one quantity, each traced to its run.

    All sequences have length n, the number of errors (not of runs: a run of a
    five-axle truck gives two axle-group errors).

    Attributes
    ----------
    quantity
        What the errors are errors of.
    errors
        Errors, shape (n,), in ``quantity.unit``: 100 (C − R)/R [%] for weights, C − R
        for speed [km/h], spacing and wheelbase [m]; C is the lane's value, R the
        reference.
    measured, reference
        C and R, shape (n,), in kg, km/h or m.
    reference_gvw_kg
        Static gross weight of the vehicle behind each error [kg], shape (n,).
    runs, vehicles, parts
        Run label, vehicle name and part of the vehicle ("axles 2–3") of each error.
    why_none
        Why there are no errors, when there are none.
    """

    quantity: Quantity
    errors: FloatArray
    measured: FloatArray
    reference: FloatArray
    reference_gvw_kg: FloatArray
    runs: tuple[str, ...]
    vehicles: tuple[str, ...]
    parts: tuple[str, ...]
    why_none: str = ""

    @property
    def n(self) -> int:
        """Number of errors."""
        return len(self.runs)

    @property
    def n_runs(self) -> int:
        """Number of different runs behind the errors."""
        return len(set(self.runs))

    @property
    def unit(self) -> str:
        """Unit of ``errors``."""
        return self.quantity.unit

    def where(self, keep: NDArray[np.bool_], why_none: str = "") -> QuantityErrors:
        """Only the errors that ``keep`` (shape (n,)) marks."""
        chosen = np.flatnonzero(keep)
        return QuantityErrors(
            quantity=self.quantity,
            errors=self.errors[chosen],
            measured=self.measured[chosen],
            reference=self.reference[chosen],
            reference_gvw_kg=self.reference_gvw_kg[chosen],
            runs=tuple(self.runs[i] for i in chosen),
            vehicles=tuple(self.vehicles[i] for i in chosen),
            parts=tuple(self.parts[i] for i in chosen),
            why_none=self.why_none or why_none,
        )

    def of_vehicle(self, name: str) -> QuantityErrors:
        """Only the errors of one vehicle."""
        keep = np.array([vehicle == name for vehicle in self.vehicles], dtype=bool)
        return self.where(keep, f"No runs of {name}.")


@dataclass(frozen=True, eq=False)
class ErrorStatistics:
    """What the errors of one quantity come to.

    Attributes
    ----------
    source
        The errors themselves with the runs they come from.
    n
        Number of errors.
    mean, sd
        Mean and standard deviation (divisor n − 1), in ``unit``; None without enough
        errors (one for the mean, two for the standard deviation).
    mean_interval
        Student t interval of the mean, for these trucks.
    single_pass_interval
        mean ± t·sd, between which single passes fall (no 1/√n).
    scope
        What the intervals speak for ("for these 2 trucks").
    """

    source: QuantityErrors
    n: int
    mean: float | None
    sd: float | None
    mean_interval: Interval | None
    single_pass_interval: Interval | None
    scope: str

    @property
    def quantity(self) -> Quantity:
        """What the errors are errors of."""
        return self.source.quantity

    @property
    def unit(self) -> str:
        """Unit of ``mean``, ``sd`` and the intervals."""
        return self.source.unit


@dataclass(frozen=True)
class ShareWithin:
    """The share of errors within a tolerance.

    Attributes
    ----------
    tolerance
        Half-width of the tolerance, in the errors' unit; the limit itself is within.
    n, n_within
        Number of errors and of those within.
    share
        n_within / n as a fraction; None without errors.
    interval
        Exact binomial (Clopper–Pearson) interval of the share; None without errors.
    """

    tolerance: float
    n: int
    n_within: int
    share: float | None
    interval: Interval | None

    @property
    def n_outside(self) -> int:
        """Number of errors outside the tolerance."""
        return self.n - self.n_within


@dataclass(frozen=True)
class VehicleDifference:
    """Difference of the mean errors of two vehicles, by Welch's t test.

    Attributes
    ----------
    first, second
        The vehicles' names; the difference is first minus second.
    difference
        Difference of the means, in the errors' unit.
    interval
        Welch interval of the difference.
    t, df, p
        Welch's statistic, its degrees of freedom and its two-sided p value.
    """

    first: str
    second: str
    difference: float
    interval: Interval
    t: float
    df: float
    p: float


@dataclass(frozen=True, eq=False)
class RunErrors:
    """Errors of all quantities from one set of runs.

    Attributes
    ----------
    by_quantity
        One entry for every :class:`Quantity`, empty ones with the reason.
    runs_used
        Labels of the runs computed with, in the order given.
    runs_excluded
        Label and reason of each run set aside.
    vehicles
        Names of the vehicles of the runs used, in order of appearance.
    runs
        The runs computed with, for what a standard asks of the test itself (speeds,
        temperatures, places in the lane); empty where only the errors are known.
    references
        The static weighings that those runs were held against.
    """

    by_quantity: Mapping[Quantity, QuantityErrors]
    runs_used: tuple[str, ...]
    runs_excluded: tuple[tuple[str, str], ...]
    vehicles: tuple[str, ...]
    runs: tuple[MeasuredRun, ...] = field(default=(), repr=False)
    references: tuple[ReferenceVehicle, ...] = field(default=(), repr=False)

    def __getitem__(self, quantity: Quantity) -> QuantityErrors:
        """The errors of one quantity."""
        return self.by_quantity[quantity]


@dataclass(frozen=True)
class FactorProposal:
    """A calibration factor proposed from runs.

    Attributes
    ----------
    old_factor, new_factor
        The factor that the runs were made with, and old_factor × ratio.
    ratio
        Sum of static gross weights over sum of measured ones.
    ratio_se
        Standard error of the ratio; None for a single run.
    ratio_interval
        Student t interval of the ratio, for these trucks; None for a single run.
    change_pct
        100 (ratio − 1).
    n
        Number of runs.
    is_change_shown
        True when the interval leaves out 1. When False: leave the factor alone.
    sentence
        The whole thing for people.
    """

    old_factor: float
    new_factor: float
    ratio: float
    ratio_se: float | None
    ratio_interval: Interval | None
    change_pct: float
    n: int
    is_change_shown: bool
    sentence: str
