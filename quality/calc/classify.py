"""Vehicle class from axle spacings and weights, where the record carries none.

A rule set in the style of the LTPP classification scheme (FHWA-HRT-13-091, table 2):
axle count, a range for each spacing, a range of gross weight and the least weight of
the steering axle. Every figure below is FROM MEMORY except the row of the 3-S2 and the
weight limits of class 5, which facts at hand repeat, also from memory: compare with
the document before calling a class normative. Units are those of the source, feet and
thousands of pounds. What no rule fits is unclassified; nothing is forced into a class.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from quality.records.schema import SPACING_COLUMNS, matrix
from wimprog.lib.units import KG_PER_LB, M_PER_FT

METHOD_VERSION = "classify-1"
STANDING = "from memory, not checked against the document"
UNCLASSIFIED = 0
"""Class of a vehicle that carries none and that no rule fits."""
RECORDED_UNCLASSIFIED = 15
"""Class 15 of the record: the site's own classifier could not tell."""

BLOCK = 32_768
"""Vehicles looked at together: what fits the processor's cache is faster."""

Range = tuple[float, float]
NO_TOP = float("inf")


@dataclass(frozen=True)
class ClassRule:
    """One kind of vehicle.

    Attributes
    ----------
    vehicle_class
        Class 1 to 13 of the FHWA scheme.
    name
        Kind of vehicle.
    spacings_ft
        Least and greatest of each spacing, from the front, both included [ft].
    gross_kip
        Least and greatest gross weight, both included [1,000 lb].
    steering_kip
        Least weight of the first axle [1,000 lb].
    """

    vehicle_class: int
    name: str
    spacings_ft: tuple[Range, ...]
    gross_kip: Range
    steering_kip: float = 0.0

    @property
    def n_axles(self) -> int:
        """Axles of the vehicle."""
        return len(self.spacings_ft) + 1


def _multi(n_axles: int) -> ClassRule:
    spacings = ((6.0, 45.0), *((3.0, 45.0),) * (n_axles - 2))
    return ClassRule(13, "multi-trailer", spacings, (20.0, NO_TOP), 5.0)


RULES: tuple[ClassRule, ...] = (
    ClassRule(1, "motorcycle", ((1.0, 5.99),), (0.1, 3.0)),
    ClassRule(2, "car", ((6.0, 10.10),), (1.0, 7.99)),
    ClassRule(3, "other 2-axle 4-tyre", ((10.11, 23.09),), (1.0, 7.99)),
    ClassRule(4, "bus", ((23.10, 40.0),), (12.0, NO_TOP)),
    ClassRule(5, "2-axle single unit", ((6.0, 23.09),), (8.0, NO_TOP), 2.5),
    ClassRule(2, "car, trailer", ((6.0, 10.10), (6.0, 25.0)), (1.0, 11.99)),
    ClassRule(3, "other, trailer", ((10.11, 23.09), (6.0, 25.0)), (1.0, 11.99)),
    ClassRule(4, "bus, 3 axles", ((23.10, 40.0), (3.0, 7.0)), (20.0, NO_TOP)),
    ClassRule(5, "2-axle, trailer", ((6.0, 23.09), (6.3, 30.0)), (12.0, 19.99), 2.5),
    ClassRule(
        6, "3-axle single unit", ((6.0, 23.09), (2.5, 6.29)), (12.0, NO_TOP), 3.5
    ),
    ClassRule(8, "2-S1", ((6.0, 23.09), (11.0, 45.0)), (20.0, NO_TOP), 3.5),
    ClassRule(
        2, "car, trailer", ((6.0, 10.10), (6.0, 30.0), (1.0, 11.99)), (1.0, 11.99)
    ),
    ClassRule(
        3, "other, trailer", ((10.11, 23.09), (6.0, 30.0), (1.0, 11.99)), (1.0, 11.99)
    ),
    ClassRule(
        5, "2-axle, trailer", ((6.0, 26.0), (6.3, 40.0), (1.0, 20.0)),
        (12.0, 19.99), 2.5,
    ),
    ClassRule(
        7, "4-axle single unit", ((6.0, 23.09), (2.5, 6.29), (2.5, 12.99)),
        (12.0, NO_TOP), 3.5,
    ),
    ClassRule(
        8, "3-S1", ((6.0, 26.0), (2.5, 6.29), (13.0, 50.0)), (20.0, NO_TOP), 5.0
    ),
    ClassRule(
        8, "2-S2", ((6.0, 26.0), (8.0, 45.0), (2.5, 20.0)), (20.0, NO_TOP), 3.5
    ),
    ClassRule(
        3, "other, trailer",
        ((10.11, 23.09), (6.0, 25.0), (1.0, 11.99), (1.0, 11.99)), (1.0, 11.99),
    ),
    ClassRule(
        5, "2-axle, trailer",
        ((6.0, 23.09), (6.3, 35.0), (1.0, 25.0), (1.0, 11.99)), (12.0, 19.99), 2.5,
    ),
    ClassRule(
        7, "5-axle single unit",
        ((6.0, 23.09), (2.5, 6.29), (2.5, 6.29), (2.5, 6.30)), (12.0, NO_TOP), 3.5,
    ),
    ClassRule(
        9, "3-S2",
        ((6.0, 30.0), (2.5, 6.29), (6.3, 65.0), (2.5, 11.99)), (20.0, NO_TOP), 5.0,
    ),
    ClassRule(
        9, "3-2 truck, trailer",
        ((6.0, 30.0), (2.5, 6.29), (6.3, 50.0), (12.0, 27.0)), (20.0, NO_TOP), 3.5,
    ),
    ClassRule(
        9, "2-S3",
        ((6.0, 30.0), (16.0, 45.0), (2.5, 6.30), (2.5, 6.30)), (20.0, NO_TOP), 3.5,
    ),
    ClassRule(
        11, "2-S1-2",
        ((6.0, 30.0), (11.0, 26.0), (6.0, 20.0), (11.0, 26.0)), (20.0, NO_TOP), 3.5,
    ),
    ClassRule(
        10, "3-S3",
        ((6.0, 26.0), (2.5, 6.30), (6.1, 50.0), (2.5, 11.99), (2.5, 10.99)),
        (20.0, NO_TOP), 5.0,
    ),
    ClassRule(
        12, "3-S1-2",
        ((6.0, 26.0), (2.5, 6.30), (11.0, 26.0), (6.0, 24.0), (11.0, 26.0)),
        (20.0, NO_TOP), 5.0,
    ),
    *(_multi(n) for n in range(7, 10)),
)  # fmt: skip
"""In the order in which they are tried; the first that fits gives the class."""


def classify(
    *,
    n_axles: np.ndarray,
    spacings_m: np.ndarray | Sequence[np.ndarray],
    gvw_kg: np.ndarray,
    steering_kg: np.ndarray,
    rules: tuple[ClassRule, ...] = RULES,
    rows_by_axles: Mapping[int, np.ndarray] | None = None,
) -> np.ndarray:
    """Class of each vehicle by the first rule that fits, 0 where none does.

    Parameters
    ----------
    n_axles : (n,)
        Axles of each vehicle.
    spacings_m : (n, spacings) or one (n,) a spacing
        Axle spacings from the front [m], as many as the vehicles with most axles have;
        NaN beyond a vehicle's last.
    gvw_kg, steering_kg : (n,)
        Gross weight and weight of the first axle [kg].
    rules
        Tried in order.
    rows_by_axles
        Rows of the vehicles with so many axles, where they are known already.

    Returns
    -------
    vehicle_class : int8, (n,)

    Notes
    -----
    Spacings are compared at the source's precision, 0.01 ft, and weights at 0.01 kip,
    so that the ranges 6.00–10.10 and 10.11–23.09 leave no hole between them.

    References
    ----------
    FHWA-HRT-13-091, table 2 (from memory).
    """
    n_axles = np.asarray(n_axles)
    columns = (
        list(spacings_m.T) if isinstance(spacings_m, np.ndarray) else list(spacings_m)
    )
    if rows_by_axles is None:
        counts = np.unique(n_axles).tolist()
        rows_by_axles = {count: np.flatnonzero(n_axles == count) for count in counts}
    out = np.full(len(n_axles), UNCLASSIFIED, dtype=np.int8)
    for count, rows in rows_by_axles.items():
        wanted = [rule for rule in rules if rule.n_axles == count]
        for start in range(0, len(rows) if wanted else 0, BLOCK):
            block = rows[start : start + BLOCK]
            out[block] = _first_that_fits(
                wanted,
                [_in(column[block], M_PER_FT / 100) for column in columns[: count - 1]],
                _in(np.asarray(gvw_kg)[block], KG_PER_LB * 10),
                _in(np.asarray(steering_kg)[block], KG_PER_LB * 10),
            )
    return out


def _in(values: np.ndarray, step: float) -> np.ndarray:
    """Values in whole steps: 0.01 ft or 10 lb, as close as the source's limits are."""
    return np.asarray(np.rint(np.asarray(values, dtype=np.float64) / step))


def _first_that_fits(
    rules: list[ClassRule],
    hundredths_ft: list[np.ndarray],
    gross: np.ndarray,
    steering: np.ndarray,
) -> np.ndarray:
    """Class of vehicles that have as many axles as the rules."""
    out = np.full(len(gross), UNCLASSIFIED, dtype=np.int8)
    left = np.ones(len(gross), dtype=bool)
    for rule in rules:
        low, high = (limit * 100 for limit in rule.gross_kip)
        fits = left & (gross >= low) & (gross <= high)
        fits &= steering >= rule.steering_kip * 100
        for gap, (least, most) in zip(hundredths_ft, rule.spacings_ft, strict=True):
            fits &= (gap >= round(least * 100)) & (gap <= round(most * 100))
        out[fits] = rule.vehicle_class
        left &= ~fits
    return out


def effective_class(table: pa.Table | pa.RecordBatch) -> tuple[np.ndarray, int]:
    """Class of each record: as recorded, else by the rules; 0 where none fits.

    Returns
    -------
    vehicle_class : int8, (n,)
    n_worked_out : int
        Records whose class was blank.
    """
    column = table.column("vehicle_class")
    if column.null_count == 0:
        return np.asarray(column.to_numpy()), 0
    blank = np.asarray(column.is_null())
    classes = np.asarray(column.fill_null(UNCLASSIFIED), dtype=np.int8).copy()
    rows = np.flatnonzero(blank)
    narrow = table.take(pa.array(rows)) if len(rows) < len(classes) else table
    classes[rows] = classify(
        n_axles=np.asarray(narrow.column("n_axles")),
        spacings_m=matrix(narrow, SPACING_COLUMNS),
        gvw_kg=np.asarray(narrow.column("gvw_kg")),
        steering_kg=np.asarray(narrow.column("w1_kg")),
    )
    return classes, len(rows)
