"""The checks of a record, on the columns of a headed file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records.mapping import MASS_STEP, ColumnMapping, length_factor
from quality.records.report import Reason
from quality.records.schema import MAX_AXLES
from quality.records.w_layout import FIRST_YEAR, LARGEST_CLASS, LAST_YEAR
from wimprog.lib.units import UNITS

COLDEST_C, HOTTEST_C = -60.0, 90.0
"""Beyond these a number is no pavement temperature (common practice, no source)."""
_ORDER = (
    Reason.NOT_ASCII,
    Reason.NOT_A_NUMBER,
    Reason.STATION,
    Reason.DATE,
    Reason.VEHICLE_CLASS,
    Reason.AXLE_COUNT,
    Reason.AXLES_MISSING,
    Reason.AXLES_EXTRA,
    Reason.GROSS_WEIGHT,
)


@dataclass
class Checked:
    """Columns of n rows in SI; ``code`` is 0 or 1 + the place of the reason."""

    code: np.ndarray
    reasons: tuple[Reason, ...]
    time: np.ndarray
    vehicle_class: np.ndarray
    speed_kmh: np.ndarray
    gvw_kg: np.ndarray
    n_axles: np.ndarray
    weights_kg: np.ndarray
    spacings_m: np.ndarray
    temperature_c: np.ndarray
    imbalance_pct: np.ndarray


def with_axles(table: pa.Table, mapping: ColumnMapping) -> tuple[pa.Table, Any]:
    """The table with a column for each axle that its wheels make, and its mapping.

    Such a column is called by both its wheels' headings. Nothing is done where the
    file names the axles themselves.
    """
    if not mapping.axles_by_wheel():
        return table, mapping
    names = []
    for left, right in zip(mapping.left_wheels, mapping.right_wheels, strict=True):
        names.append(f"{left} + {right}")
        both = pc.add(table.column(left), table.column(right))
        table = table.append_column(names[-1], both)
    return table, replace(mapping, weights=tuple(names))


def words_of(column: pa.ChunkedArray) -> tuple[np.ndarray, list[str]]:
    """Each row's place in the list of a column's different texts, and that list.

    The texts are without blanks at either end, and may repeat for that.
    """
    if not pa.types.is_dictionary(column.type):
        column = column.dictionary_encode()
    whole = column.unify_dictionaries().combine_chunks()
    if isinstance(whole, pa.ChunkedArray):
        whole = whole.chunk(0)
    values = [value.strip() for value in whole.dictionary.to_pylist()]
    codes = whole.indices
    if codes.null_count:
        codes = codes.fill_null(len(values))
        values.append("")
    return codes.to_numpy(zero_copy_only=False), values


# a number of hundreds of digits is infinite; its row is refused like any other
@np.errstate(invalid="ignore", over="ignore")
def check_rows(
    table: pa.Table,
    bad: dict[str, np.ndarray],
    mapping: ColumnMapping,
    time: np.ndarray,
) -> Checked:
    """Convert to SI and find what is wrong with each row."""
    n = table.num_rows
    wrong = {reason: np.zeros(n, dtype=bool) for reason in _ORDER}
    for flags in bad.values():
        wrong[Reason.NOT_A_NUMBER] |= flags
    for name in mapping.identity():
        codes, values = words_of(table.column(name))
        for reason, found in (
            (Reason.STATION, [not value for value in values]),
            (Reason.NOT_ASCII, [not value.isascii() for value in values]),
        ):
            if any(found):
                wrong[reason] |= np.array(found)[codes]
    low, high = np.datetime64(f"{FIRST_YEAR}-01-01"), np.datetime64(f"{LAST_YEAR + 1}")
    wrong[Reason.DATE] |= ~((time >= low) & (time < high))
    classes = np.nan_to_num(_numbers(table, mapping.vehicle_class))
    wrong[Reason.VEHICLE_CLASS] |= (
        (classes < 0) | (classes > LARGEST_CLASS) | (classes % 1 != 0)
    )
    weights = np.array([_numbers(table, name) for name in mapping.weights])
    spacings = np.array([_numbers(table, name) for name in mapping.spacings])
    left = np.array([_numbers(table, name) for name in mapping.left_wheels])
    right = np.array([_numbers(table, name) for name in mapping.right_wheels])
    by_wheel = are_by_wheel(mapping)
    if by_wheel:
        one_sided = np.isfinite(left) != np.isfinite(right)
        one_sided |= (left < 0) | (right < 0)
        wrong[Reason.AXLES_MISSING] |= one_sided.any(axis=0)
    n_axles = _axle_count(table, mapping, weights, wrong)
    # a wheel that is missing is told as such, not as an axle too few
    wrong[Reason.AXLE_COUNT] &= ~wrong[Reason.AXLES_MISSING]
    _axle_fields(weights, spacings, n_axles, wrong)
    axles = np.arange(len(weights))[:, None] < n_axles
    total = np.where(axles, np.nan_to_num(weights), 0.0).sum(axis=0)
    gross = _numbers(table, mapping.gross) if mapping.gross else total
    step = MASS_STEP[mapping.mass_unit] * (2 if by_wheel else 1)
    wrong[Reason.GROSS_WEIGHT] |= ~(np.abs(total - gross) <= n_axles * step + 1e-6)
    code = np.zeros(n, dtype=np.uint8)
    for place, reason in enumerate(_ORDER):
        code[wrong[reason] & (code == 0)] = place + 1
    kg = UNITS[mapping.mass_unit].factor
    speed = _numbers(table, mapping.speed) * UNITS[mapping.speed_unit].factor
    speed[~(speed > 0)] = np.nan
    with np.errstate(over="ignore"):
        return Checked(
            code=code,
            reasons=_ORDER,
            time=time,
            vehicle_class=np.clip(classes, 0, LARGEST_CLASS).astype(np.int8),
            speed_kmh=speed.astype(np.float32),
            gvw_kg=np.nan_to_num(gross * kg).astype(np.float32),
            n_axles=n_axles.astype(np.int8),
            weights_kg=(weights * kg).astype(np.float32),
            spacings_m=(spacings * length_factor(mapping.spacing_unit)).astype(
                np.float32
            ),
            temperature_c=_temperature(table, mapping),
            imbalance_pct=_imbalance(left, right, n_axles),
        )


def are_by_wheel(mapping: ColumnMapping) -> bool:
    """Whether the mapping's axles are those that :func:`with_axles` made."""
    pairs = zip(mapping.left_wheels, mapping.right_wheels, strict=False)
    made = tuple(f"{left} + {right}" for left, right in pairs)
    return bool(made) and made == mapping.weights


def _temperature(table: pa.Table, mapping: ColumnMapping) -> np.ndarray:
    """°C, NaN where not given or no temperature of a road."""
    unit = UNITS[mapping.temperature_unit]
    value = _numbers(table, mapping.temperature) * unit.factor + unit.offset
    value[~((value >= COLDEST_C) & (value <= HOTTEST_C))] = np.nan
    return value.astype(np.float32)


def _imbalance(left: np.ndarray, right: np.ndarray, n_axles: np.ndarray) -> np.ndarray:
    """100 (left − right) / (left + right) over a vehicle's wheels; NaN if unknown."""
    if len(left) == 0:
        return np.full(len(n_axles), np.nan, dtype=np.float32)
    used = np.arange(len(left))[:, None] < n_axles
    lefts = np.where(used, left, 0.0).sum(axis=0)
    rights = np.where(used, right, 0.0).sum(axis=0)
    both = lefts + rights
    out = np.full(len(n_axles), np.nan)
    np.divide(100 * (lefts - rights), both, out=out, where=both > 0)
    return out.astype(np.float32)


def _numbers(table: pa.Table, name: str) -> np.ndarray:
    """A column as float64 with NaN where empty; all NaN when there is none."""
    if not name:
        return np.full(table.num_rows, np.nan)
    return np.array(table.column(name).to_numpy(), dtype=np.float64)


def _axle_count(
    table: pa.Table,
    mapping: ColumnMapping,
    weights: np.ndarray,
    wrong: dict[Reason, np.ndarray],
) -> np.ndarray:
    """Axles of each row: as counted by the file, else those that are filled in."""
    if mapping.n_axles:
        counted = _numbers(table, mapping.n_axles)
        sound = (counted >= 2) & (counted <= len(weights)) & (counted % 1 == 0)
        counted = np.where(sound, counted, 0)
    else:
        filled = np.isfinite(weights) & (weights > 0)
        counted = filled.sum(axis=0)
        sound = counted >= 2
    wrong[Reason.AXLE_COUNT] |= ~sound
    return np.minimum(counted, MAX_AXLES).astype(np.int64)


def _axle_fields(
    weights: np.ndarray,
    spacings: np.ndarray,
    n_axles: np.ndarray,
    wrong: dict[Reason, np.ndarray],
) -> None:
    """Filled up to the axle count, not negative, and empty or zero beyond it."""
    for k, weight in enumerate(weights):
        used = n_axles > k
        given = np.isfinite(weight)
        wrong[Reason.AXLES_MISSING] |= used & ~(given & (weight >= 0))
        wrong[Reason.AXLES_EXTRA] |= ~used & given & (weight != 0)
        if k:
            spacing = spacings[k - 1]
            given = np.isfinite(spacing)
            wrong[Reason.AXLES_MISSING] |= used & ~(given & (spacing >= 0))
            wrong[Reason.AXLES_EXTRA] |= ~used & given & (spacing != 0)
