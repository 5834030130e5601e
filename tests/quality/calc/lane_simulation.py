"""Simulated days of two lanes beside each other, and faults of known size and date.

Invented traffic, harder than chance would have it: whole weeks are busier or quieter
(8 %), a season comes and goes (15 %), hours scatter more than Poisson (negative
binomial, size 20), the class mix of a day scatters more than a multinomial (Dirichlet),
days have their own speed, and weekends have another shape and mix than weekdays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.signal import lfilter

from quality.calc.checks import LaneDays

MONDAY = np.datetime64("2029-01-01")
WEEKDAY = np.array([1, 1, 1, 1, 0.95, 0.5, 0.4])
WORKDAY_HOURS = np.r_[[0.3] * 4, 0.6, 1.1, [1.6] * 4, [1.9] * 6, 1.7, 1.4, [0.9] * 4]
WORKDAY_HOURS = np.r_[WORKDAY_HOURS, [0.5] * 2]
WEEKEND_HOURS = np.r_[[0.4] * 6, [0.8] * 3, [1.4] * 10, [1.0] * 3, [0.5] * 2]
MIX = np.zeros(16)
MIX[[0, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]] = (
    0.01, 0.06, 0.05, 0.02, 0.22, 0.05, 0.01, 0.07, 0.44, 0.03, 0.02, 0.01, 0.01,
)  # fmt: skip
PASSING = MIX.copy()
PASSING[[5, 9]] = 0.34, 0.32
WEEKEND_MIX = MIX.copy()
WEEKEND_MIX[[2, 3, 5, 9]] = 0.12, 0.10, 0.14, 0.41


@dataclass(frozen=True)
class Traffic:
    """Population a lane is drawn from."""

    per_day: float = 1000.0
    n_days: int = 112
    week_sd: float = 0.08
    season: float = 0.15
    spread_k: float = 20.0
    mix_k: float = 400.0
    speed_sd_kmh: float = 2.0


def simulate(
    rng: np.random.Generator, traffic: Traffic, *, passing: bool = False
) -> LaneDays:
    """A lane that works: ``n_days`` from a Monday on."""
    n = traffic.n_days
    weekday = np.arange(n) % 7
    week = np.repeat(rng.normal(0, traffic.week_sd, n // 7 + 1), 7)[:n]
    year = traffic.season * np.sin(
        2 * np.pi * np.arange(n) / 365.25 + rng.uniform(0, 6.3)
    )
    shape = np.where((weekday >= 5)[:, None], WEEKEND_HOURS, WORKDAY_HOURS)
    if passing:
        shape = shape * np.where(np.arange(24) < 6, 0.6, 1.05)
    shape = shape / shape.sum(axis=1, keepdims=True)
    scale = traffic.per_day * (0.35 if passing else 1.0)
    rate = (scale * WEEKDAY[weekday] * np.exp(week + year))[:, None] * shape
    k = traffic.spread_k
    hourly = rng.poisson(rate * rng.gamma(k, 1 / k, rate.shape))
    mixes = np.where((weekday >= 5)[:, None], WEEKEND_MIX, PASSING if passing else MIX)
    figures = []
    for day in range(n):
        share = rng.gamma(np.maximum(mixes[day] * traffic.mix_k, 1e-12))
        classes = rng.multinomial(hourly[day].sum(), share / share.sum())
        middle = 100 + rng.normal(0, traffic.speed_sd_kmh)
        figures.append({"classes": classes.tolist(), "speed_kmh": middle})
    return of(hourly, [_told(rng, one) for one in figures])


def _told(rng: np.random.Generator, figures: dict[str, Any]) -> dict[str, Any]:
    """Speeds in whole miles an hour, close in groups of vehicles, as figures."""
    n = int(sum(figures["classes"]))
    noise = lfilter([0.866], [1.0, -0.5], rng.normal(size=n))
    mph = np.rint((figures["speed_kmh"] + 7 * noise) / 1.609344)
    return {"classes": figures["classes"], **speed_figures(mph * 1.609344)}


def speed_figures(speeds_kmh: np.ndarray) -> dict[str, Any]:
    """The figures of one day's speeds in the order in which they came."""
    if len(speeds_kmh) < 2:
        return {}
    counts = np.bincount((speeds_kmh / 2.0).astype(int), minlength=100)
    used = np.flatnonzero(counts)
    equal = np.r_[False, speeds_kmh[1:] == speeds_kmh[:-1], False]
    edges = np.flatnonzero(equal[1:] != equal[:-1])
    runs = edges[1::2] - edges[::2]
    first, last = int(used[0]), int(used[-1])
    return {
        "speed": {"from": first, "n": counts[first : last + 1].tolist()},
        "same": {
            "speed": [
                int(equal.sum()),
                len(speeds_kmh) - 1,
                int(runs.max(initial=0)) + 1,
            ]
        },
    }


def of(hourly: np.ndarray, figures: list[dict[str, Any]]) -> LaneDays:
    """Lane days of hourly counts (n, 24) and figures."""
    n = len(hourly)
    return LaneDays(
        date=MONDAY + np.arange(n),
        is_recorded=np.ones(n, dtype=bool),
        n_vehicles=hourly.sum(axis=1),
        n_unclassified=np.zeros(n, dtype=int),
        n_implausible=np.zeros(n, dtype=int),
        hours_seen=(hourly > 0) @ (1 << np.arange(24)),
        hourly=hourly,
        figures=figures,
    )


def changed(days: LaneDays, hourly: np.ndarray) -> LaneDays:
    """The same days with other hours; figures are kept."""
    return replace(
        days,
        hourly=hourly,
        n_vehicles=hourly.sum(axis=1),
        hours_seen=(hourly > 0) @ (1 << np.arange(24)),
    )


# --- faults: each from day ``start`` on ---------------------------------------------


def lose(
    rng: np.random.Generator, days: LaneDays, start: int, share: float
) -> LaneDays:
    """A share of the vehicles is not recorded any more."""
    hourly = days.hourly.copy()
    hourly[start:] = rng.binomial(hourly[start:], 1 - share)
    return changed(days, hourly)


def shift_clock(days: LaneDays, start: int, hours: int) -> LaneDays:
    """The clock is ``hours`` ahead."""
    flat = days.hourly.reshape(-1)
    late = flat.copy()
    at = start * 24
    late[at:] = np.roll(flat[at:], hours)
    return changed(days, late.reshape(-1, 24))


def no_am_pm(days: LaneDays, start: int) -> LaneDays:
    """Afternoons are recorded as mornings."""
    hourly = days.hourly.copy()
    hourly[start:, :12] += hourly[start:, 12:]
    hourly[start:, 12:] = 0
    return changed(days, hourly)


def misclassify(
    rng: np.random.Generator, days: LaneDays, start: int, share: float
) -> LaneDays:
    """A share of class 9 is recorded as class 8 (an axle missed)."""
    figures = [dict(one) for one in days.figures]
    for one in figures[start:]:
        classes = list(one["classes"])
        moved = int(rng.binomial(classes[9], share))
        classes[9] -= moved
        classes[8] += moved
        one["classes"] = classes
    return replace(days, figures=figures)


def speed_error(
    days: LaneDays, start: int, pct: float, rng: np.random.Generator
) -> LaneDays:
    """Speeds are read ``pct`` per cent too high."""
    figures = [dict(one) for one in days.figures]
    for one in figures[start:]:
        n = int(sum(one["classes"]))
        speeds = rng.normal(100, 7, n) * (1 + pct / 100)
        one.update(speed_figures(np.rint(speeds / 1.609344) * 1.609344))
    return replace(days, figures=figures)


def freeze_speed(days: LaneDays, start: int, n_frozen: int) -> LaneDays:
    """The speed of ``n_frozen`` vehicles in a row is one value."""
    figures = [dict(one) for one in days.figures]
    for one in figures[start:]:
        equal, n, longest = one["same"]["speed"]
        frozen = min(n_frozen, n)
        one["same"] = {"speed": [min(equal + frozen - 1, n), n, max(longest, frozen)]}
    return replace(days, figures=figures)


def exchange(a: LaneDays, b: LaneDays, start: int) -> tuple[LaneDays, LaneDays]:
    """The two lanes take each other's place."""

    def mixed(one: LaneDays, other: LaneDays) -> LaneDays:
        hourly = np.concatenate([one.hourly[:start], other.hourly[start:]])
        figures = [*one.figures[:start], *other.figures[start:]]
        return replace(changed(one, hourly), figures=figures)

    return mixed(a, b), mixed(b, a)
