"""Two lanes that have taken each other's place: cables or settings exchanged."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Finding, PairCheck, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import LEAST_SAME_WEEKDAYS
from quality.calc.day_counts import N_CLASSES
from wimprog.lib.units import format_number

WEEKS = 8
LEAST_VEHICLES = 100
LEAST_APART = 0.1
"""Lanes less unlike than this cannot be told from each other."""


def lane_swap(
    a: LaneDays, b: LaneDays, check: PairCheck, limit: float
) -> list[Finding]:
    """Days that fit the two lanes' usual days better with the lanes exchanged.

    Each day is the two lanes' vehicles by hour and by class, as shares of both lanes
    together, so that which lane is the busier counts too. With d the half sum of
    absolute differences, the value is (d as it is − d exchanged) / (d between the
    usual and the usual exchanged): −1 for lanes in their places, +1 exchanged. The
    usual is the sum over the same weekday in the 8 weeks before.

    Raises
    ------
    ValueError
        When the two do not cover the same days.
    """
    if not np.array_equal(a.date, b.date):
        raise ValueError("both lanes must cover the same days")
    known = a.is_recorded & b.is_recorded & ~a.is_holiday & ~b.is_holiday
    known &= a.n_vehicles + b.n_vehicles >= LEAST_VEHICLES
    score = np.full(len(a.date), np.nan)
    total = np.zeros(len(a.date))
    for of_a, of_b in ((a.hourly, b.hourly), (_classes(a), _classes(b))):
        has = known & np.isfinite(of_a[:, 0]) & np.isfinite(of_b[:, 0])
        part = _score(np.nan_to_num(of_a), np.nan_to_num(of_b), has)
        seen = np.isfinite(part)
        score[seen] = np.nan_to_num(score[seen]) + part[seen]
        total += seen
    with np.errstate(invalid="ignore"):
        score = score / np.maximum(total, 1)
    return [
        Finding(
            key=check.key,
            date=a.date[day],
            value=float(score[day]),
            limit=limit,
            n=int(a.n_vehicles[day] + b.n_vehicles[day]),
            weight=Weight.SET_ASIDE,
            sentence=check.sentence.format(
                n=format_number(float(a.n_vehicles[day] + b.n_vehicles[day]), 0),
                score=format_number(float(score[day]), 2),
                limit=format_number(limit, 2),
            ),
        )
        for day in np.flatnonzero(np.nan_to_num(score, nan=-1.0) > limit).tolist()
    ]


def _classes(days: LaneDays) -> np.ndarray:
    return np.column_stack([days.figure("classes", place=k) for k in range(N_CLASSES)])


def _score(of_a: np.ndarray, of_b: np.ndarray, known: np.ndarray) -> np.ndarray:
    """−1 in place to +1 exchanged, (n,); NaN where the lanes cannot be told apart."""
    both = np.where(known[:, None, None], np.stack([of_a, of_b], axis=1), 0.0)
    usual, number = np.zeros(both.shape), np.zeros(len(both))
    for back in range(7, 7 * WEEKS + 1, 7):
        usual[back:] += both[:-back]
        number[back:] += known[:-back]
    with np.errstate(invalid="ignore", divide="ignore"):
        day = both / both.sum(axis=(1, 2), keepdims=True)
        usual = usual / usual.sum(axis=(1, 2), keepdims=True)

        def apart(left: np.ndarray, right: np.ndarray) -> np.ndarray:
            return np.asarray(np.abs(left - right).sum(axis=(1, 2)) / 2)

        between = apart(usual, usual[:, ::-1])
        score = (apart(day, usual) - apart(day, usual[:, ::-1])) / between
        tested = known & (number >= LEAST_SAME_WEEKDAYS) & (between >= LEAST_APART)
    return np.where(tested, score, np.nan)


CHECK = PairCheck(
    key="lane-swap",
    title="Lanes exchanged",
    unit="−1 in place to +1 exchanged",
    default_limit=0.3,
    source="hours and classes of two lanes against their own 8 weeks before: "
    "MEASURED_CHECKS.md",
    standing=OWN_SIMULATION,
    sentence="The hours and classes of {n} vehicles fit both lanes better if they are "
    "exchanged ({score} between −1, in place, and +1, exchanged; limit {limit}). "
    "Cables or settings taken for each other explain it; traffic moved to the other "
    "lane by work on the road does too.",
    run=lane_swap,
)
