"""Lanes with a fault of known kind, size and date, and what is made of them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from quality.calc.change_point import Shape
from quality.calc.drift_episode import DriftEpisode, Scope
from quality.calc.drift_scope import LaneSeries, compare_scope
from quality.calc.drift_search import search_drift
from quality.calc.false_alarms import simulate_weeks
from quality.calc.week_series import WeekSeries

MONDAY = np.datetime64("2030-01-07")
WEEKS = 156
FAULT_WEEK = 90
PHI = 0.3
SD_PCT = 0.8
TRUCKS = 600


@dataclass(frozen=True)
class Fault:
    """What is put into a lane.

    ``size_pct`` is reached at once (step) or in the last week (ramp). ``pct_per_c`` is
    an effect of a temperature of ±12 °C over the year with weekly scatter of 3 °C,
    which is told to the search or not. ``season_pct``: half the height of a yearly
    wave.
    """

    name: str
    shape: Shape | None = None
    size_pct: float = 0.0
    pct_per_c: float = 0.0
    is_warmth_known: bool = False
    season_pct: float = 0.0


FAULTS = (
    Fault("nothing"),
    *(Fault("step", Shape.STEP, size) for size in (1.0, 2.0, 3.0, 5.0)),
    *(Fault("ramp over 66 weeks", Shape.RAMP, size) for size in (1.0, 2.0, 3.0, 5.0)),
    Fault("0.1 % a °C, known", None, 0.0, 0.1, True),
    Fault("0.1 % a °C, not known", None, 0.0, 0.1),
    Fault("season ±1 %", None, 0.0, season_pct=1.0),
    Fault("season ±2 %", None, 0.0, season_pct=2.0),
    Fault("step and 0.1 % a °C, known", Shape.STEP, 3.0, 0.1, True),
    Fault("step and 0.1 % a °C, not known", Shape.STEP, 3.0, 0.1),
    Fault("step and season ±1 %", Shape.STEP, 3.0, season_pct=1.0),
    Fault("step and season ±2 %", Shape.STEP, 3.0, season_pct=2.0),
)


@dataclass
class Tally:
    """Counts over lanes of one fault."""

    lanes: int = 0
    found: int = 0
    within_26: int = 0
    delays: list[int] = field(default_factory=list)
    false: int = 0
    false_years: float = 0.0
    onset_held: int = 0
    onset_off: list[int] = field(default_factory=list)
    size_held: int = 0
    shape_right: int = 0
    shape_wrong: int = 0


def truth(fault: Fault, n: int = WEEKS, at: int = FAULT_WEEK) -> np.ndarray:
    """What the fault adds to each week [%], without temperature and season."""
    week = np.arange(n)
    if fault.shape is Shape.RAMP:
        return fault.size_pct * np.maximum(week - at + 1, 0) / (n - at)
    return np.where(week >= at, fault.size_pct, 0.0)


def lane_with(fault: Fault, rng: np.random.Generator, n: int = WEEKS) -> WeekSeries:
    """One lane."""
    week = np.arange(n)
    wave = np.cos(2 * np.pi * (week - 28) * 7 / 365.25)
    warm = 12.0 * wave + 3.0 * rng.standard_normal(n)
    noise = simulate_weeks(phi=PHI, n_weeks=n, n_runs=1, rng=rng, sd=SD_PCT)[0]
    pct = noise + truth(fault, n) + fault.pct_per_c * warm + fault.season_pct * wave
    return WeekSeries(
        MONDAY + 7 * week,
        4900.0 * (1.0 + pct / 100.0),
        np.full(n, TRUCKS),
        warm if fault.is_warmth_known else None,
    )


def run_fault(fault: Fault, *, lanes: int, seed: int) -> Tally:
    """Search ``lanes`` lanes with the fault and count."""
    rng = np.random.default_rng([seed, round(10 * abs(fault.size_pct))])
    tally = Tally(lanes=lanes)
    onset = dt.date.fromisoformat(str(MONDAY + 7 * FAULT_WEEK))
    for _ in range(lanes):
        episodes = search_drift(
            lane_with(fault, rng), calibrated_on=[dt.date(2030, 1, 1)]
        ).episodes
        tally.false_years += WEEKS / 52.0
        if not fault.size_pct:
            tally.false += len(episodes)
            continue
        hit = next((one for one in episodes if one.found_on >= onset), None)
        if hit is not None and hit.size_pct * fault.size_pct > 0:
            _count(tally, hit, fault, onset)
            tally.false -= 1
        tally.false += len(episodes)
    return tally


def _count(tally: Tally, hit: DriftEpisode, fault: Fault, onset: dt.date) -> None:
    tally.found += 1
    delay = ((hit.found_on - onset).days + 1) // 7
    tally.delays.append(delay)
    tally.within_26 += delay <= 26
    tally.onset_held += hit.onset_low_on <= onset <= hit.onset_high_on
    tally.onset_off.append(abs((hit.onset_on - onset).days) // 7)
    last = FAULT_WEEK + hit.n_weeks - 1 if hit.until_on else WEEKS - 1
    true = truth(fault)[min(last, WEEKS - 1)]
    tally.size_held += hit.interval.low <= true <= hit.interval.high
    tally.shape_right += hit.shape is fault.shape
    tally.shape_wrong += hit.shape not in (fault.shape, Shape.UNCLEAR)


def run_scopes(
    *, programs: int, seed: int, size_pct: float = 3.0
) -> dict[str, dict[Scope, int]]:
    """Scope told of a step of lane 1 of site A, by what truly moved.

    Programs of four sites of two lanes; "sensor": the lane's two sensors are known and
    one of them moves by twice the size.
    """
    moves = {
        "sensor": {"A1"},
        "lane": {"A1"},
        "site": {"A1", "A2"},
        "region": {f"{site}{lane}" for site in "ABCD" for lane in "12"},
    }
    step = Fault("step", Shape.STEP, size_pct)
    out: dict[str, dict[Scope, int]] = {}
    rng = np.random.default_rng(seed)
    for name, moved in moves.items():
        told = dict.fromkeys(Scope, 0)
        for _ in range(programs):
            lanes = {}
            for site in "ABCD":
                for number in "12":
                    lane = site + number
                    fault = step if lane in moved else FAULTS[0]
                    lanes[lane] = LaneSeries(
                        lane, site, "R", lane_with(fault, rng), (dt.date(2030, 1, 1),)
                    )
            own = lanes["A1"]
            if name == "sensor":
                twice = Fault("step", Shape.STEP, 2 * size_pct)
                left, right = lane_with(twice, rng), lane_with(FAULTS[0], rng)
                mean = WeekSeries(
                    left.week_on, (left.mean_kg + right.mean_kg) / 2, left.n_trucks
                )
                own = LaneSeries(
                    "A1", "A", "R", mean, own.calibrated_on,
                    {"left": left, "right": right},
                )  # fmt: skip
            episodes = search_drift(
                own.series, calibrated_on=own.calibrated_on
            ).episodes
            if not episodes:
                continue
            told[compare_scope(episodes[-1], own, list(lanes.values())).scope] += 1
        out[name] = told
    return out
