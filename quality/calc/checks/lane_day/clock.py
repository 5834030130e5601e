"""A day whose hours fit the usual ones far better with the clock set otherwise."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.clock_shift import GAIN_LIMIT, HOURS, day_candidates, gains
from quality.calc.gaps import GAP_PROBABILITY, empty_runs, trailing_rates
from wimprog.lib.units import format_number

MOST_H = 12
LEAST_HOURS = 8
WINDOW_DAYS = 7
"""Days taken together where one does not tell: one hour is seldom seen in a day."""


def clock(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose likeliest shift gains more than ``limit`` in log likelihood.

    By the day alone, or with the six before it when the day itself speaks for it. The
    usual is the same hours of the week in the 8 weeks before, by people's clocks:
    where daylight saving time is kept, records stay in standard time and traffic does
    not. Empty hours that :mod:`quality.calc.gaps` takes for missing are left out.
    """
    counts, known = _by_peoples_clocks(days)
    learnt_from = known & ~days.is_holiday[:, None]
    # one unknown day more: hours of a clock that is behind reach into tomorrow
    tomorrow = ((0, 1), (0, 0))
    rates = trailing_rates(np.pad(counts, tomorrow), np.pad(learnt_from, tomorrow))
    for run in empty_runs(counts, is_known=learnt_from, watch=GAP_PROBABILITY):
        known.reshape(-1)[run.start : run.stop] = False
    candidates = day_candidates(rates, MOST_H)[:-1]
    looked_at = days.is_recorded & ~days.is_holiday & (known.sum(axis=1) >= LEAST_HOURS)
    looked_at &= np.isfinite(candidates).all(axis=(1, 2))
    gain = np.zeros((len(days.date), 2 * MOST_H + 2))
    gain[looked_at] = np.nan_to_num(
        gains(counts[looked_at], candidates[looked_at], known[looked_at], none=MOST_H)
    )
    padded = np.pad(gain, ((WINDOW_DAYS - 1, 0), (0, 0)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, WINDOW_DAYS, axis=0)
    of_week = windows.sum(axis=-1)
    findings = []
    for day in np.flatnonzero(looked_at).tolist():
        best, told = int(np.argmax(gain[day])), float(gain[day].max())
        n = int(days.n_vehicles[day])
        if told <= limit:
            best, told = int(np.argmax(of_week[day])), float(of_week[day].max())
            n = int(days.n_vehicles[max(day + 1 - WINDOW_DAYS, 0) : day + 1].sum())
            if told <= limit or gain[day, best] <= 0:
                continue
        hours = best - MOST_H
        fold = best == 2 * MOST_H + 1
        findings.append(
            Finding(
                key=check.key,
                date=days.date[day],
                value=told,
                limit=limit,
                n=n,
                weight=Weight.LOOK if abs(hours) == 1 else Weight.SET_ASIDE,
                sentence=check.sentence.format(
                    n=format_number(n, 0),
                    fault=_words(hours, fold=fold),
                    gain=format_number(told, 0),
                    limit=format_number(limit, 0),
                ),
            )
        )
    return findings


def _words(hours: int, *, fold: bool) -> str:
    if fold:
        return "had no AM and PM"
    if abs(hours) == MOST_H:
        return "had AM and PM exchanged"
    unit = "hour" if abs(hours) == 1 else "hours"
    return f"was {abs(hours)} {unit} {'ahead' if hours > 0 else 'behind'}"


def _by_peoples_clocks(days: LaneDays) -> tuple[np.ndarray, np.ndarray]:
    """Vehicles of each hour as people's clocks showed it, and whether it is known."""
    n = len(days.date)
    known = np.repeat(days.is_recorded[:, None], HOURS, axis=1)
    if not days.clock_ahead_h.any():
        return days.hourly.astype(np.float64), known
    hour = np.arange(n * HOURS) + np.repeat(days.clock_ahead_h, HOURS)
    inside = hour < n * HOURS
    counts = np.bincount(
        hour[inside], days.hourly.reshape(-1)[inside], minlength=n * HOURS
    )
    there = np.zeros(n * HOURS, dtype=bool)
    there[hour[inside]] = known.reshape(-1)[inside]
    return counts.reshape(n, HOURS), there.reshape(n, HOURS)


CHECK = Check(
    key="clock",
    title="Controller's clock",
    unit="log likelihood gained",
    default_limit=GAIN_LIMIT,
    source="hours of the day against the same hours of the week in the 8 weeks before: "
    "MEASURED_CHECKS.md",
    standing=OWN_SIMULATION,
    sentence="The hours of {n} vehicles fit the usual hours far better if the clock "
    "{fault}: {gain} in log likelihood, limit {limit}. A road closed for part of the "
    "day can look alike.",
    run=clock,
)
