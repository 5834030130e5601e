"""Weights multiplied after the fact, beside the raw records and always marked.

A scale whose drift is well measured can be corrected backwards. The raw table is never
touched: a scaled one is made from it, and says in its metadata by what it was scaled,
with the interval, so that nothing downstream can forget it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from quality.records.schema import WEIGHT_COLUMNS
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval

METHOD_VERSION = "scaled-weights-1"
_KEY = b"weights_scaled_by"


@dataclass(frozen=True)
class Scaling:
    """A factor for weights, with what is known of it.

    Attributes
    ----------
    factor
        Weights are multiplied by it.
    low, high
        Interval of the factor.
    level
        Level that the interval claims.
    """

    factor: float
    low: float
    high: float
    level: float = 0.95

    def __post_init__(self) -> None:
        """Refuse what cannot scale a weight."""
        if not all(math.isfinite(x) and x > 0 for x in (self.factor, self.low)):
            raise DomainError(
                f"A scaling's factor must be above zero, not {self.factor} "
                f"({self.low} to {self.high})."
            )
        if not (self.low <= self.factor <= self.high < math.inf):
            raise DomainError(
                f"A scaling's factor {self.factor} must lie in its interval, "
                f"{self.low} to {self.high}."
            )
        if not 0 < self.level < 1:
            raise DomainError(
                f"The level of an interval lies between 0 and 1, not {self.level}."
            )

    @classmethod
    def undoing(cls, size_pct: float, low_pct: float, high_pct: float) -> Scaling:
        """The scaling that undoes a drift of so many per cent.

        A lane that reads 4 % too heavy is multiplied by 1 / 1.04; the interval's ends
        change places.

        Raises
        ------
        wimprog.lib.errors.DomainError
            When the interval reaches −100 %, or the size lies outside it.
        """
        if not -100 < low_pct <= size_pct <= high_pct:
            raise DomainError(
                f"A drift of {size_pct} % ({low_pct} to {high_pct} %) cannot be "
                "undone: its interval must hold it and lie above −100 %."
            )
        factor, low, high = (
            1 / (1 + pct / 100) for pct in (size_pct, high_pct, low_pct)
        )
        return cls(factor, low, high)

    @property
    def interval(self) -> Interval:
        """Of the factor."""
        return Interval(self.low, self.high, self.level)

    def of(self, value: float) -> tuple[float, Interval]:
        """A sum or mean of raw weights, scaled, with the factor's interval on it."""
        return self.factor * value, Interval(
            self.low * value, self.high * value, self.level
        )


def scaled(table: pa.Table, scaling: Scaling) -> pa.Table:
    """A copy of the table with all weights multiplied, marked in its metadata.

    Parameters
    ----------
    table
        Raw records; they are left as they are.
    scaling
        Factor and interval.

    Returns
    -------
    pyarrow.Table
        ``gvw_kg`` and axle weights times the factor (reckoned in float64, kept as
        float32, so the sum of the axles stays the gross weight to rounding). Other
        columns are shared with ``table``, its metadata is kept.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the table is scaled already: a correction starts from raw records.
    """
    before = scaling_of(table.schema)
    if before is not None:
        raise DomainError(
            f"These weights are scaled by {before.factor:g} already; start from the "
            "raw records."
        )
    schema = table.schema
    for name in ("gvw_kg", *WEIGHT_COLUMNS):
        place = schema.get_field_index(name)
        if place < 0:
            continue
        column = table.column(place)
        weights = column.to_numpy().astype(np.float64) * scaling.factor
        unknown = None if column.null_count == 0 else column.is_null().to_numpy()
        table = table.set_column(
            place,
            schema.field(place),
            pa.array(weights.astype(np.float32), mask=unknown),
        )
    text = " ".join(
        repr(x) for x in (scaling.factor, scaling.low, scaling.high, scaling.level)
    )
    return table.replace_schema_metadata(
        {**(schema.metadata or {}), _KEY: text.encode()}
    )


def scaling_of(schema: pa.Schema) -> Scaling | None:
    """By what a table's weights were scaled; None for raw records."""
    text = (schema.metadata or {}).get(_KEY)
    if text is None:
        return None
    factor, low, high, level = (float(x) for x in text.decode().split())
    return Scaling(factor, low, high, level)
