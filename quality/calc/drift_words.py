"""What is said of a shift: its figures as true percentages and dates, in sentences."""

from __future__ import annotations

import datetime as dt

import numpy as np

from quality.calc.change_point import ChangeFit, Shape
from quality.calc.condition import day_in_words
from quality.calc.drift_chart import LEAST_AFTER, LEAST_BEFORE, LIMIT
from quality.calc.drift_episode import DriftEpisode
from quality.calc.false_alarms import Chart, StatedRate, stated_rate
from quality.calc.week_spread import Spread
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import format_number

METHOD_VERSION = "episodes-1"


def episode_of(
    fit: ChangeFit,
    spread: Spread,
    *,
    week_on: np.ndarray,
    n_trucks: int,
    begin: int,
    end: int,
    found: int,
    ends_on: dt.date | None,
    limit_pct: float,
    measure: str,
    adjusted: str,
    chart_limit: float,
) -> DriftEpisode:
    """An episode from a change fitted to the weeks ``begin`` to ``end``.

    Parameters
    ----------
    fit
        The change, values 100·ln of the means; its places count from ``begin``.
    spread
        Spread and correlation that the fit allowed for.
    week_on : (n,)
        Mondays of the calibration period.
    n_trucks
        Trucks of those weeks.
    begin, end, found
        First week of the fit, week after its last, and week of the signal. When
        ``end`` lies before the period's end, another shift follows there.
    ends_on
        Day of the calibration that ends the period; None while it runs.
    limit_pct, measure, adjusted, chart_limit
        As in :func:`quality.calc.drift_search.search_drift`.
    """
    onset = begin + fit.onset
    level = fit.level
    follows = end < len(week_on)
    until = _day(week_on[end]) if follows else ends_on
    size = true_percent(fit.size)
    interval = Interval(true_percent(fit.size_low), true_percent(fit.size_high), level)
    looked = max(found + 1 - begin, LEAST_BEFORE + LEAST_AFTER)
    rate = stated_rate(Chart.CHANGE_POINT, looked, spread.phi)
    if chart_limit != LIMIT:
        rate = StatedRate(None, "false alarms not measured for this limit")
    rule = (
        f"Change-point chart of weekly means since the calibration, limit "
        f"{format_number(chart_limit, 2)} "
        f"standard errors; {rate.sentence} (own method)."
    )
    onset_on, low_on = _day(week_on[onset]), _day(week_on[begin + fit.onset_low])
    high_on = _day(week_on[begin + fit.onset_high]) + dt.timedelta(days=6)
    found_on = _day(week_on[found]) + dt.timedelta(days=6)
    verdict = verdict_of(size, interval, limit_pct)
    sentence = _sentence(
        measure, fit, size, interval, onset_on, low_on, high_on, found_on, verdict,
        limit_pct, end - onset, onset - begin, n_trucks,
    )  # fmt: skip
    judgement = Judgement(
        quantity=measure,
        value=size,
        unit="%",
        n=end - begin,
        interval=interval,
        rule=rule,
        limit=f"±{format_number(limit_pct, 1)} %",
        verdict=verdict,
        sentence=sentence,
        standing="agency's own",
        details=(
            ("n_trucks", n_trucks),
            ("phi", spread.phi),
            ("week_sd_pct", spread.sd),
            ("gain_step", fit.gain_step),
            ("gain_ramp", fit.gain_ramp),
            ("method", METHOD_VERSION),
        ),
    )
    return DriftEpisode(
        measure=measure,
        shape=fit.shape,
        onset_on=onset_on,
        onset_low_on=low_on,
        onset_high_on=high_on,
        found_on=found_on,
        until_on=until,
        ended_by="next shift" if follows else "calibration" if until else "",
        size_pct=size,
        interval=interval,
        slope_pct_per_week=fit.slope,
        n_weeks=end - onset,
        n_weeks_before=onset - begin,
        n_trucks=n_trucks,
        phi=spread.phi,
        week_sd_pct=spread.sd,
        false_alarms_per_lane_year=rate.rate,
        rule=rule,
        adjusted=adjusted,
        judgement=judgement,
    )


def verdict_of(size: float, interval: Interval, limit: float) -> Verdict:
    """A change held against ±limit: by its interval, and never on noise."""
    if abs(size) > limit and not interval.low <= 0.0 <= interval.high:
        return Verdict.MISSES
    if -limit <= interval.low and interval.high <= limit:
        return Verdict.MEETS
    return Verdict.CANNOT_SAY


def _sentence(
    measure: str,
    fit: ChangeFit,
    size: float,
    interval: Interval,
    onset_on: dt.date,
    low_on: dt.date,
    high_on: dt.date,
    found_on: dt.date,
    verdict: Verdict,
    limit: float,
    n_after: int,
    n_before: int,
    n_trucks: int,
) -> str:
    way = "heavier" if size > 0 else "lighter"
    how = {
        Shape.STEP: "at once",
        Shape.RAMP: "little by little",
        Shape.UNCLEAR: "whether at once or little by little is not told yet",
    }[fit.shape]
    ending = {
        Verdict.MEETS: "within the limit",
        Verdict.MISSES: "beyond the limit",
        Verdict.CANNOT_SAY: "too uncertain to hold against the limit",
    }[verdict]
    name = measure[:1].upper() + measure[1:]
    return (
        f"{name} reads {format_number(abs(size), 1)} % {way} "
        f"({format_number(interval.low, 1)} to {format_number(interval.high, 1)} %) "
        f"since the week of {day_in_words(onset_on)} (between {day_in_words(low_on)} "
        f"and {day_in_words(high_on)}), {how}; found {day_in_words(found_on)} "
        f"({n_after} weeks against {n_before} before, {n_trucks:,} trucks; limit "
        f"±{format_number(limit, 1)} %: {ending})."
    )


def too_short(week_on: np.ndarray) -> str:
    """Why nothing can be said of a period with these weeks."""
    n = len(week_on)
    first, last = _day(week_on[0]), _day(week_on[-1])
    return (
        f"No drift can be told from {day_in_words(first)} to "
        f"{day_in_words(last + dt.timedelta(days=6))}: {n} "
        f"week{'s' if n != 1 else ''} with enough trucks; {LEAST_BEFORE} before a "
        f"shift and {LEAST_AFTER} after it are needed."
    )


def true_percent(log_pct: float) -> float:
    """A change of 100·ln of a mean as a percentage of the mean."""
    return float(100.0 * np.expm1(log_pct / 100.0))


def _day(day: np.datetime64) -> dt.date:
    return dt.date.fromisoformat(str(day))
