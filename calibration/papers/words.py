"""Numbers and measurements as the papers of a session write them."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from wimprog.lib.judgement import Interval, Judgement
from wimprog.lib.units import (
    Kind,
    UnitSystem,
    format_number,
    kind_of_field,
    shown_unit,
)

NO_DATA = "no data"
NBSP = "\u00a0"
LONGEST_SYMBOL = 4
_KINDS = {"km/h": Kind.SPEED, "m": Kind.LENGTH, "kg": Kind.MASS}
Rows = list[list[str]]


def table(
    headings: list[str],
    rows: Rows,
    *,
    widths: list[str] | None = None,
    numbers: tuple[int, ...] = (),
) -> dict[str, Any]:
    """A table for a page template.

    Parameters
    ----------
    widths
        Of the columns: "auto" or a share such as "2fr"; all alike where none is given.
    numbers
        Columns of numbers, 0 is the first: they are set to the right.
    """
    return {
        "headings": headings,
        "rows": rows,
        "widths": widths or ["1fr"] * len(headings),
        "aligns": [
            "right" if place in numbers else "left" for place in range(len(headings))
        ],
    }


def scale(unit: str, system: UnitSystem) -> tuple[float, str, int]:
    """Size, symbol and digits by which values in ``unit`` are shown."""
    kind = _KINDS.get(unit)
    if kind is None:
        return 1.0, unit, 2
    shown = shown_unit(kind, system)
    return shown.factor, shown.symbol, 0 if kind is Kind.MASS else 2


def number(value: float | None, digits: int = 2) -> str:
    """A number, or that there is none."""
    return NO_DATA if value is None else format_number(value, digits)


def gap(symbol: str) -> str:
    """No line is broken before a short unit."""
    return NBSP if len(symbol) <= LONGEST_SYMBOL else " "


def amount(
    value: float | None, unit: str, system: UnitSystem, digits: int | None = None
) -> str:
    """A value (a difference, not a temperature) in the program's units."""
    if value is None:
        return NO_DATA
    size, symbol, places = scale(unit, system)
    shown = format_number(value / size, places if digits is None else digits)
    return f"{shown}{gap(symbol)}{symbol}".strip()


def span(interval: Interval | None, unit: str, system: UnitSystem) -> str:
    """An interval's ends, without its level."""
    if interval is None:
        return "none"
    size, symbol, places = scale(unit, system)
    low = format_number(interval.low / size, places)
    high = format_number(interval.high / size, places)
    return f"{low} to {high}{gap(symbol)}{symbol}".strip()


def level(interval: Interval) -> str:
    """The level of an interval: "95 %"."""
    return f"{format_number(100 * interval.level, 1).removesuffix('.0')} %"


def margin(one: Judgement, system: UnitSystem) -> str:
    """How far inside its limit the statistic is; negative outside."""
    details = dict(one.details)
    return amount(details.get("margin"), str(details.get("margin unit", "")), system)


def as_typed(fact: Any, name: str, system: UnitSystem) -> str:
    """A stored measurement with the text and unit that were typed.

    Where nothing was typed (a file was read), in the program's units.
    """
    kind = kind_of_field(name)
    value = getattr(fact, name)
    if kind is None:
        raise ValueError(f"{name} does not end in a unit")
    if value is None or value == []:
        return NO_DATA
    entry = fact.as_typed.get(name)
    if entry:
        return f"{entry[0]} {entry[1]}"
    unit = shown_unit(kind, system)
    values = value if isinstance(value, list) else [value]
    told = " ".join(format_number(unit.from_si(one), unit.digits) for one in values)
    return f"{told} {unit.symbol}"


def clock_at(at: dt.datetime, zone: ZoneInfo, *, form: str = "%Y-%m-%d %H:%M") -> str:
    """An instant on the clock at the site."""
    return f"{at.astimezone(zone):{form}}"


def counted(n: int, one: str, many: str = "") -> str:
    """A count with its noun: "1 run", "12 runs"."""
    return f"{n} {one if n == 1 else many or one + 's'}"
