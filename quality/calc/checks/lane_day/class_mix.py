"""Shares of the classes unlike those of the lane's own same weekdays."""

from __future__ import annotations

import numpy as np

from quality.calc.checks.kinds import OWN_SIMULATION, Check, Finding, Weight
from quality.calc.checks.lane_days import LaneDays
from quality.calc.checks.usual import LEAST_SAME_WEEKDAYS, middle_and_sd
from quality.calc.day_counts import N_CLASSES
from wimprog.lib.units import format_number

WEEKS = 8
LEAST_EXPECTED = 5.0
"""Classes with fewer to be expected are put together (Cochran's rule)."""
LEAST_MOVED = 0.05
"""Share of the vehicles that must have moved to another class: no day is looked at for
less, however sure it is."""


def class_mix(days: LaneDays, check: Check, limit: float) -> list[Finding]:
    """Days whose distance is above ``limit`` times the lane's usual one.

    The distance is Pearson's chi-square a degree of freedom, against the shares of the
    same weekday in the 8 weeks before. Days scatter more than chance, a lane more than
    another: so it is held against the median of the lane's own 26 weeks before.
    """
    counts = np.column_stack(
        [days.figure("classes", place=k) for k in range(N_CLASSES)]
    )
    counts[days.is_holiday | (days.n_vehicles == 0)] = np.nan
    known = np.isfinite(counts[:, 0])
    before, n_before = _sum_of_weekdays(counts, known)
    distance, moved = mix_distance(np.nan_to_num(counts), before)
    distance[~known | (n_before < LEAST_SAME_WEEKDAYS)] = np.nan
    usual, _ = middle_and_sd(distance)
    times = distance / np.maximum(usual, 1.0)
    return [
        Finding(
            key=check.key,
            date=days.date[day],
            value=float(times[day]),
            limit=limit,
            n=int(counts[day].sum()),
            weight=Weight.LOOK,
            sentence=check.sentence.format(
                n=format_number(float(counts[day].sum()), 0),
                moved=format_number(100 * float(moved[day]), 0),
                most=_what_moved(counts[day], before[day]),
                times=format_number(float(times[day]), 1),
                limit=format_number(limit, 1),
            ),
        )
        for day in np.flatnonzero((times > limit) & (moved > LEAST_MOVED)).tolist()
    ]


def _sum_of_weekdays(
    counts: np.ndarray, known: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Counts of the same weekday in the weeks before, and how many are known."""
    total, number = np.zeros(counts.shape), np.zeros(len(counts))
    values = np.nan_to_num(counts)
    for back in range(7, 7 * WEEKS + 1, 7):
        total[back:] += values[:-back]
        number[back:] += known[:-back]
    return total, number


def mix_distance(
    counts: np.ndarray, reference: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Chi-square a degree of freedom, and the share of vehicles that moved.

    Parameters
    ----------
    counts, reference : (n, classes)
        Vehicles of each class of n days, and of what each is held against.

    Returns
    -------
    distance : (n,)
        Of two counts of one mix about 1, whatever their numbers; NaN where fewer than
        two classes have five vehicles to be expected.
    moved : (n,)
        Half the sum of the absolute differences of the shares (total variation).
    """
    n, m = counts.sum(axis=1), reference.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (counts + reference) / (n + m)[:, None]
        expected, of_reference = share * n[:, None], share * m[:, None]
        common = expected >= LEAST_EXPECTED

        def parted(values: np.ndarray) -> np.ndarray:
            rest = np.where(common, 0.0, values).sum(axis=1, keepdims=True)
            return np.hstack([np.where(common, values, 0.0), rest])

        apart = 0.0
        for seen, wanted in ((counts, expected), (reference, of_reference)):
            seen, wanted = parted(seen), parted(wanted)
            apart = apart + np.where(
                wanted > 0, (seen - wanted) ** 2 / wanted, 0.0
            ).sum(axis=1)
        has_rest = (parted(expected)[:, -1] > 0).astype(int)
        freedom = common.sum(axis=1) + has_rest - 1
        distance = np.where(freedom >= 1, apart / np.maximum(freedom, 1), np.nan)
        moved = np.abs(counts / n[:, None] - reference / m[:, None]).sum(axis=1) / 2
    return np.asarray(distance), np.asarray(moved)


def _what_moved(counts: np.ndarray, before: np.ndarray) -> str:
    """The class whose share moved most, in words."""
    now, usual = counts / counts.sum(), before / before.sum()
    most = int(np.argmax(np.abs(now - usual)))
    name = f"class {most}" if most else "no class"
    return (
        f"{name} {format_number(100 * float(now[most]), 0)} % where "
        f"{format_number(100 * float(usual[most]), 0)} % is usual"
    )


CHECK = Check(
    key="class-mix",
    title="Class mix",
    unit="times the lane's usual distance",
    default_limit=7.0,
    source="chi-square of the classes against the same weekdays of the 8 weeks before, "
    "over its own median: MEASURED_CHECKS.md",
    standing=OWN_SIMULATION,
    sentence="The classes of {n} vehicles are not the usual ones, {moved} % moved "
    "({most}): {times} times the lane's usual distance, limit {limit}. Other traffic "
    "explains it; axles missed or made up, or lanes exchanged, do too.",
    run=class_mix,
)
