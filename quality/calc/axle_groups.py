"""Axle groups of many vehicles at once: single axles, tandems, tridems, quads.

The same rule as :mod:`calibration.calc.axle_groups` uses for one test truck, over
columns of records: neighbouring axles stand in one group while the distance between
them is no more than the limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import pyarrow as pa

from calibration.calc.axle_groups import GROUP_LIMIT_M
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS
from wimprog.lib.units import M_PER_FT

METHOD_VERSION = "axle-groups-1"
HALF_A_HUNDREDTH_FOOT_M = 0.005 * M_PER_FT
"""Slack for spacings kept as float32: 8.0 ft is within a limit of 8 ft."""
DONE_SHARE = 0.25
BLOCK = 32_768
"""Records looked at together: what fits the processor's cache is faster."""


class AxleKind(IntEnum):
    """A group by its number of axles; five and more are one kind."""

    SINGLE = 1
    TANDEM = 2
    TRIDEM = 3
    QUAD = 4
    LARGER = 5


@dataclass(frozen=True)
class AxleGroupLoads:
    """Groups of the vehicles of a table, m of them, in no order worth relying on.

    Attributes
    ----------
    row : int32, (m,)
        The vehicle's row in the table.
    first : int8, (m,)
        Place of the group's first axle, 0 for the steering axle.
    n_axles : int8, (m,)
        Axles of the group.
    load_kg : float64, (m,)
        Sum of its axles; NaN where one of them is unknown.
    spread_m : float32, (m,)
        Distance from its first to its last axle, 0 for a single axle.
    n_vehicles
        Rows of the table.
    """

    row: np.ndarray
    first: np.ndarray
    n_axles: np.ndarray
    load_kg: np.ndarray
    spread_m: np.ndarray
    n_vehicles: int

    @property
    def kind(self) -> np.ndarray:
        """The :class:`AxleKind` of each group, int8, (m,)."""
        return np.minimum(self.n_axles, np.int8(AxleKind.LARGER))


def axle_groups(
    table: pa.Table | pa.RecordBatch, *, group_limit_m: float = GROUP_LIMIT_M
) -> AxleGroupLoads:
    """Divide the axles of every vehicle into groups and add up their loads.

    Parameters
    ----------
    table
        Vehicle records with ``n_axles``, weights [kg] and spacings [m].
    group_limit_m
        Widest distance between neighbouring axles of one group [m], included. The
        default is 96 in: 23 CFR 658.5, definition of tandem axle weight (from memory).

    Notes
    -----
    An unknown spacing ends a group. Axles that ``n_axles`` does not count are not
    looked at.
    """
    n_axles = np.asarray(table.column("n_axles"), dtype=np.int8)
    limit = np.float32(group_limit_m + HALF_A_HUNDREDTH_FOOT_M)
    most = int(n_axles.max(initial=0))
    weights = [_column(table, name) for name in WEIGHT_COLUMNS[:most]]
    spacings = [_column(table, name) for name in SPACING_COLUMNS[: max(most - 1, 0)]]
    parts = [_NONE]
    for start in range(0, len(n_axles), BLOCK):
        block = slice(start, start + BLOCK)
        parts += _of_block(
            n_axles[block],
            [weight[block] for weight in weights],
            [spacing[block] for spacing in spacings],
            limit,
            start,
        )
    row, first, size, load, spread = (
        np.concatenate(columns) for columns in zip(*parts, strict=True)
    )
    return AxleGroupLoads(row, first, size, load, spread, len(n_axles))


def _column(table: pa.Table | pa.RecordBatch, name: str) -> np.ndarray:
    return np.asarray(table.column(name), dtype=np.float32)


_NONE: tuple[np.ndarray, ...] = tuple(
    np.zeros(0, dtype=kind)
    for kind in (np.int32, np.int8, np.int8, np.float64, np.float32)
)


def _of_block(
    left: np.ndarray,
    weights: list[np.ndarray],
    spacings: list[np.ndarray],
    limit: np.float32,
    start: int,
) -> list[tuple[np.ndarray, ...]]:
    """Groups of some rows; ``left`` their numbers of axles."""
    out: list[tuple[np.ndarray, ...]] = []
    most = int(left.max(initial=0))
    if most == 0:
        return out
    rows = np.arange(len(left), dtype=np.int32)
    every = True
    load = weights[0].astype(np.float64)
    spread = np.zeros(len(rows), dtype=np.float32)
    count = np.ones(len(rows), dtype=np.int8)
    for k in range(1, most + 1):
        # axle k (counted from 1) has been added; does axle k + 1 join its group?
        joins = np.zeros(len(rows), dtype=bool)
        if k < most:
            gap = spacings[k - 1] if every else spacings[k - 1][rows]
            joins = (gap <= limit) & (left > k)  # an unknown spacing does not
        ends = np.flatnonzero(~joins & (left >= k))
        size = count[ends]
        out.append(
            (rows[ends] + np.int32(start), np.int8(k) - size, size, load[ends],
             spread[ends])
        )  # fmt: skip
        if k == most:
            break
        weight = weights[k] if every else weights[k][rows]
        load = np.where(joins, load + weight, weight)
        spread = np.where(joins, spread + gap, np.float32(0))
        count = np.where(joins, count + np.int8(1), np.int8(1))
        going = np.flatnonzero(left > k)
        if len(going) < (1 - DONE_SHARE) * len(rows):
            rows, left, every = rows[going], left[going], False
            load, spread, count = load[going], spread[going], count[going]
    return out
