"""Truck weight records as bytes in, numbers out: whole blocks of lines at a time.

A block is a matrix of bytes, one *column* a record, so that each field's digits lie
side by side in memory. Nothing here makes a Python object per record. Lines of nothing
but digits where digits belong are the rule, and pass with one comparison; the others
are looked at closely. What fails a check gets a reason;
:mod:`quality.records.w_explain` then says in words what is wrong with that one line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quality.records import w_layout as at
from quality.records.report import Reason
from quality.records.schema import MAX_AXLES
from quality.records.w_forms import W_FIXED, WForm
from wimprog.lib.units import KMH_PER_MPH

REASONS = tuple(Reason)
CODE = {reason: np.uint8(place + 1) for place, reason in enumerate(REASONS)}
KEPT = np.uint8(0)
HOUR_MARK = np.uint8(255)
BLANK, ZERO, LOW_BITS = np.uint8(32), np.uint8(48), np.uint8(15)
PRINTABLE = 126 - 32
"""The largest byte, less a blank, that is printable ASCII."""
MS_PER_HOUR = 3_600_000


@dataclass
class Decoded:
    """Columns of n lines in file order; rows whose ``code`` is not KEPT are void.

    Weights and spacings beyond a vehicle's axles are void too.
    """

    code: np.ndarray
    time_ms: np.ndarray
    vehicle_class: np.ndarray
    open_value: np.ndarray
    gvw_kg: np.ndarray
    n_axles: np.ndarray
    weights_kg: np.ndarray
    spacings_m: np.ndarray
    n_open_unread: int = 0

    @classmethod
    def room(cls, n: int) -> Decoded:
        """Room for ``n`` lines, all kept until shown otherwise."""
        return cls(
            code=np.zeros(n, dtype=np.uint8),
            time_ms=np.zeros(n, dtype=np.int64),
            vehicle_class=np.zeros(n, dtype=np.int8),
            open_value=np.full(n, np.nan, dtype=np.float32),
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
    if wrong.any():
        code[wrong & (code == KEPT)] = CODE[reason]


def decode_block(
    columns: np.ndarray,
    out: Decoded,
    rows: np.ndarray,
    options: at.WOptions,
    form: WForm = W_FIXED,
) -> None:
    """Decode lines of one length and scatter them into ``out`` at ``rows``.

    Parameters
    ----------
    columns
        uint8, shape (length, n), C-contiguous; length at most 147. The columns of the
        2016 record, as the form sets them out.
    out
        Receives the values.
    rows
        int, shape (n,): the place of each line in ``out``.
    options
        How to read.
    form
        What a weight and a spacing are worth, and whether hours may be marked.
    """
    length, n = columns.shape
    code = np.zeros(n, dtype=np.uint8)
    if length < at.HEAD_LENGTH:
        _refuse_short(code, columns, form)
        out.code[rows] = code
        return
    xored = columns ^ ZERO
    unusual = _unusual(columns, xored)
    if unusual.any():
        places = np.flatnonzero(unusual)
        found = np.zeros(len(places), dtype=np.uint8)
        closely = columns if len(places) == n else columns[:, places]
        _check_bytes(found, closely, form)
        _check_digits(found, closely)
        code[places] = found
    # a blank is 0x20 and a digit 0x30 to 0x39, so that blanks count as zero
    digits = columns & LOW_BITS
    out.time_ms[rows] = _check_time(code, digits)
    vehicle_class = _value(digits, at.VEHICLE_CLASS)
    _mark_first(code, Reason.VEHICLE_CLASS, vehicle_class > at.LARGEST_CLASS)
    out.vehicle_class[rows] = vehicle_class
    if options.open_field is not at.OpenField.NOT_USED:
        value, unread = _open_value(columns, digits, options.open_field)
        out.open_value[rows] = value
        out.n_open_unread += int(np.count_nonzero(unread & (code == KEPT)))
    _axles(code, columns, digits, out, rows, options, form)
    out.code[rows] = code


def _unusual(columns: np.ndarray, xored: np.ndarray) -> np.ndarray:
    """Lines that hold anything but digits in a numeric field, shape (n,)."""
    worst = xored[at.GROSS.start :].max(axis=0)
    for first, last in ((at.STATE, at.STATE), (at.DIRECTION, at.VEHICLE_CLASS)):
        np.maximum(worst, xored[first.start : last.stop].max(axis=0), out=worst)
    unusual = np.asarray(worst > 9)
    unusual |= columns[at.RECORD_TYPE.start] != ord("W")
    for field in (at.STATION, at.OPEN):
        unusual |= (columns[field.start : field.stop] - BLANK).max(axis=0) > PRINTABLE
    unusual |= columns[at.STATION.stop - 1] == BLANK
    return unusual


def _refuse_short(code: np.ndarray, columns: np.ndarray, form: WForm) -> None:
    """Lines that end before their axle count, unless they mark an hour."""
    _check_bytes(code, columns, form)
    _mark_first(code, Reason.TOO_SHORT, np.ones(len(code), dtype=bool))


def _check_bytes(code: np.ndarray, columns: np.ndarray, form: WForm) -> None:
    """Plain ASCII, a W in front; and whether the line marks an hour."""
    outside = np.asarray((columns - BLANK).max(axis=0) > PRINTABLE)
    _mark_first(code, Reason.NOT_ASCII, outside)
    _mark_first(code, Reason.RECORD_TYPE, np.asarray(columns[0] != ord("W")))
    if form.has_hour_marks and len(columns) >= at.MARK_LENGTH:
        letters = columns[at.VEHICLE_CLASS.start : at.VEHICLE_CLASS.stop] | BLANK
        marks = ((letters == ord("m")) | (letters == ord("d"))).any(axis=0)
        code[marks & (code == KEPT)] = HOUR_MARK


def _check_digits(code: np.ndarray, columns: np.ndarray) -> None:
    """Digits in numeric fields, blanks only in front of them, codes filled in."""
    numeric = at.IS_NUMERIC[: len(columns)]
    blank = columns == BLANK
    bad = (columns - ZERO) > 9
    bad &= ~blank
    bad &= numeric[:, None]
    wrong = np.asarray(bad[1:11].any(axis=0))
    wrong |= blank[at.DIRECTION.start] | blank[at.LANE.start] | blank[2] | blank[8]
    _mark_first(code, Reason.STATION, wrong)
    wrong = np.asarray(bad[11:].any(axis=0))
    gap = blank[1:] & ~blank[:-1]
    gap &= at.IS_INNER[1 : len(columns), None]
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


def _open_value(
    columns: np.ndarray, digits: np.ndarray, meaning: at.OpenField
) -> tuple[np.ndarray, np.ndarray]:
    """The open field in SI (NaN where empty), and where it could not be read.

    A speed of zero is no speed; a temperature of zero is one.
    """
    text = columns[at.OPEN.start : at.OPEN.stop]
    blank = text == BLANK
    sign = text[0] == ord("-")
    unread = ((text[1:] - ZERO) > 9) & ~blank[1:]
    unread = unread.any(axis=0) | (((text[0] - ZERO) > 9) & ~blank[0] & ~sign)
    unread |= (blank[1:] & ~blank[:-1]).any(axis=0)
    is_speed = meaning is not at.OpenField.TEMPERATURE_F
    if is_speed:
        unread |= sign
    value = _value(digits, at.OPEN).astype(np.float64)
    if is_speed:
        if meaning is at.OpenField.SPEED_MPH:
            value *= KMH_PER_MPH
        empty = value == 0
    else:
        below = np.asarray(sign & ~unread)
        value[below] = -_value(digits[1:], _AFTER_SIGN)[below]
        value = (value - 32) / 1.8
        empty = blank.all(axis=0)
    value[unread | empty] = np.nan
    return value.astype(np.float32), unread


_AFTER_SIGN = at.FieldAt("open field", at.OPEN.start, at.OPEN.stop - 1, 11)


def _axles(
    code: np.ndarray,
    columns: np.ndarray,
    digits: np.ndarray,
    out: Decoded,
    rows: np.ndarray,
    options: at.WOptions,
    form: WForm,
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
    fewest = int(n_axles.min(initial=0))
    for k in range(most):
        unused = n_axles <= k if k >= fewest else None
        for field, factor, store in _axle_fields(k, form, out):
            steps = _value(digits, field)
            empty = columns[field.stop - 1] == BLANK
            if unused is None:
                missing |= empty
            else:
                missing |= empty & ~unused
                extra |= unused & (steps > 0)
            if store is out.weights_kg:
                total += steps
                store[k, rows] = steps * factor
            else:
                store[k - 1, rows] = steps * factor
    rest = digits[at.line_length(most) : length] if most else digits[:0]
    if rest.size:
        extra |= (rest != 0).any(axis=0)
    _mark_first(code, Reason.AXLES_MISSING, missing)
    _mark_first(code, Reason.AXLES_EXTRA, extra)
    each = options.sum_tolerance_lb_per_axle if form.weight_kg < 1 else 1.0
    _mark_first(code, Reason.GROSS_WEIGHT, np.abs(total - gross) > each * n_axles)
    out.gvw_kg[rows] = gross * form.weight_kg
    out.n_axles[rows] = np.minimum(n_axles, MAX_AXLES)


def _axle_fields(
    k: int, form: WForm, out: Decoded
) -> tuple[tuple[at.FieldAt, float, np.ndarray], ...]:
    """Weight ``k`` (from 0) and the spacing before it: field, step, where it goes."""
    weight = (at.WEIGHTS[k], form.weight_kg, out.weights_kg)
    if k == 0:
        return (weight,)
    return ((at.SPACINGS[k - 1], form.spacing_m, out.spacings_m), weight)
