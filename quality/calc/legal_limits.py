"""Axle groups of whole lanes held against legal weight limits.

All groups of consecutive axles of a vehicle are looked at, in columns: one pass over
the records of each number of axles.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from quality.calc.bridge_formula import SOURCE as BRIDGE_SOURCE
from quality.calc.bridge_formula import STEP_LB
from wimprog.lib.units import KG_PER_LB, M_PER_FT

SOURCE = BRIDGE_SOURCE
HALF_A_POUND_KG = 0.2268
"""Slack for weights kept as float32: exactly at the limit is not over it."""
HALF_A_TENTH_FT = 0.005
"""Slack for lengths, which records carry to 0.1 ft."""
BLOCK = 32_768
"""Records looked at together: what fits the processor's cache is faster."""


@dataclass(frozen=True)
class LegalLimits:
    """Weights a vehicle may have without a permit; a state's own may differ.

    Attributes
    ----------
    single_kg, tandem_kg, gross_kg
        Single axle, tandem axle and gross weight: 20,000, 34,000 and 80,000 lb
        (confirmed).
    single_most_m, tandem_most_m
        Axles no farther apart than this count as a single, or as a tandem axle: 40 in
        and 96 in (from memory).
    two_tandems_least_m
        Two tandem axles in a row carry their limit each when their first and last axle
        are at least this far apart: 36 ft (confirmed).
    """

    single_kg: float = 20_000 * KG_PER_LB
    tandem_kg: float = 34_000 * KG_PER_LB
    gross_kg: float = 80_000 * KG_PER_LB
    single_most_m: float = 40 / 12 * M_PER_FT
    tandem_most_m: float = 96 / 12 * M_PER_FT
    two_tandems_least_m: float = 36 * M_PER_FT


@dataclass(frozen=True)
class AxleGroups:
    """The heaviest axle groups of n vehicles [kg].

    Attributes
    ----------
    single_kg, tandem_kg : float32, (n,)
        Heaviest single and heaviest tandem axle; NaN where there is none.
    over_bridge_kg : float32, (n,)
        How much the worst group of axles is above the bridge formula, negative below
        it; NaN where no group is longer than a tandem axle.
    """

    single_kg: np.ndarray
    tandem_kg: np.ndarray
    over_bridge_kg: np.ndarray


def axle_groups(
    weights_kg: Sequence[np.ndarray],
    spacings_m: Sequence[np.ndarray],
    rows_by_axles: Mapping[int, np.ndarray],
    limits: LegalLimits = LegalLimits(),
) -> AxleGroups:
    """Heaviest groups of each vehicle.

    Parameters
    ----------
    weights_kg, spacings_m
        One array (n,) an axle and a spacing, from the front.
    rows_by_axles
        Rows of the vehicles with so many axles; together every row once.
    limits
        Whose lengths and tandem limit are used.

    Notes
    -----
    A vehicle with an unknown weight or spacing has NaN in every group that holds it,
    and so "no data" where only such groups exist.
    """
    n = len(weights_kg[0]) if weights_kg else 0
    single, tandem, over = (np.full(n, np.nan, dtype=np.float32) for _ in range(3))
    for count, all_rows in rows_by_axles.items():
        for start in range(0, len(all_rows), BLOCK):
            rows = all_rows[start : start + BLOCK]
            if count < 1 or count > len(weights_kg):
                continue
            found = _groups(
                [weights_kg[k][rows] for k in range(count)],
                [spacings_m[k][rows] for k in range(count - 1)],
                limits,
            )
            single[rows], tandem[rows], over[rows] = found
    return AxleGroups(single, tandem, over)


def _groups(
    weights_kg: list[np.ndarray], spacings_m: list[np.ndarray], limits: LegalLimits
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heaviest groups of vehicles that have as many axles as there are weights."""
    f4 = np.float32
    to_lb, to_ft = f4(1 / KG_PER_LB), f4(1 / M_PER_FT)
    single_most = f4(limits.single_most_m / M_PER_FT + HALF_A_TENTH_FT)
    tandem_most = f4(limits.tandem_most_m / M_PER_FT + HALF_A_TENTH_FT)
    weights = [weight * to_lb for weight in weights_kg]
    spacings = [spacing * to_ft for spacing in spacings_m]
    nothing = np.full(len(weights[0]), np.nan, dtype=f4)
    single, tandem, over = weights[0].copy(), nothing.copy(), nothing.copy()
    for first in range(len(weights)):
        if first:
            np.fmax(single, weights[first], out=single)
        group, length = weights[first].copy(), np.zeros(len(nothing), dtype=f4)
        for last in range(first + 1, len(weights)):
            group += weights[last]
            length += spacings[last - 1]
            size = last - first + 1
            if size <= 4:
                close = length <= single_most
                if close.any():
                    np.fmax(single, np.where(close, group, f4(np.nan)), out=single)
                short = length <= tandem_most
                if short.any():
                    chosen = np.where(short & ~close, group, f4(np.nan))
                    np.fmax(tandem, chosen, out=tandem)
            excess = group - _rounded(length, size)
            if size <= 4:
                excess[short] = np.nan
            if size == 4:
                _two_tandems(excess, group, length, spacings, first, limits)
            np.fmax(over, excess, out=over)
    kg = f4(KG_PER_LB)
    return single * kg, tandem * kg, over * kg


def _rounded(length_ft: np.ndarray, n_axles: int) -> np.ndarray:
    """The bridge formula to the nearest 500 lb, in as few passes as may be."""
    allowed = length_ft * np.float32(n_axles / (n_axles - 1))
    allowed += np.float32(12 * n_axles + 36 + 0.5)
    np.floor(allowed, out=allowed)
    allowed *= np.float32(STEP_LB)
    return allowed


def _two_tandems(
    excess: np.ndarray,
    group: np.ndarray,
    length_ft: np.ndarray,
    spacings_ft: list[np.ndarray],
    first: int,
    limits: LegalLimits,
) -> None:
    """Let two tandem axles far enough apart carry their limit each."""
    most = np.float32(limits.tandem_most_m / M_PER_FT + HALF_A_TENTH_FT)
    least = np.float32(limits.two_tandems_least_m / M_PER_FT - HALF_A_TENTH_FT)
    pair = (spacings_ft[first] <= most) & (spacings_ft[first + 2] <= most)
    rows = np.flatnonzero(pair & (length_ft >= least))
    both = np.float32(2 * limits.tandem_kg / KG_PER_LB)
    excess[rows] = np.minimum(excess[rows], group[rows] - both)
