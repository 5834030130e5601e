"""Populations of lanes whose true bias is known, for simulation. Invented figures."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from calibration.calc.bias_types import DAYS_PER_YEAR, BiasSession, LaneSessions

START = dt.date(2030, 1, 1)


@dataclass(frozen=True)
class Population:
    """What is true of the lanes.

    ``wander_spread`` and ``drift_spread`` make lanes unlike each other (log scale, and
    %/year); ``shared_sd_pct`` is an error that a session's trucks carry through both
    its stages; ``jump_chance`` a year's chance of a sudden change of 5 %.
    """

    wander_pct: float = 2.0
    drift_pct_per_year: float = 0.5
    temperature_pct_per_c: float = 0.08
    wander_spread: float = 0.0
    drift_spread: float = 0.0
    se_pct: float = 0.6
    session_sd_pct: float = 0.5
    shared_sd_pct: float = 0.0
    jump_chance: float = 0.0


def simulate(rng, population, n_lanes, n_sessions, *, days_on=300):
    """Lanes with sessions about a year apart, the day asked for, and their true biases.

    The truth is the bias at 15 °C on that day, shape (n_lanes,).
    """
    one = population
    lanes, truth = [], []
    last_possible = START + dt.timedelta(days=400 * n_sessions)
    today = last_possible + dt.timedelta(days=days_on)
    for i in range(n_lanes):
        wander = one.wander_pct * np.exp(one.wander_spread * rng.normal())
        drift = one.drift_pct_per_year + one.drift_spread * rng.normal()
        bias, day, sessions = 4.0 * rng.normal(), START, []

        def later(bias, days, wander=wander, drift=drift):
            years = days / DAYS_PER_YEAR
            jump = (
                5.0
                * rng.choice([-1, 1])
                * (rng.random() < 1.0 - np.exp(-one.jump_chance * years))
            )
            return bias + drift * years + wander * np.sqrt(years) * rng.normal() + jump

        for k in range(n_sessions):
            planned = START + dt.timedelta(days=int(400 * k + rng.integers(0, 120)))
            bias, day = later(bias, (planned - day).days) if k else bias, planned
            temp = float(rng.normal(15.0, 10.0))
            warmth = one.temperature_pct_per_c * (temp - 15.0)
            shared = one.shared_sd_pct * rng.normal()
            error = np.hypot(one.se_pct, one.session_sd_pct)
            found = bias + warmth + shared + error * rng.normal()
            # adjusted at this temperature with these trucks: they then show nought
            bias -= found
            left = bias + warmth + shared + error * rng.normal()
            sessions.append(
                BiasSession(day, found, one.se_pct, left, one.se_pct, True, temp, temp)
            )
        bias = later(bias, (today - day).days)
        lanes.append(LaneSessions(f"L{i}", tuple(sessions)))
        truth.append(bias)
    return lanes, today, np.array(truth)
