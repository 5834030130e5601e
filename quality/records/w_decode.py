"""Truck weight records as bytes in, numbers out: whole blocks of lines at a time.

A block is a matrix of bytes, one *column* a record, so that each field's digits lie
side by side in memory. Nothing here makes a Python object per record. What fails a
check gets a reason; :mod:`quality.records.w_explain` then says in words what is wrong
with that one line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quality.records import w_layout as at
from quality.records.report import Reason
from quality.records.schema import MAX_AXLES
from wimprog.lib.units import KG_PER_LB, KMH_PER_MPH, M_PER_FT

REASONS = tuple(Reason)
CODE = {reason: np.uint8(place + 1) for place, reason in enumerate(REASONS)}
KEPT = np.uint8(0)
HOUR_MARK = np.uint8(255)

KG = KG_PER_LB
M_PER_TENTH_FT = M_PER_FT / 10
MS_PER_HOUR = 3_600_000


@dataclass
class Decoded:
    """Columns of n lines in file order; rows whose ``code`` is not KEPT are void."""

    code: np.ndarray
    time_ms: np.ndarray
    vehicle_class: np.ndarray
    speed_kmh: np.ndarray
    gvw_kg: np.ndarray
    n_axles: np.ndarray
    weights_kg: np.ndarray
    spacings_m: np.ndarray
    n_open_not_speed: int = 0

    @classmethod
    def room(cls, n: int) -> Decoded:
        """Room for ``n`` lines, all kept until shown otherwise."""
        return cls(
            code=np.zeros(n, dtype=np.uint8),
            time_ms=np.zeros(n, dtype=np.int64),
            vehicle_class=np.zeros(n, dtype=np.int8),
            speed_kmh=np.full(n, np.nan, dtype=np.float32),
            gvw_kg=np.zeros(n, dtype=np.float32),
            n_axles=np.zeros(n, dtype=np.int8),
            weights_kg=np.empty((MAX_AXLES, n), dtype=np.float32),
            spacings_m=np.empty((MAX_AXLES - 1, n), dtype=np.float32),
        )


def _value(digits: np.ndarray, field: at.FieldAt) -> np.ndarray:
    """The number in a field, shape (n,), int32."""
    out = digits[field.start].astype(np.int32)
    for place in range(field.start + 1, field.stop):
        out *= 10
        out += digits[place]
    return out


def _mark_first(code: np.ndarray, reason: Reason, wrong: np.ndarray) -> None:
    """Give ``reason`` to the lines that are wrong and have no reason yet."""
    code[wrong & (code == KEPT)] = CODE[reason]


def decode_block(
    columns: np.ndarray, out: Decoded, rows: np.ndarray, options: at.WOptions
) -> None:
    """Decode lines of one length and scatter them into ``out`` at ``rows``.

    Parameters
    ----------
    columns
        uint8, shape (length, n), C-contiguous; length at most 147.
    out
        Receives the values.
    rows
        int, shape (n,): the place of each line in ``out``.
    options
        How to read.
    """
    length, n = columns.shape
    code = np.zeros(n, dtype=np.uint8)
    outside = np.asarray((columns - np.uint8(32)) > 94)
    if outside.any():
        _mark_first(code, Reason.NOT_ASCII, np.asarray(outside.any(axis=0)))
    _mark_first(code, Reason.RECORD_TYPE, np.asarray(columns[0] != ord("W")))
    if length >= at.MARK_LENGTH:
        letters = columns[21:23] | 32
        marks = ((letters == ord("m")) | (letters == ord("d"))).any(axis=0)
        code[marks & (code == KEPT)] = HOUR_MARK
    if length < at.HEAD_LENGTH:
        _mark_first(code, Reason.TOO_SHORT, np.ones(n, dtype=bool))
        out.code[rows] = code
        return

    digits = columns - np.uint8(48)
    blank = columns == 32
    digits[blank] = 0
    _check_digits(code, digits, blank, length)
    out.time_ms[rows] = _check_time(code, digits)
    vehicle_class = _value(digits, at.VEHICLE_CLASS)
    _mark_first(code, Reason.VEHICLE_CLASS, vehicle_class > at.LARGEST_CLASS)
    out.vehicle_class[rows] = vehicle_class
    if options.open_field is not at.OpenField.NOT_USED:
        speed, unread = _speed(digits, blank, options.open_field)
        out.speed_kmh[rows] = speed
        out.n_open_not_speed += int(np.count_nonzero(unread & (code == KEPT)))
    _axles(code, digits, blank, out, rows, options)
    out.code[rows] = code


def _check_digits(
    code: np.ndarray, digits: np.ndarray, blank: np.ndarray, length: int
) -> None:
    """Digits in numeric fields, blanks only in front of them, codes filled in."""
    numeric = at.IS_NUMERIC[:length]
    bad = digits > 9
    bad[at.STATION.start : at.STATION.stop] = False
    wrong = np.asarray(bad[1:11].any(axis=0))
    wrong |= blank[at.DIRECTION.start] | blank[at.LANE.start] | blank[2] | blank[8]
    _mark_first(code, Reason.STATION, wrong)
    bad &= numeric[:, None]
    wrong = np.asarray(bad[11:].any(axis=0))
    if blank[numeric].any():
        gap = blank[1:] & ~blank[:-1]
        gap &= at.IS_INNER[1:length, None]
        wrong |= gap[10:].any(axis=0)
        wrong |= blank[at.HOUR.stop - 1]
    _mark_first(code, Reason.NOT_A_NUMBER, wrong)


def _check_time(code: np.ndarray, digits: np.ndarray) -> np.ndarray:
    """Milliseconds since 1970-01-01 in site-local standard time, shape (n,)."""
    year, month = _value(digits, at.YEAR), _value(digits, at.MONTH)
    day, hour = _value(digits, at.DAY), _value(digits, at.HOUR)
    wrong = (year < at.FIRST_YEAR) | (year > at.LAST_YEAR) | (month < 1) | (month > 12)
    place = (year - at.FIRST_YEAR) * 12 + (month - 1)
    place[wrong] = 0
    wrong |= (day < 1) | (day > at.MONTH_LENGTHS[place])
    _mark_first(code, Reason.DATE, wrong)
    _mark_first(code, Reason.HOUR, hour > 23)
    hours = (at.MONTH_STARTS[place] + (day - 1)).astype(np.int64) * 24 + hour
    return hours * MS_PER_HOUR


def _speed(
    digits: np.ndarray, blank: np.ndarray, meaning: at.OpenField
) -> tuple[np.ndarray, np.ndarray]:
    """Speed in km/h (NaN where empty or zero), and where it could not be read."""
    open_field = slice(at.OPEN.start, at.OPEN.stop)
    unread = (digits[open_field] > 9).any(axis=0)
    inner = blank[open_field]
    unread |= (inner[1:] & ~inner[:-1]).any(axis=0)
    speed = _value(digits, at.OPEN).astype(np.float64)
    if meaning is at.OpenField.SPEED_MPH:
        speed *= KMH_PER_MPH
    speed[unread | (speed == 0)] = np.nan
    return speed.astype(np.float32), unread


def _axles(
    code: np.ndarray,
    digits: np.ndarray,
    blank: np.ndarray,
    out: Decoded,
    rows: np.ndarray,
    options: at.WOptions,
) -> None:
    """Axle count, weights and spacings, and that the weights make the gross.

    An axle that the record itself gives as zero is kept: that is a fault of the
    weighing, for the record checks to judge. An empty field is a fault of the record.
    """
    length = digits.shape[0]
    gross, n_axles = _value(digits, at.GROSS), _value(digits, at.AXLES)
    _mark_first(code, Reason.AXLE_COUNT, (n_axles < 2) | (n_axles > MAX_AXLES))
    room = max((length - 30) // 9, 0)
    _mark_first(code, Reason.AXLES_MISSING, n_axles > room)
    total = np.zeros(len(code), dtype=np.int32)
    missing, extra = np.zeros(len(code), dtype=bool), np.zeros(len(code), dtype=bool)
    most = int(min(n_axles.max(initial=0), room))
    for k in range(most):
        used = n_axles > k
        weight = _value(digits, at.WEIGHTS[k])
        total += weight
        missing |= used & blank[at.WEIGHTS[k].stop - 1]
        extra |= ~used & (weight > 0)
        out.weights_kg[k, rows] = weight * KG
        if k:
            spacing = _value(digits, at.SPACINGS[k - 1])
            missing |= used & blank[at.SPACINGS[k - 1].stop - 1]
            extra |= ~used & (spacing > 0)
            out.spacings_m[k - 1, rows] = spacing * M_PER_TENTH_FT
    rest = digits[at.line_length(most) : length] if most else digits[:0]
    if rest.size:
        extra |= (rest != 0).any(axis=0)
    _mark_first(code, Reason.AXLES_MISSING, missing)
    _mark_first(code, Reason.AXLES_EXTRA, extra)
    slack = options.sum_tolerance_lb_per_axle * n_axles
    _mark_first(code, Reason.GROSS_WEIGHT, np.abs(total - gross) > slack)
    out.gvw_kg[rows] = gross * KG
    out.n_axles[rows] = np.minimum(n_axles, MAX_AXLES)
