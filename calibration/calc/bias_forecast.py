"""Each lane's bias today and later, and when it needs to be looked at again.

From the end of the lane's last session the bias walks on with the wander, drift and
temperature effect of its kind (:mod:`calibration.calc.bias_walk`), each as uncertain as
the sessions left it: the bias is a mixture of normals over the grid of wander values.

The size of a bias can shrink for a while, when drift carries it back through nought.
The day on which the chance of being out passes a level is therefore the first such
day; the chance is looked at every two weeks, then day by day where it passes.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from calibration.calc.bias_types import (
    DAYS_PER_YEAR,
    BiasOn,
    BiasWalk,
    FloatArray,
    LaneBias,
    LaneEnd,
    SteeringDrift,
    day_text,
)
from calibration.calc.bias_walk import mixture_interval
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

#: Step of the first search [days].
_STRIDE_DAYS = 14
#: Chance of a lane like its kind being flagged as unlike it.
UNLIKE_P = 0.01


def forecast_bias(
    walk: BiasWalk,
    today: dt.date,
    *,
    tolerance_pct: float,
    level: float = 0.20,
    longest_days: int = 365,
    later_days: Sequence[int] = (),
    pavement_temp_c: float | None = None,
    steering: Mapping[str, SteeringDrift] | None = None,
    interval_level: float = 0.90,
) -> tuple[LaneBias, ...]:
    """Bias of every lane of a fit, today and later.

    Parameters
    ----------
    walk
        From :func:`calibration.calc.bias_walk.fit_bias_walk`.
    today
        Day of the forecast, not before the last session of any lane.
    tolerance_pct
        Size of bias that is still tolerated [%].
    level
        Chance of being out at which the agency wants a lane calibrated.
    longest_days
        Longest interval between sessions that the agency allows.
    later_days
        Further days to forecast, counted from today.
    pavement_temp_c
        Pavement temperature to forecast at [°C]; by default the reference.
    steering
        By lane, the drift of the steering axle since its last session: a further
        reading of that lane's bias. It does not alter the fit.
    interval_level
        Level of the intervals of bias.

    Returns
    -------
    tuple of LaneBias
        In the order of the lanes of the fit.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the tolerance, a level or a day cannot be.
    """
    _check(walk, today, tolerance_pct, level, longest_days, later_days)
    if not walk.lanes:
        return ()
    paths = _Paths.of(walk, pavement_temp_c, steering or {}, today)
    wanted = [0, *later_days]
    days_on = paths.days_since(today)[:, None] + np.array(wanted, dtype=float)
    on = _described(paths, days_on, tolerance_pct, interval_level)
    passes = _first_passing(paths, tolerance_pct, level, longest_days)
    worst_day, worst = _largest(paths, tolerance_pct, interval_level, longest_days)
    found = []
    for i, end in enumerate(walk.lanes):
        if end.last_on is None:
            found.append(_no_data(walk, end, tolerance_pct, level))
            continue
        today_on, *later = (
            _bias_on(on, i, j, today + dt.timedelta(days=days), interval_level)
            for j, days in enumerate(wanted)
        )
        passes_on = _day_after(end.last_on, passes[i])
        ends_on = end.last_on + dt.timedelta(days=longest_days)
        found.append(
            LaneBias(
                key=end.key,
                today=today_on,
                later=tuple(later),
                passes_on=passes_on,
                interval_ends_on=ends_on,
                worst=_bias_on(
                    worst,
                    i,
                    0,
                    end.last_on + dt.timedelta(days=int(worst_day[i])),
                    interval_level,
                ),
                tolerance_pct=tolerance_pct,
                level=level,
                sentence=_sentence(
                    walk, end, today_on, passes_on, ends_on, tolerance_pct, level
                ),
            )
        )
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Paths:
    """Each lane's bias as a function of the days since its last session.

    For G wander values and L lanes: ``mean`` and ``variance`` given the effects, and
    their coefficients ``by_drift`` and ``by_temp``, each (G, L), as they are on day
    ``start`` (L,) after the last session: that day itself, or that of a steering
    reading since.
    """

    weights: FloatArray
    walk: FloatArray
    effect_mean: FloatArray
    effect_covariance: FloatArray
    mean: FloatArray
    variance: FloatArray
    by_drift: FloatArray
    by_temp: FloatArray
    start: FloatArray
    last: np.ndarray

    @classmethod
    def of(
        cls,
        walk: BiasWalk,
        pavement_temp_c: float | None,
        steering: Mapping[str, SteeringDrift],
        today: dt.date,
    ) -> _Paths:
        ends = walk.lanes
        mean = np.stack([end.mean for end in ends], axis=1)
        variance = np.stack([end.variance for end in ends], axis=1)
        effect = np.stack([end.effect for end in ends], axis=1)
        by_drift, by_temp = effect[..., 0].copy(), effect[..., 1].copy()
        if pavement_temp_c is not None and walk.reference_temp_c is not None:
            by_temp += pavement_temp_c - walk.reference_temp_c
        square = walk.wander_grid_pct**2
        start = np.zeros(len(ends))
        for i, end in enumerate(ends):
            reading = steering.get(end.key)
            if reading is None or end.last_on is None:
                continue
            days = (reading.day - end.last_on).days
            if reading.day > today or days <= 0:
                raise DomainError(
                    f"Lane {end.key}: the steering-axle drift is of "
                    f"{day_text(reading.day)}; it must lie after the last session "
                    f"({day_text(end.last_on)}) and not after today."
                )
            years = days / DAYS_PER_YEAR
            # Since the session the bias changed by d·h + w, w ~ N(0, wander²·h); the
            # reading shows that change, whatever the bias was to begin with.
            gain = square * years / (square * years + reading.sd_pct**2)
            mean[:, i] += gain * reading.change_pct
            by_drift[:, i] += (1.0 - gain) * years
            variance[:, i] += square * years * (1.0 - gain)
            start[i] = days
        last = [end.last_on or today for end in ends]
        return cls(
            walk.weights,
            square,
            walk.effect_mean,
            walk.effect_covariance,
            mean,
            variance,
            by_drift,
            by_temp,
            start,
            np.array(last, dtype="datetime64[D]"),
        )

    def days_since(self, day: dt.date) -> FloatArray:
        """Days from each lane's last session to a day, shape (L,)."""
        return (np.datetime64(day) - self.last).astype(float)

    def moments(self, days: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation given wander, shape (G, L, m), on days (L, m)."""
        years = np.maximum(days - self.start[:, None], 0.0) / DAYS_PER_YEAR
        drift = self.by_drift[:, :, None] + years
        temp = self.by_temp[:, :, None]
        d, g = self.effect_mean[:, 0], self.effect_mean[:, 1]
        mean = (
            self.mean[:, :, None] + drift * d[:, None, None] + temp * g[:, None, None]
        )
        cov = self.effect_covariance[:, None, None]
        variance = (
            self.variance[:, :, None]
            + self.walk[:, None, None] * years
            + drift**2 * cov[..., 0, 0]
            + 2.0 * drift * temp * cov[..., 0, 1]
            + temp**2 * cov[..., 1, 1]
        )
        return mean, np.sqrt(variance)

    def chance_out(self, days: FloatArray, tolerance_pct: float) -> FloatArray:
        """Chance that the size of the bias exceeds the tolerance, shape (L, m)."""
        mean, sd = self.moments(days)
        out = ndtr((-tolerance_pct - mean) / sd) + ndtr((mean - tolerance_pct) / sd)
        return np.einsum("g,glm->lm", self.weights, out)

    def expected_size(self, days: FloatArray) -> FloatArray:
        """Mean of the size of the bias (folded normals), shape (L, m)."""
        mean, sd = self.moments(days)
        z = mean / sd
        size = sd * math.sqrt(2.0 / math.pi) * np.exp(-0.5 * z**2) + mean * (
            1.0 - 2.0 * ndtr(-z)
        )
        return np.einsum("g,glm->lm", self.weights, size)


_Described = tuple[
    FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray
]


def _described(
    paths: _Paths, days: FloatArray, tolerance_pct: float, level: float
) -> _Described:
    """Mean, sd, low, high, chance out and expected size, each (L, m)."""
    mean, sd = paths.moments(days)
    whole = np.einsum("g,glm->lm", paths.weights, mean)
    variance = np.einsum("g,glm->lm", paths.weights, sd**2 + (mean - whole) ** 2)
    columns = (paths.weights.size, -1)
    low, high = mixture_interval(
        paths.weights[:, None], mean.reshape(columns), sd.reshape(columns), level
    )
    return (
        whole,
        np.sqrt(variance),
        low.reshape(days.shape),
        high.reshape(days.shape),
        paths.chance_out(days, tolerance_pct),
        paths.expected_size(days),
    )


def _bias_on(found: _Described, i: int, j: int, day: dt.date, level: float) -> BiasOn:
    mean, sd, low, high, chance, size = (float(part[i, j]) for part in found)
    return BiasOn(day, mean, sd, Interval(low, high, level), chance, size)


def _first_passing(
    paths: _Paths, tolerance_pct: float, level: float, longest_days: int
) -> FloatArray:
    """First day since the session on which the level is reached, NaN if none."""
    coarse = np.minimum(
        paths.start[:, None]
        + np.arange(0.0, longest_days + _STRIDE_DAYS, _STRIDE_DAYS),
        longest_days,
    )
    reached = paths.chance_out(coarse, tolerance_pct) >= level
    some = reached.any(axis=1) & (paths.start <= longest_days)
    upper = coarse[np.arange(coarse.shape[0]), reached.argmax(axis=1)]
    fine = np.maximum(
        upper[:, None] - np.arange(_STRIDE_DAYS, -1, -1.0), paths.start[:, None]
    )
    first = (paths.chance_out(fine, tolerance_pct) >= level).argmax(axis=1)
    day = fine[np.arange(fine.shape[0]), first]
    return np.where(some, day, np.nan)


def _largest(
    paths: _Paths, tolerance_pct: float, level: float, longest_days: int
) -> tuple[FloatArray, _Described]:
    """The day of the longest interval with the largest expected size of bias."""
    days = np.minimum(
        paths.start[:, None]
        + np.arange(0.0, longest_days + _STRIDE_DAYS, _STRIDE_DAYS),
        np.maximum(longest_days, paths.start[:, None]),
    )
    rows = np.arange(days.shape[0])
    day = days[rows, paths.expected_size(days).argmax(axis=1)]
    return day, _described(paths, day[:, None], tolerance_pct, level)


def _day_after(last_on: dt.date, days: float) -> dt.date | None:
    return None if math.isnan(days) else last_on + dt.timedelta(days=int(days))


def _check(
    walk: BiasWalk,
    today: dt.date,
    tolerance_pct: float,
    level: float,
    longest_days: int,
    later_days: Sequence[int],
) -> None:
    if not (math.isfinite(tolerance_pct) and tolerance_pct > 0):
        raise DomainError(
            f"The tolerance of the bias is {tolerance_pct:g} %; it is greater than "
            "zero."
        )
    if not 0.0 < level < 1.0:
        raise DomainError(f"The chance to act at is {level}; give one between 0 and 1.")
    if longest_days < 1:
        raise DomainError("The longest interval is at least one day.")
    if any(days < 0 for days in later_days):
        raise DomainError("Days to forecast are counted from today: zero or more.")
    for end in walk.lanes:
        if end.last_on is not None and end.last_on > today:
            raise DomainError(
                f"Lane {end.key} has a session on {day_text(end.last_on)}, after the "
                f"day of the forecast ({day_text(today)})."
            )


def _no_data(
    walk: BiasWalk, end: LaneEnd, tolerance_pct: float, level: float
) -> LaneBias:
    why = (
        f"Nothing is known of this lane's bias since the works of "
        f"{day_text(end.broken_on)}."
        if end.broken_on is not None and end.n_sessions
        else "This lane has no session, so nothing is known of its bias."
    )
    return LaneBias(
        key=end.key,
        today=None,
        later=(),
        passes_on=None,
        interval_ends_on=None,
        worst=None,
        tolerance_pct=tolerance_pct,
        level=level,
        sentence=f"{why} Calibrate it.",
    )


def _sentence(
    walk: BiasWalk,
    end: LaneEnd,
    today: BiasOn,
    passes_on: dt.date | None,
    ends_on: dt.date,
    tolerance_pct: float,
    level: float,
) -> str:
    span = today.interval
    limit = f"±{tolerance_pct:g} %"
    now = (
        f"On {day_text(today.day)} the bias is put at "
        f"{format_number(today.mean_pct, 1)} % ({span.level * 100:g} % interval "
        f"{format_number(span.low, 1)} to {format_number(span.high, 1)} %); the chance "
        f"that it lies beyond {limit} is {today.chance_out * 100:.0f} %."
    )
    if passes_on is None:
        then = (
            f"That chance does not reach {level * 100:g} % within the longest "
            f"interval, which ends on {day_text(ends_on)}."
        )
    elif passes_on <= today.day:
        then = f"It reached {level * 100:g} % on {day_text(passes_on)}."
    else:
        then = f"It reaches {level * 100:g} % on {day_text(passes_on)}."
    rests = (
        f"Rests on this lane's {end.n_sessions} sessions and on {walk.n_intervals} "
        f"intervals of {walk.n_lanes} {walk.technology} lanes; the expectation brought "
        f"{walk.prior_share * 100:.0f} % of what is known of the wander."
    )
    if end.misfit_p is not None and end.misfit_p < UNLIKE_P:
        rests += (
            " This lane has wandered more than others of its kind "
            f"(p {end.misfit_p:.3f}): look for a cause, and trust the chance less."
        )
    return f"{now} {then} {rests}"
