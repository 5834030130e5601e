"""The checks of a record, on the columns of a headed file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records.mapping import MASS_STEP, ColumnMapping, length_factor
from quality.records.report import Reason
from quality.records.schema import MAX_AXLES
from quality.records.w_layout import FIRST_YEAR, LARGEST_CLASS, LAST_YEAR
from wimprog.lib.errors import Complaint
from wimprog.lib.units import UNITS, format_number

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
    for name in (mapping.state, mapping.station, mapping.direction, mapping.lane):
        if name:
            text = pc.utf8_trim_whitespace(table.column(name))
            wrong[Reason.STATION] |= pc.equal(text, "").to_numpy()
            plain = pc.string_is_ascii(text).to_numpy()
            wrong[Reason.NOT_ASCII] |= ~plain
    low, high = np.datetime64(f"{FIRST_YEAR}-01-01"), np.datetime64(f"{LAST_YEAR + 1}")
    wrong[Reason.DATE] |= ~((time >= low) & (time < high))
    classes = np.nan_to_num(_numbers(table, mapping.vehicle_class))
    wrong[Reason.VEHICLE_CLASS] |= (
        (classes < 0) | (classes > LARGEST_CLASS) | (classes % 1 != 0)
    )
    weights = np.array([_numbers(table, name) for name in mapping.weights])
    spacings = np.array([_numbers(table, name) for name in mapping.spacings])
    n_axles = _axle_count(table, mapping, weights, wrong)
    _axle_fields(weights, spacings, n_axles, wrong)
    axles = np.arange(len(weights))[:, None] < n_axles
    total = np.where(axles, np.nan_to_num(weights), 0.0).sum(axis=0)
    gross = _numbers(table, mapping.gross) if mapping.gross else total
    wrong[Reason.GROSS_WEIGHT] |= ~(
        np.abs(total - gross) <= n_axles * MASS_STEP[mapping.mass_unit] + 1e-6
    )
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
        )


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


def explain_row(
    table: pa.Table,
    place: int,
    reason: Reason,
    mapping: ColumnMapping,
    *,
    line: int,
    cut: bool,
) -> Complaint:
    """Say what is wrong with one row, naming the column."""

    def cell(name: str) -> str:
        shown_as = f"text of {name}"
        source = shown_as if shown_as in table.column_names else name
        value = table.column(source)[place].as_py()
        if value is None:
            return ""
        return f"{value:.10g}" if isinstance(value, float) else str(value)

    def number(name: str) -> float:
        value = table.column(name)[place].as_py()
        return float(value) if value is not None else float("nan")

    field, message, expected, remedy = _tell(reason, mapping, cell, number)
    if cut:
        message += " The file ends in the middle of this line."
        remedy = "The file was cut off, in transfer or by a full disk: send it again."
    return Complaint(
        message=message,
        row=line,
        field=field,
        value=cell(field)[:60] if field in table.column_names else "",
        expected=expected,
        remedy=remedy,
    )


def _tell(reason, mapping, cell, number):  # type: ignore[no-untyped-def]
    """Field, message, expected and remedy for a reason."""
    if reason is Reason.NOT_A_NUMBER:
        return _tell_number(mapping, cell)
    if reason in (Reason.AXLES_MISSING, Reason.AXLES_EXTRA):
        return _tell_axles(reason, mapping, cell, number)
    if reason is Reason.GROSS_WEIGHT:
        return _tell_gross(mapping, number)
    if reason is Reason.DATE:
        name = mapping.time or mapping.date
        other = mapping.clock or mapping.hour
        seen = f" “{cell(name)}” with “{cell(other)}”" if other else ""
        return (
            name,
            f"the date and time{seen} cannot be read.",
            f"a day between {FIRST_YEAR} and {LAST_YEAR} ({mapping.date_order}) and a "
            "time from 00:00 to 23:59:59",
            "Check the order of day and month in the column mapping.",
        )
    if reason is Reason.VEHICLE_CLASS:
        return mapping.vehicle_class, "there is no such vehicle class.", "1 to 15", ""
    if reason is Reason.AXLE_COUNT:
        return (
            mapping.n_axles,
            "a vehicle cannot have this number of axles here.",
            f"2 to {len(mapping.weights)}",
            "",
        )
    lanes = (mapping.state, mapping.station, mapping.direction, mapping.lane)
    name = next((n for n in lanes if n and not cell(n).strip()), "")
    name = name or next((n for n in lanes if n and not cell(n).isascii()), "")
    return name, "the lane cannot be told from this.", "a plain code", ""


def _tell_number(mapping, cell):  # type: ignore[no-untyped-def]
    names = (
        *mapping.weights, *mapping.spacings, mapping.gross, mapping.n_axles,
        mapping.speed, mapping.hour, mapping.vehicle_class,
    )  # fmt: skip
    for name in names:
        text = cell(name) if name else ""
        try:
            float(text or 0)
            wrong = any(letter.isalpha() for letter in text.replace("e", ""))
        except ValueError:
            wrong = True
        if wrong:
            remedy = "Write digits only."
            if "," in text:
                remedy = (
                    "Write a point for decimals and nothing between thousands, or set "
                    "the decimal mark in the column mapping."
                )
            return name, "this is not a number.", "a number", remedy
    return "", "a cell is not a number.", "a number", ""


def _tell_axles(reason, mapping, cell, number):  # type: ignore[no-untyped-def]
    n_axles = len(mapping.weights)
    if mapping.n_axles:
        n_axles = int(number(mapping.n_axles))
    else:
        n_axles = sum(number(name) > 0 for name in mapping.weights)
    wanted = (*mapping.weights[:n_axles], *mapping.spacings[: n_axles - 1])
    if reason is Reason.AXLES_MISSING:
        for name in wanted:
            if not number(name) >= 0:
                return (
                    name,
                    f"the row counts {n_axles} axles, but {name} is "
                    f"{'negative' if cell(name) else 'empty'}.",
                    f"{n_axles} axle weights and {n_axles - 1} spacings",
                    "The sensor missed an axle, or the axle count is wrong.",
                )
    for name in (*mapping.weights, *mapping.spacings):
        if name not in wanted and number(name) == number(name) and number(name) != 0:
            return (
                name,
                f"the row counts {n_axles} axles, but {name} is filled in.",
                f"nothing beyond axle {n_axles}",
                "The axle count is wrong, or two vehicles ran into one row.",
            )
    return "", "the axles do not fit their count.", "", ""


def _tell_gross(mapping, number):  # type: ignore[no-untyped-def]
    n_axles = int(number(mapping.n_axles)) if mapping.n_axles else len(mapping.weights)
    weights = [number(name) for name in mapping.weights[:n_axles]]
    total = sum(weight for weight in weights if weight == weight)
    gross = number(mapping.gross)
    unit = mapping.mass_unit
    digits = 0 if unit in ("kg", "lb") else 3
    if gross != gross:
        message = "the gross weight is empty."
    elif total > gross:
        by = format_number(total - gross, digits)
        message = f"its axles exceed its gross weight by {by} {unit}."
    else:
        by = format_number(gross - total, digits)
        message = f"its axles fall short of its gross weight by {by} {unit}."
    return (
        mapping.gross,
        message,
        f"{format_number(total, digits)} {unit}, the sum of its {n_axles} axles but "
        "for rounding",
        "Look for transposed or dropped digits, and check the declared units.",
    )
