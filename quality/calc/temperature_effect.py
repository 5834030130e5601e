"""Take temperature, or else the season, out of weekly means before they are charted.

A sensor whose reading follows the temperature drifts every spring and back every
autumn. Where the temperature of the weeks is known, their values are regressed on it;
where it is not and the record holds a year, on one yearly wave. Both are fitted
together with the steps and ramps of the record, so that a step in June is not taken
for summer, both are drawn towards no effect, and both are used only when the weeks
show them. Otherwise the values are left alone and the reason is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import stdtrit
from scipy.stats import chi2

from quality.calc.week_spread import SpreadPrior, week_spread
from quality.calc.whitening import Whitener
from wimprog.lib.judgement import Interval
from wimprog.lib.units import format_number

LEAST_WEEKS = 26
LEAST_RANGE_C = 8.0
"""Range of the weeks' temperatures (5th to 95th percentile) that tells an effect."""
YEAR_DAYS = 365.25
LEAST_YEARS = 1.0
EFFECT_SD_PCT_PER_C = 0.1
SEASON_SD_PCT = 1.0
"""Effects expected before any week is seen, around none (own choice, no source)."""
TOLD_AT = 0.01
"""An effect is used when its likelihood ratio is this unlikely by chance."""
MOST_STEPS = 4


class Adjusted(StrEnum):
    """What was taken out."""

    TEMPERATURE = "temperature"
    SEASON = "season"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Adjustment:
    """Weekly values with temperature or season taken out.

    Attributes
    ----------
    kind
        What was taken out.
    values : (n,)
        The values left [%].
    effect : (n,)
        What was taken out [%], 0 on average; zeros when nothing was.
    pct_per_c
        Effect of temperature [% a degree Celsius] with its interval; None unless it
        was fitted.
    season_pct
        Half the distance of the season's highest and lowest week [%]; None unless it
        was fitted.
    n_weeks
        Weeks of the fit.
    sentence
        What was done, or why nothing was.
    """

    kind: Adjusted
    values: np.ndarray
    effect: np.ndarray
    pct_per_c: float | None
    interval: Interval | None
    season_pct: float | None
    n_weeks: int
    sentence: str


def take_out_temperature(
    week_on: np.ndarray,
    values_pct: np.ndarray,
    *,
    temperature_c: np.ndarray | None = None,
    period: np.ndarray | None = None,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> Adjustment:
    """Adjust weekly values for temperature where it is known, else for the season.

    Parameters
    ----------
    week_on : (n,)
        Weeks (their Mondays, datetime64), in order.
    values_pct : (n,)
        Weekly values [%], finite.
    temperature_c : (n,), optional
        Mean temperature of each week [°C]; NaN where it is not known.
    period : int, (n,), optional
        Number of the calibration period of each week; each has a level of its own.
    prior
        As in :func:`quality.calc.week_spread.week_spread`.
    level
        Level of the interval.
    """
    values = np.asarray(values_pct, dtype=np.float64)
    n = len(values)
    if n < LEAST_WEEKS:
        return _left_alone(
            values, f"{n} weeks; {LEAST_WEEKS} are needed to tell its effect"
        )
    reason = ""
    if temperature_c is not None:
        warm = np.asarray(temperature_c, dtype=np.float64)
        reason = _why_not_temperature(warm)
        if not reason:
            known = np.where(np.isfinite(warm), warm, np.nanmean(warm))
            away = (known - known.mean())[:, None]
            fit = _fit(values, away, EFFECT_SD_PCT_PER_C, period, prior)
            if fit.told:
                return _by_temperature(values, away[:, 0], fit, level)
            reason = "the weeks show no effect of temperature beyond chance"
            return _left_alone(values, reason)
    days = np.asarray(week_on).astype("datetime64[D]").astype(np.int64)
    years = float(days[-1] - days[0] + 7) / YEAR_DAYS
    unknown = reason or "the temperature of the weeks is not known"
    if years < LEAST_YEARS:
        return _left_alone(values, f"{unknown}, and the record holds no full year")
    turn = 2.0 * np.pi * days / YEAR_DAYS
    wave = np.column_stack([np.cos(turn), np.sin(turn)])
    fit = _fit(values, wave, SEASON_SD_PCT, period, prior)
    if not fit.told:
        return _left_alone(
            values, f"{unknown}, and the weeks show no season beyond chance"
        )
    effect = wave @ fit.effect
    effect -= effect.mean()
    half = float(np.hypot(*fit.effect))
    short = (
        "" if years >= 2 else " From less than two years a season is not told surely."
    )
    return Adjustment(
        kind=Adjusted.SEASON,
        values=values - effect,
        effect=effect,
        pct_per_c=None,
        interval=None,
        season_pct=half,
        n_weeks=n,
        sentence=f"Adjusted for the season, ±{format_number(half, 1)} % over the year "
        f"({n} weeks; {unknown}).{short}",
    )


@dataclass(frozen=True)
class _Fit:
    effect: np.ndarray
    error: np.ndarray
    df: float
    told: bool


def _fit(
    values: np.ndarray,
    columns: np.ndarray,
    expected_sd: float,
    period: np.ndarray | None,
    prior: SpreadPrior | None,
) -> _Fit:
    """Effects together with levels of the periods, steps and ramps.

    Steps and ramps are added one at a time, each where it explains most beside the
    effects, while it is worth 4 ln n.
    """
    n, p = columns.shape
    spread = week_spread(values, prior)
    white = Whitener(n, spread.phi, spread.sd or 1e-9)
    number = np.zeros(n, dtype=np.int64) if period is None else np.asarray(period)
    levels = (number[:, None] == np.unique(number)).astype(np.float64)
    y = white.of(values[:, None])[:, 0]
    x = white.of(columns)
    known = white.of(levels)
    ridge = np.eye(p) / expected_sd**2
    places = np.arange(2, n - 1)
    steps = np.column_stack([white.steps(places), white.ramps(places)])
    price = 4.0 * float(np.log(n))
    gains, found = _gains(y, x, known, steps, ridge)
    for _ in range(MOST_STEPS):
        best = int(np.argmax(gains))
        if gains[best] - _gains(y, x, known, None, ridge)[0][0] < price:
            break
        known = np.column_stack([known, steps[:, best]])
        gains, found = _gains(y, x, known, steps, ridge)
    with_, found = _gains(y, x, known, None, ridge)
    gain = float(with_[0])
    clear_x = _residual(x, known)
    covariance = np.linalg.inv(clear_x.T @ clear_x + ridge)
    return _Fit(
        effect=found[0],
        error=np.sqrt(np.diag(covariance)),
        df=spread.df,
        told=gain >= float(chi2.isf(TOLD_AT, p)),
    )


def _gains(
    y: np.ndarray,
    x: np.ndarray,
    known: np.ndarray,
    steps: np.ndarray | None,
    ridge: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """What effects, with each further step in turn, explain beyond ``known``."""
    y, x = _residual(y[:, None], known)[:, 0], _residual(x, known)
    squares, shared = x.T @ x, x.T @ y
    if steps is None:
        effect = np.linalg.solve(squares + ridge, shared)
        return np.array([shared @ effect]), effect[None, :]
    s = _residual(steps, known)
    power = np.einsum("ij,ij->j", s, s)
    usable = power > 1e-8
    power = np.where(usable, power, 1.0)
    sy, sx = y @ s, x.T @ s
    m = squares[None] - sx.T[:, :, None] * sx.T[:, None, :] / power[:, None, None]
    v = shared[None] - sx.T * (sy / power)[:, None]
    effect = np.linalg.solve(m + ridge, v[..., None])[..., 0]
    gain = sy**2 / power + np.einsum("ij,ij->i", v, effect)
    return np.where(usable, gain, -np.inf), effect


def _residual(columns: np.ndarray, known: np.ndarray) -> np.ndarray:
    basis, _ = np.linalg.qr(known)
    return np.asarray(columns - basis @ (basis.T @ columns))


def _why_not_temperature(warm: np.ndarray) -> str:
    seen = warm[np.isfinite(warm)]
    if len(seen) < 0.9 * len(warm):
        return f"the temperature is known for {len(seen)} of {len(warm)} weeks only"
    low, high = np.percentile(seen, [5, 95])
    if high - low < LEAST_RANGE_C:
        return (
            f"the temperature of the weeks ranges over {format_number(high - low, 1)} "
            f"°C; {format_number(LEAST_RANGE_C, 0)} are needed"
        )
    return ""


def _by_temperature(
    values: np.ndarray, away: np.ndarray, fit: _Fit, level: float
) -> Adjustment:
    slope, error = float(fit.effect[0]), float(fit.error[0])
    half = float(stdtrit(fit.df, 0.5 + level / 2)) * error
    effect = slope * away
    return Adjustment(
        kind=Adjusted.TEMPERATURE,
        values=values - effect,
        effect=effect,
        pct_per_c=slope,
        interval=Interval(slope - half, slope + half, level),
        season_pct=None,
        n_weeks=len(values),
        sentence=f"Adjusted for temperature, {format_number(slope, 2)} % a °C "
        f"(±{format_number(half, 2)}, {len(values)} weeks).",
    )


def _left_alone(values: np.ndarray, reason: str) -> Adjustment:
    return Adjustment(
        kind=Adjusted.NOTHING,
        values=values,
        effect=np.zeros(len(values)),
        pct_per_c=None,
        interval=None,
        season_pct=None,
        n_weeks=len(values),
        sentence=f"Not adjusted for temperature or season, because {reason}.",
    )
