"""Where the fields of a truck weight record stand.

Traffic Monitoring Guide (FHWA), 2013 and 2016 editions, chapter 7: the W record in
fixed width (147 columns, whole pounds, tenths of a foot) or with a pipe between all
fields. The 2001 edition's metric record is in :mod:`quality.records.w_2001`.
Positions: confirmed by the guide's own examples.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from quality.records.schema import MAX_AXLES

RECORD_LENGTH = 147
HEAD_LENGTH = 34
MARK_LENGTH = 23
FIRST_YEAR, LAST_YEAR = 1970, 2099
LARGEST_CLASS = 15


@dataclass(frozen=True)
class FieldAt:
    """A field: its columns (``start`` counts from 0) and its name for people."""

    name: str
    start: int
    stop: int
    number: int

    @property
    def width(self) -> int:
        """Columns that the field takes."""
        return self.stop - self.start

    def title(self, *, pipe: bool) -> str:
        """The name with the place where the sender finds it."""
        if pipe:
            return f"{self.name} (field {self.number})"
        if self.width == 1:
            return f"{self.name} (column {self.start + 1})"
        return f"{self.name} (columns {self.start + 1}–{self.stop})"


RECORD_TYPE = FieldAt("record type", 0, 1, 1)
STATE = FieldAt("state", 1, 3, 2)
STATION = FieldAt("station", 3, 9, 3)
DIRECTION = FieldAt("direction", 9, 10, 4)
LANE = FieldAt("lane", 10, 11, 5)
YEAR = FieldAt("year", 11, 15, 6)
MONTH = FieldAt("month", 15, 17, 7)
DAY = FieldAt("day", 17, 19, 8)
HOUR = FieldAt("hour", 19, 21, 9)
VEHICLE_CLASS = FieldAt("vehicle class", 21, 23, 10)
OPEN = FieldAt("open field", 23, 26, 11)
GROSS = FieldAt("gross weight", 26, 32, 12)
AXLES = FieldAt("number of axles", 32, 34, 13)
WEIGHTS = tuple(
    FieldAt(f"axle weight {k}", 25 + 9 * k, 30 + 9 * k, 12 + 2 * k)
    for k in range(1, MAX_AXLES + 1)
)
SPACINGS = tuple(
    FieldAt(f"axle spacing {k}–{k + 1}", 30 + 9 * k, 34 + 9 * k, 13 + 2 * k)
    for k in range(1, MAX_AXLES)
)
ALL_FIELDS = (
    RECORD_TYPE, STATE, STATION, DIRECTION, LANE, YEAR, MONTH, DAY, HOUR,
    VEHICLE_CLASS, OPEN, GROSS, AXLES,
    *sorted((*WEIGHTS, *SPACINGS), key=lambda field: field.start),
)  # fmt: skip
NUMERIC_FIELDS = (
    STATE, DIRECTION, LANE, YEAR, MONTH, DAY, HOUR, VEHICLE_CLASS, GROSS, AXLES,
    *WEIGHTS, *SPACINGS,
)  # fmt: skip
DATE_TIME_FIELDS = (YEAR, MONTH, DAY, HOUR)


class OpenField(StrEnum):
    """What the State put into the record's three open columns.

    The guide leaves them to the State, so that a reader may not guess.
    """

    NOT_USED = "not used"
    SPEED_MPH = "speed, mph"
    SPEED_KMH = "speed, km/h"
    TEMPERATURE_F = "pavement temperature, °F"


@dataclass(frozen=True)
class WOptions:
    """How to read truck weight records.

    Attributes
    ----------
    open_field
        Meaning of columns 24–26.
    sum_tolerance_lb_per_axle
        Largest difference between gross weight and the sum of the axles, per axle;
        1 lb allows for each weight having been rounded to a whole pound. In a metric
        record it is one step (0.1 t) an axle instead.
    """

    open_field: OpenField = OpenField.NOT_USED
    sum_tolerance_lb_per_axle: float = 1.0


def line_length(n_axles: int) -> int:
    """Columns of a record of ``n_axles`` axles without trailing blanks."""
    return 30 + 9 * n_axles


def _in_numeric() -> tuple[np.ndarray, np.ndarray]:
    numeric = np.zeros(RECORD_LENGTH, dtype=bool)
    inner = np.zeros(RECORD_LENGTH, dtype=bool)
    for field in NUMERIC_FIELDS:
        numeric[field.start : field.stop] = True
        inner[field.start + 1 : field.stop] = True
    return numeric, inner


IS_NUMERIC, IS_INNER = _in_numeric()
"""Columns of numeric fields; those of them that are not their field's first."""


def _calendar() -> tuple[np.ndarray, np.ndarray]:
    """Day number (since 1970-01-01) of each month's first day, and its length."""
    months = np.arange(
        np.datetime64(f"{FIRST_YEAR}-01"), np.datetime64(f"{LAST_YEAR + 1}-01")
    )
    starts = months.astype("datetime64[D]").astype(np.int32)
    lengths = [
        calendar.monthrange(year, month)[1]
        for year in range(FIRST_YEAR, LAST_YEAR + 1)
        for month in range(1, 13)
    ]
    return starts, np.array(lengths, dtype=np.int32)


MONTH_STARTS, MONTH_LENGTHS = _calendar()


def _digits(text: bytes) -> int:
    """The number in ``text`` with leading blanks as zeros, or −1."""
    stripped = text.lstrip(b" ")
    if not stripped:
        return 0
    return int(stripped) if stripped.isdigit() else -1


def reads_as_2001(line: bytes) -> bool:
    """Whether the line hangs together as the 2001 edition's metric W record.

    Two-digit year at columns 12–13, total weight in 0.1 t at 25–28, axles at 29–30,
    then weights and spacings three wide; the axles must add up to the total.
    """
    line = line.rstrip()
    if not 33 <= len(line) <= 105 or line[:1] != b"W":
        return False
    month, day, hour = (_digits(line[a : a + 2]) for a in (13, 15, 17))
    total, n_axles = _digits(line[24:28]), _digits(line[28:30])
    if not (1 <= month <= 12 and 1 <= day <= 31 and 0 <= hour <= 23):
        return False
    if not 2 <= n_axles <= MAX_AXLES or len(line) != 27 + 6 * n_axles:
        return False
    weights = [_digits(line[a : a + 3]) for a in range(30, len(line), 6)]
    return min(weights) >= 0 and abs(sum(weights) - total) <= n_axles


def reads_as_2016(line: bytes) -> bool:
    """Whether the line hangs together as the 2013 or 2016 edition's W record."""
    line = line.rstrip()
    if not HEAD_LENGTH < len(line) <= RECORD_LENGTH or line[:1] != b"W":
        return False
    year = _digits(line[YEAR.start : YEAR.stop])
    month, day, hour = (
        _digits(line[field.start : field.stop]) for field in (MONTH, DAY, HOUR)
    )
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return False
    if not (1 <= month <= 12 and 1 <= day <= 31 and 0 <= hour <= 23):
        return False
    n_axles = _digits(line[AXLES.start : AXLES.stop])
    return 2 <= n_axles <= MAX_AXLES and len(line) >= line_length(n_axles)


def looks_like_station_record(line: bytes) -> bool:
    """Whether the line looks like a station description record (S, 213 columns)."""
    if line[:1] != b"S":
        return False
    if line[1:2] == b"|":
        return line.count(b"|") >= 20
    return len(line.rstrip(b"\r\n")) > RECORD_LENGTH and line[1:3].strip().isdigit()
