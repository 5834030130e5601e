"""Each lane's bias today and later, and when it needs to be looked at again.

The size of a bias can shrink for a while, when drift carries it back through nought.
The day on which the chance of being out passes a level is therefore the first such
day; the chance is looked at every two weeks, then day by day where it passes.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.calc.bias_paths import BiasPaths
from calibration.calc.bias_types import (
    BiasOn,
    BiasWalk,
    FloatArray,
    LaneBias,
    LaneEnd,
    SteeringDrift,
    counted,
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
    paths = BiasPaths.of(walk, pavement_temp_c, steering or {}, today)
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


_Described = tuple[
    FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray
]


def _described(
    paths: BiasPaths, days: FloatArray, tolerance_pct: float, level: float
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
    paths: BiasPaths, tolerance_pct: float, level: float, longest_days: int
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
    paths: BiasPaths, tolerance_pct: float, level: float, longest_days: int
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
        f"Rests on this lane's {counted(end.n_sessions, 'session')} and on "
        f"{counted(walk.n_intervals, 'interval')} of "
        f"{counted(walk.n_lanes, f'{walk.technology} lane')}; the expectation brought "
        f"{walk.prior_share * 100:.0f} % of what is known of the wander."
    )
    if end.misfit_p is not None and end.misfit_p < UNLIKE_P:
        rests += (
            " This lane has wandered more than others of its kind "
            f"(p {end.misfit_p:.3f}): look for a cause, and trust the chance less."
        )
    return f"{now} {then} {rests}"
