"""What new calibration factors are and what adjusting by them is expected to bring."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from calibration.calc.least_squares import FTest
from calibration.calc.types import FloatArray
from wimprog.lib.judgement import Interval


class FactorMethod(StrEnum):
    """How a ratio of static to measured weight is taken from runs."""

    RATIO_OF_SUMS = "ratio of sums"
    INVERSE_MEAN_RATIO = "1 / mean of measured over static"
    MEAN_RATIO = "mean of static over measured"

    @property
    def meaning(self) -> str:
        """What the method does, and which way it errs."""
        return {
            FactorMethod.RATIO_OF_SUMS: "heavy runs count more; not biased by scatter",
            FactorMethod.INVERSE_MEAN_RATIO: (
                "every run counts alike; makes the mean error zero"
            ),
            FactorMethod.MEAN_RATIO: (
                "every run counts alike; scatter makes it a little too high (about the "
                "square of the runs' relative spread)"
            ),
        }[self]


@dataclass(frozen=True)
class FactorEstimate:
    """A ratio to multiply the factor in use by.

    Attributes
    ----------
    label
        What it is for ("all axles", "axle 2", "left", "80 km/h").
    method
        How it was taken.
    ratio
        Static over measured.
    se_runs
        Standard error from the scatter of the runs; None for a single run.
    u_reference
        Standard uncertainty from the static weighings; no number of runs averages it.
    df
        Effective degrees of freedom; None for a single run.
    interval
        Interval of the ratio with both; None for a single run.
    n
        Number of weights behind it.
    n_vehicles
        Number of vehicles.
    """

    label: str
    method: FactorMethod
    ratio: float
    se_runs: float | None
    u_reference: float
    df: float | None
    interval: Interval | None
    n: int
    n_vehicles: int

    @property
    def change_pct(self) -> float:
        """100 (ratio − 1)."""
        return 100.0 * (self.ratio - 1.0)

    @property
    def is_change_shown(self) -> bool:
        """Does the interval leave out 1?"""
        return self.interval is not None and not (
            self.interval.low <= 1.0 <= self.interval.high
        )


@dataclass(frozen=True)
class Departure:
    """How far the error of one axle or sensor is from the whole vehicle's.

    Attributes
    ----------
    label
        The axle or sensor.
    value
        Mean over the runs [percentage points].
    interval
        Its interval, widened for the number compared (Bonferroni); None for one run.
    n
        Number of runs.
    """

    label: str
    value: float
    interval: Interval | None
    n: int

    @property
    def is_shown(self) -> bool:
        """Does the interval leave out 0?"""
        return self.interval is not None and not (
            self.interval.low <= 0.0 <= self.interval.high
        )


@dataclass(frozen=True)
class SeparateFactors:
    """Factors by axle or by sensor, and whether they differ.

    Attributes
    ----------
    estimates
        One for each.
    departures
        How far each one's error is from the vehicle's.
    is_difference_shown
        Is any departure shown? Otherwise one factor serves all.
    why
        In words.
    """

    estimates: tuple[FactorEstimate, ...]
    departures: tuple[Departure, ...]
    is_difference_shown: bool
    why: str


@dataclass(frozen=True)
class SpeedPoint:
    """The factor at one speed.

    Attributes
    ----------
    speed_kmh
        Mean speed of its runs [km/h], or the speed the controller names.
    estimate
        The factor of its runs.
    """

    speed_kmh: float
    estimate: FactorEstimate


@dataclass(frozen=True, eq=False)
class SpeedFactors:
    """Factors by speed point, or the reason why there is but one.

    Attributes
    ----------
    points
        Speed points, slow to fast; empty where they were refused.
    overall
        The factor of all runs.
    test
        F test of the speed points with the vehicles as fixed effects; None where it
        could not be made.
    is_by_speed
        True when there are factors by speed.
    why
        In words.
    """

    points: tuple[SpeedPoint, ...]
    overall: FactorEstimate
    test: FTest | None
    is_by_speed: bool
    why: str

    def ratio_at(self, speed_kmh: ArrayLike) -> FloatArray:
        """The ratio at any speed.

        Parameters
        ----------
        speed_kmh
            Speeds [km/h], any shape.

        Returns
        -------
        ndarray
            Straight lines between the points, held at the ends beyond them, as
            controllers do (common practice, no source: look it up in the controller's
            manual); the overall ratio where there are no points.
        """
        speeds = np.asarray(speed_kmh, dtype=float)
        if not self.is_by_speed:
            return np.full(speeds.shape, self.overall.ratio)
        found: FloatArray = np.interp(
            speeds,
            [point.speed_kmh for point in self.points],
            [point.estimate.ratio for point in self.points],
        )
        return found


@dataclass(frozen=True, eq=False)
class Prediction:
    """Errors to expect after an adjustment, by leaving each run out in its turn.

    Attributes
    ----------
    label
        "as it is", "one factor", "factors by speed".
    errors
        Error of each run [%] under the factor of all the others, shape (n,).
    ratios
        That factor over the one in use, shape (n,).
    mean, sd, rms
        Mean, standard deviation (divisor n − 1) and root mean square of them [%]; sd is
        None for a single run.
    rms_other_trucks
        Root mean square [%] under the factor of the other vehicles' runs, which is what
        a truck that never drove here would see; None for one vehicle.
    """

    label: str
    errors: FloatArray
    ratios: FloatArray
    mean: float
    sd: float | None
    rms: float
    rms_other_trucks: float | None


class Adjustment(StrEnum):
    """What to do with the factors."""

    LEAVE_ALONE = "leave it alone"
    ONE_FACTOR = "one new factor"
    BY_SPEED = "new factors by speed"


@dataclass(frozen=True, eq=False)
class AdjustmentAdvice:
    """Whether to adjust, how, and what to expect of it.

    Attributes
    ----------
    adjustment
        What to do.
    overall
        The one factor.
    by_speed
        Factors by speed, or why there are none.
    predictions
        As it is, with one factor, and by speed where there are such factors.
    reasons
        Why, in sentences.
    """

    adjustment: Adjustment
    overall: FactorEstimate
    by_speed: SpeedFactors
    predictions: tuple[Prediction, ...]
    reasons: tuple[str, ...]
