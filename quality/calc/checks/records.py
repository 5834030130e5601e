"""Vehicle records as the checks of single records read them."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pyarrow as pa

from quality.calc.classify import UNCLASSIFIED, classify
from quality.calc.legal_limits import AxleGroups, LegalLimits, axle_groups
from quality.records.schema import (
    SPACING_COLUMNS,
    WEIGHT_COLUMNS,
    TimeResolution,
    resolution_of,
    times_ms,
)

FEDERAL = LegalLimits()
LEFT_RIGHT_COLUMN = "left_right_imbalance_pct"


class Records:
    """Columns of n records of one lane, worked out once for all checks.

    Parameters
    ----------
    table
        Records in ``STORE_SCHEMA``, in the order in which they were recorded.
    legal
        How long a single and a tandem axle may be, and what two tandem axles carry.
    """

    def __init__(
        self, table: pa.Table | pa.RecordBatch, legal: LegalLimits = FEDERAL
    ) -> None:
        self.table = table
        self.legal = legal
        self.n = table.num_rows
        self._columns: dict[str, np.ndarray] = {}

    def column(self, name: str) -> np.ndarray:
        """A number column as float32, (n,); NaN where it is null or absent."""
        if name not in self._columns:
            self._columns[name] = self._float32(name)
        return self._columns[name]

    def _float32(self, name: str) -> np.ndarray:
        if name not in self.table.schema.names:
            return np.full(self.n, np.nan, dtype=np.float32)
        column = self.table.column(name)
        if column.null_count == self.n:
            return np.full(self.n, np.nan, dtype=np.float32)
        return np.asarray(column, dtype=np.float32)

    @cached_property
    def n_axles(self) -> np.ndarray:
        """Axles of each record, int64 (n,)."""
        return np.asarray(self.table.column("n_axles")).astype(np.int64)

    @cached_property
    def most_axles(self) -> int:
        """Axles of the record with most of them; 0 without records."""
        return int(self.n_axles.max(initial=0))

    @property
    def weights_kg(self) -> list[np.ndarray]:
        """Axle weights from the front, most_axles columns (n,)."""
        return [self.column(name) for name in WEIGHT_COLUMNS[: self.most_axles]]

    @property
    def spacings_m(self) -> list[np.ndarray]:
        """Axle spacings from the front, most_axles − 1 columns (n,)."""
        most = max(self.most_axles - 1, 0)
        return [self.column(name) for name in SPACING_COLUMNS[:most]]

    @cached_property
    def by_axles(self) -> dict[int, np.ndarray]:
        """Rows of the records by their number of axles."""
        return {
            int(count): np.flatnonzero(self.n_axles == count)
            for count in np.flatnonzero(np.bincount(self.n_axles))
        }

    @cached_property
    def times_ms(self) -> np.ndarray | None:
        """Times [ms], int64 (n,); None when only the hours are known."""
        if resolution_of(self.table.schema) is not TimeResolution.INSTANT:
            return None
        return times_ms(self.table).astype(np.int64)

    @cached_property
    def sum_of_axles_kg(self) -> np.ndarray:
        """Sum of the axle weights, float32 (n,); unknown ones count nothing."""
        total = np.zeros(self.n, dtype=np.float32)
        for k, weight in enumerate(self.weights_kg):
            total += weight if k < 2 else np.nan_to_num(weight)
        return total

    @cached_property
    def groups(self) -> AxleGroups:
        """The heaviest axle groups of each vehicle."""
        return axle_groups(self.weights_kg, self.spacings_m, self.by_axles, self.legal)

    @cached_property
    def recorded_class(self) -> np.ndarray:
        """The record's own class, int8 (n,); 0 where it has none."""
        column = self.table.column("vehicle_class")
        if column.null_count == 0:
            return np.asarray(column, dtype=np.int8)
        return np.asarray(column.fill_null(UNCLASSIFIED), dtype=np.int8)

    @cached_property
    def class_by_rules(self) -> np.ndarray:
        """Class by spacings and weights, int8 (n,); 0 where no rule fits."""
        return classify(
            n_axles=self.n_axles,
            spacings_m=self.spacings_m,
            gvw_kg=self.column("gvw_kg"),
            steering_kg=self.column("w1_kg"),
            rows_by_axles=self.by_axles,
        )

    @cached_property
    def effective_class(self) -> np.ndarray:
        """Class as recorded, else by the rules, int8 (n,); 0 where none fits."""
        blank = np.asarray(self.table.column("vehicle_class").is_null())
        if not blank.any():
            return self.recorded_class
        return np.where(blank, self.class_by_rules, self.recorded_class)
