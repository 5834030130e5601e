"""Vehicles over the weight limits: single axle, tandem, gross, bridge formula.

Limits and groups are those of :mod:`quality.calc.legal_limits`. What counts as over
here is a count, never evidence against a vehicle: a scale in the road is not certified
for that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from quality.calc.legal_limits import LegalLimits, axle_groups
from quality.calc.sample_mean import SampleShare
from quality.calc.steering import SLACK_KG
from quality.calc.volumes import N_CLASSES
from quality.records.schema import SPACING_COLUMNS, WEIGHT_COLUMNS
from wimprog.lib.errors import DomainError

METHOD_VERSION = "overweight-1"
FEDERAL = LegalLimits()
KINDS = ("single axle", "tandem", "gross", "bridge formula", "any")


@dataclass(frozen=True)
class Overweight:
    """Which vehicles are over which limit.

    Attributes
    ----------
    single, tandem, gross : bool, (n,)
        By axle, by tandem, by gross weight.
    bridge : bool, (n,)
        By the bridge formula.
    """

    single: np.ndarray
    tandem: np.ndarray
    gross: np.ndarray
    bridge: np.ndarray

    @property
    def any(self) -> np.ndarray:
        """Over any limit that was looked at, bool, (n,)."""
        return np.asarray(self.single | self.tandem | self.gross | self.bridge)

    def masks(self) -> dict[str, np.ndarray]:
        """By the names in :data:`KINDS`."""
        found = (self.single, self.tandem, self.gross, self.bridge, self.any)
        return dict(zip(KINDS, found, strict=True))

    def shares(self, level: float = 0.95) -> dict[str, SampleShare]:
        """Share of all vehicles over each limit, with n and interval."""
        n = len(self.gross)
        return {
            name: SampleShare.of(int(mask.sum()), n, level)
            for name, mask in self.masks().items()
        }

    def by_class(self, vehicle_class: np.ndarray) -> dict[str, np.ndarray]:
        """Vehicles over each limit by class 0 to 15, int64, (16,); ``n`` of all."""
        counts = {"n": np.bincount(vehicle_class, minlength=N_CLASSES)}
        for name, mask in self.masks().items():
            counts[name] = np.bincount(vehicle_class[mask], minlength=N_CLASSES)
        return counts


def overweight(
    table: pa.Table | pa.RecordBatch,
    *,
    limits: LegalLimits = FEDERAL,
    over_bridge: np.ndarray | None = None,
) -> Overweight:
    """Find the vehicles over each limit.

    Parameters
    ----------
    table
        Vehicle records.
    limits
        Of axles, tandems and gross weight.
    over_bridge : bool, (n,), optional
        Vehicles over the bridge formula where that was worked out by other rules than
        :func:`quality.calc.legal_limits.axle_groups`.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When ``over_bridge`` belongs to another table.

    Notes
    -----
    Unknown weights are over nothing. Weights are kept as float32, so a quarter of a
    pound over the limit is not over it.
    """
    n = table.num_rows
    if over_bridge is not None and len(over_bridge) != n:
        raise DomainError(
            f"Overweight: a bridge formula mask of {len(over_bridge)} vehicles does "
            f"not belong to a table of {n}."
        )
    n_axles = np.asarray(table.column("n_axles"))
    most = int(n_axles.max(initial=0))
    heaviest = axle_groups(
        [_column(table, name) for name in WEIGHT_COLUMNS[:most]],
        [_column(table, name) for name in SPACING_COLUMNS[: max(most - 1, 0)]],
        {int(size): np.flatnonzero(n_axles == size) for size in np.unique(n_axles)},
        limits,
    )
    bridge = heaviest.over_bridge_kg > SLACK_KG if over_bridge is None else over_bridge
    return Overweight(
        single=heaviest.single_kg > limits.single_kg + SLACK_KG,
        tandem=heaviest.tandem_kg > limits.tandem_kg + SLACK_KG,
        gross=_column(table, "gvw_kg") > limits.gross_kg + SLACK_KG,
        bridge=np.asarray(bridge, dtype=bool),
    )


def _column(table: pa.Table | pa.RecordBatch, name: str) -> np.ndarray:
    return np.asarray(table.column(name), dtype=np.float32)
