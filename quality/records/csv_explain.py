"""One refused row of a headed file, told so that its sender can mend it."""

from __future__ import annotations

import pyarrow as pa

from quality.records.csv_checks import are_by_wheel
from quality.records.mapping import ColumnMapping
from quality.records.report import Reason
from quality.records.w_layout import FIRST_YEAR, LAST_YEAR
from wimprog.lib.errors import Complaint
from wimprog.lib.units import format_number


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
    for name in mapping.numeric():
        if " + " in name and name in mapping.weights:
            continue
        text = cell(name)
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
    if are_by_wheel(mapping):
        for pair in zip(mapping.left_wheels, mapping.right_wheels, strict=True):
            for name, other in (pair, pair[::-1]):
                gone = number(name) != number(name) and number(other) == number(other)
                if gone or number(name) < 0:
                    fault = f"empty and {other} is not" if gone else "negative"
                    return (
                        name,
                        f"{name} is {fault}.",
                        "the weight of both wheels of an axle, or of neither",
                        "The sensor of one side missed the axle.",
                    )
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
