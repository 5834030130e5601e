"""Vehicle records as the checks of single records read them."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import pyarrow as pa

from quality.records.schema import (
    SPACING_COLUMNS,
    WEIGHT_COLUMNS,
    TimeResolution,
    resolution_of,
    times_ms,
)

LEFT_RIGHT_COLUMN = "left_right_imbalance_pct"


class Records:
    """Columns of n records of one lane, worked out once for all checks.

    Parameters
    ----------
    table
        Records in ``STORE_SCHEMA``, in the order in which they were recorded.
    """

    def __init__(self, table: pa.Table | pa.RecordBatch) -> None:
        self.table = table
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
