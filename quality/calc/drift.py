"""Drift of a lane since its last calibration, from weekly steering-axle means.

The first weeks after the calibration are the baseline; the last weeks are held against
it. Three things make that harder than a difference of two means, and each is in the
interval: weeks differ by more than their trucks explain (temperature, truck mix), so
the spread comes from week to week; neighbouring weeks are alike (autocorrelation); and
the baseline is itself estimated.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from quality.calc.change_point import fit_change
from quality.calc.cusum import Cusum, cusum, running_signal
from quality.calc.days import as_day
from quality.calc.false_alarms import (
    DRIFT_K,
    Chart,
    chart_limit,
    false_alarm_chance,
)
from quality.calc.week_spread import Spread, SpreadPrior, week_spread
from wimprog.lib.judgement import Condition, Interval, Judgement, Verdict
from wimprog.lib.units import format_number

METHOD_VERSION = "drift-2"
BASELINE_WEEKS = 10
LEAST_BASELINE_WEEKS = 8
RECENT_WEEKS = 4
DRIFT_LIMIT_PCT = 3.0
"""Change that asks for recalibration: 3 to 5 % (common practice, from memory)."""


@dataclass(frozen=True)
class DriftResult:
    """Drift since the last calibration.

    Attributes
    ----------
    judgement
        The change held against its limit, with n (weeks), interval, rule, sentence.
    condition
        Word of the lane's state for the dashboard.
    change_pct, interval
        Change of the recent weeks against the baseline [%], and its 95 % interval;
        None where it cannot be said.
    since_on
        First week of the shift while the CUSUM signals: the likeliest date of one
        change between the calibration and today.
    signal_on
        Week in which the running CUSUM excursion passed its limit.
    calibrated_on, baseline_kg, recent_kg, week_sd_pct, phi
        What it rests on.
    n_weeks, n_trucks, n_baseline_weeks, n_recent_weeks
        Weeks with enough trucks since the calibration, and their trucks.
    week_on, mean_kg : (n,)
        The weeks used, in order.
    high, low : (n,)
        CUSUM sums in standard deviations; NaN during the baseline.
    h
        Decision interval in standard deviations.
    false_alarm_chance
        Chance that such a chart, looked at every week, signals within a year when
        nothing has moved (measured by simulation); None for other constants and
        outside what was measured.
    """

    judgement: Judgement
    condition: Condition
    change_pct: float | None
    interval: Interval | None
    since_on: np.datetime64 | None
    signal_on: np.datetime64 | None
    calibrated_on: np.datetime64 | None
    baseline_kg: float | None
    recent_kg: float | None
    week_sd_pct: float | None
    phi: float | None
    n_weeks: int
    n_trucks: int
    n_baseline_weeks: int
    n_recent_weeks: int
    week_on: np.ndarray
    mean_kg: np.ndarray
    high: np.ndarray
    low: np.ndarray
    h: float
    false_alarm_chance: float | None


def drift_since(
    *,
    week_on: np.ndarray,
    mean_kg: np.ndarray,
    n_trucks: np.ndarray,
    is_enough: np.ndarray | None = None,
    calibrated_on: np.datetime64 | dt.date | None,
    reference_kg: float | None = None,
    limit_pct: float = DRIFT_LIMIT_PCT,
    baseline_weeks: int = BASELINE_WEEKS,
    recent_weeks: int = RECENT_WEEKS,
    level: float = 0.95,
    k: float = DRIFT_K,
    h: float | None = None,
    prior: SpreadPrior | None = None,
    quantity: str = "steering axle of class 9",
) -> DriftResult:
    """Judge how far a lane has drifted since its last calibration.

    Parameters
    ----------
    week_on, mean_kg, n_trucks : (n,)
        Weeks (their Mondays, datetime64), weekly means [kg] and trucks, in order.
    is_enough : bool, (n,), optional
        Weeks to use; all by default.
    calibrated_on
        Date of the last calibration; weeks that begin on or after it are used. None:
        the whole series is one period.
    reference_kg
        The agency's own reference weight in place of the baseline weeks [kg], taken
        as known.
    limit_pct
        Change that is acceptable [%], inclusive.
    baseline_weeks, recent_weeks
        Length of either side. With fewer than 8 baseline weeks nothing is said; the
        recent weeks never overlap the baseline.
    level
        Level of the interval.
    k, h
        CUSUM constants in long-run standard deviations; ``h`` None takes the limit
        measured for that baseline.
    prior
        What the program's other lanes show of spread [%] and correlation
        (:func:`quality.calc.week_spread.pool_spreads`); our own choice when None.

    Returns
    -------
    DriftResult
        Verdict "meets" when the whole interval lies within the limit, "misses" when
        the change is beyond it and the interval does not hold zero, else "cannot say".

    Raises
    ------
    ValueError
        When lengths differ, weeks are not in order, or there is no measured limit for
        such a long baseline.
    """
    week_on = np.asarray(week_on).astype("datetime64[D]")
    mean_kg = np.asarray(mean_kg, dtype=np.float64)
    n_trucks = np.asarray(n_trucks, dtype=np.int64)
    if not len(week_on) == len(mean_kg) == len(n_trucks):
        raise ValueError("week_on, mean_kg and n_trucks must have the same length")
    if (np.diff(week_on.astype(np.int64)) <= 0).any():
        raise ValueError("weeks must be in order, each once")
    use = np.isfinite(mean_kg)
    calibrated: np.datetime64 | None = None
    if is_enough is not None:
        use &= np.asarray(is_enough, dtype=bool)
    if calibrated_on is not None:
        calibrated = as_day(calibrated_on)
        use &= week_on >= calibrated
    week_on, mean_kg, n_trucks = week_on[use], mean_kg[use], n_trucks[use]
    rule = (
        f"mean of the last {recent_weeks} weeks against "
        + (
            "the agency's reference weight"
            if reference_kg is not None
            else f"the first {baseline_weeks} weeks after calibration"
        )
        + ", spread from week to week (own method)"
    )
    n = len(week_on)
    n_base = 0 if reference_kg is not None else min(baseline_weeks, n)
    n_recent = max(min(recent_weeks, n - n_base), 0)
    measured = k == DRIFT_K and h is None
    if h is None:
        h = chart_limit(
            Chart.CUSUM,
            max(n_base, LEAST_BASELINE_WEEKS) if reference_kg is None else 0,
        )
    short = n_base < LEAST_BASELINE_WEEKS and reference_kg is None
    if short or n_recent == 0 or n < 4:
        return _cannot_say(
            week_on, mean_kg, n_trucks, calibrated, quantity, rule, limit_pct, h
        )
    base = float(mean_kg[:n_base].mean()) if reference_kg is None else reference_kg
    spread = week_spread(mean_kg, prior.in_units_of(base) if prior else None)
    recent = float(mean_kg[n - n_recent :].mean())
    change = 100.0 * (recent / base - 1.0)
    variance = spread.mean_variance(n_recent)
    if reference_kg is None:
        # the baseline's own uncertainty scales with the ratio (delta method)
        variance += spread.mean_variance(n_base) * (recent / base) ** 2
    half = float(student_t.ppf(0.5 + level / 2, spread.df))
    half *= 100.0 * float(np.sqrt(variance)) / base
    interval = Interval(change - half, change + half, level)
    chart = _chart(mean_kg, n_base, base, spread, k, h)
    # with fewer weeks the rate of false alarms of a known reference is not measured
    running = running_signal(chart, h) if n > LEAST_BASELINE_WEEKS else None
    since = None
    if running:
        first, last = n_base + running[0], n_base + running[1]
        since = week_on[_onset(mean_kg, first, last, n_base, spread)]
    signal = week_on[n_base + running[1]] if running else None
    verdict, condition = _verdict(change, interval, limit_pct, signal is not None)
    chance = false_alarm_chance(n_base, spread.phi) if measured else None
    sentence = _sentence(
        quantity, change, half, since if abs(change) > half else None, verdict,
        limit_pct, n, int(n_trucks.sum()),
    )  # fmt: skip
    judgement = Judgement(
        quantity=quantity,
        value=change,
        unit="%",
        n=n,
        interval=interval,
        rule=rule,
        limit=f"±{format_number(limit_pct, 1)} %",
        verdict=verdict,
        sentence=sentence,
        standing="common practice, no source",
        details=(
            ("baseline_kg", base),
            ("recent_kg", recent),
            ("n_trucks", int(n_trucks.sum())),
            ("week_sd_pct", 100.0 * spread.sd / base),
            ("phi", spread.phi),
            (
                "false_alarms_per_lane_year",
                "not measured" if chance is None else chance,
            ),
            ("method", METHOD_VERSION),
        ),
    )
    before = np.full(n_base, np.nan)
    return DriftResult(
        judgement=judgement,
        condition=condition,
        change_pct=change,
        interval=interval,
        since_on=since,
        signal_on=signal,
        calibrated_on=calibrated,
        baseline_kg=base,
        recent_kg=recent,
        week_sd_pct=100.0 * spread.sd / base,
        phi=spread.phi,
        n_weeks=n,
        n_trucks=int(n_trucks.sum()),
        n_baseline_weeks=n_base,
        n_recent_weeks=n_recent,
        week_on=week_on,
        mean_kg=mean_kg,
        high=np.concatenate([before, chart.high]),
        low=np.concatenate([before, chart.low]),
        h=h,
        false_alarm_chance=chance,
    )


def _onset(
    mean_kg: np.ndarray, first: int, last: int, n_base: int, spread: Spread
) -> int:
    """Likeliest first week of the excursion that began at ``first``.

    The last zero of a sum is too early when the baseline is a little off; the
    likelihood of every week between the calibration and the signal is not. With no
    weeks before it to compare (a known reference) the last zero stands.
    """
    if n_base < 2 or len(mean_kg) - n_base < 2:
        return first
    fit = fit_change(mean_kg, spread=spread)
    return fit.onset if n_base <= fit.onset <= last else first


def _chart(
    mean_kg: np.ndarray, n_base: int, base: float, spread: Spread, k: float, h: float
) -> Cusum:
    """CUSUM of the weeks after the baseline, in long-run standard deviations."""
    scale = spread.long_run_sd
    if scale <= 0.0:
        scale = 1e-9 * base
    return cusum((mean_kg[n_base:] - base) / scale, target=0.0, k=k, h=h)


def _verdict(
    change: float, interval: Interval, limit: float, signalled: bool
) -> tuple[Verdict, Condition]:
    if abs(change) > limit and not interval.low <= 0.0 <= interval.high:
        return Verdict.MISSES, Condition.ACT
    if -limit <= interval.low and interval.high <= limit:
        return Verdict.MEETS, Condition.WATCH if signalled else Condition.SOUND
    return Verdict.CANNOT_SAY, Condition.WATCH


def _sentence(
    quantity: str,
    change: float,
    half: float,
    since: np.datetime64 | None,
    verdict: Verdict,
    limit: float,
    n: int,
    trucks: int,
) -> str:
    size, margin = format_number(abs(change), 1), format_number(half, 1)
    way = "heavy" if change > 0 else "light"
    name = quantity[:1].upper() + quantity[1:]
    if half >= abs(change):
        text = f"{name} shows no change since calibration that can be told from zero"
        text += f" ({format_number(change, 1)} %, ±{margin} %)"
    else:
        text = f"{name} reads {size} % {way}"
        if since is not None:
            day = since.astype("datetime64[D]").item()
            text += f" since {day.day} {day:%B %Y}"
        text += f", ±{margin} %"
    basis = f"{n} weeks, {trucks:,} trucks; limit ±{format_number(limit, 1)} %"
    ending = {
        Verdict.MEETS: "within the limit",
        Verdict.MISSES: "beyond the limit",
        Verdict.CANNOT_SAY: "too uncertain to hold against the limit",
    }[verdict]
    return f"{text} ({basis}: {ending})."


def _cannot_say(
    week_on: np.ndarray,
    mean_kg: np.ndarray,
    n_trucks: np.ndarray,
    calibrated_on: np.datetime64 | None,
    quantity: str,
    rule: str,
    limit_pct: float,
    h: float,
) -> DriftResult:
    """The outcome when there are too few weeks."""
    n = len(week_on)
    since = (
        "" if calibrated_on is None else f" since the calibration on {calibrated_on}"
    )
    sentence = (
        f"Drift cannot be told yet: {n} weeks with enough trucks{since}; "
        f"{LEAST_BASELINE_WEEKS} for a baseline and at least one after it are needed."
    )
    none = np.full(n, np.nan)
    judgement = Judgement(
        quantity=quantity,
        value=None,
        unit="%",
        n=n,
        interval=None,
        rule=rule,
        limit=f"±{format_number(limit_pct, 1)} %",
        verdict=Verdict.CANNOT_SAY,
        sentence=sentence,
        standing="common practice, no source",
    )
    return DriftResult(
        judgement=judgement,
        condition=Condition.NO_DATA,
        change_pct=None,
        interval=None,
        since_on=None,
        signal_on=None,
        calibrated_on=calibrated_on,
        baseline_kg=None,
        recent_kg=None,
        week_sd_pct=None,
        phi=None,
        n_weeks=n,
        n_trucks=int(n_trucks.sum()),
        n_baseline_weeks=0,
        n_recent_weeks=0,
        week_on=week_on,
        mean_kg=mean_kg,
        high=none,
        low=none.copy(),
        h=h,
        false_alarm_chance=None,
    )
