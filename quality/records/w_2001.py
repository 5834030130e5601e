"""The truck weight record of the guide's 2001 edition: metric, two-digit years.

Traffic Monitoring Guide (FHWA) 2001, W record: total and axle weights in 0.1 t,
spacings in 0.1 m, up to 105 columns. Columns 1–19 are those that the same edition's
classification record has; the rest is from memory. The edition knows no hour marks
that we could confirm, so a letter in place of a class is refused.

Two-digit years 70 to 99 are read as 1970 to 1999 and 00 to 69 as 2000 to 2069: our
own rule, no source.
"""

from __future__ import annotations

import numpy as np

from quality.records import w_layout as at
from quality.records.report import Layout
from quality.records.w_forms import WForm

RECORD_LENGTH = 105
HEAD_LENGTH = 30
FIRST_OF_CENTURY = 70
BLANK, ZERO = np.uint8(32), np.uint8(48)


def line_length(n_axles: int) -> int:
    """Columns of a record of ``n_axles`` axles without trailing blanks."""
    return 27 + 6 * n_axles


def _fields() -> tuple[at.FieldAt, ...]:
    """Start and stop (from 0) of each field, in the order of the 2016 record."""
    head = (
        (0, 1), (1, 3), (3, 9), (9, 10), (10, 11), (11, 13), (13, 15), (15, 17),
        (17, 19), (19, 21), (21, 24), (24, 28), (28, 30),
    )  # fmt: skip
    axles = tuple((start, start + 3) for start in range(HEAD_LENGTH, RECORD_LENGTH, 3))
    return tuple(
        at.FieldAt(field.name, start, stop, field.number)
        for field, (start, stop) in zip(at.ALL_FIELDS, head + axles, strict=True)
    )


FIELDS = _fields()


def _source_columns() -> np.ndarray:
    """For each column of the 2016 record the column here; −1 − c for a filled one.

    A filled column stands in front of a field that is narrower here; c is the field's
    first column.
    """
    source = np.empty(at.RECORD_LENGTH, dtype=np.int64)
    for field, here in zip(at.ALL_FIELDS, FIELDS, strict=True):
        source[field.stop - here.width : field.stop] = np.arange(here.start, here.stop)
        source[field.start : field.stop - here.width] = -1 - here.start
    return source


_SOURCE = _source_columns()


def set_out(columns: np.ndarray) -> np.ndarray:
    """Lines of one length as columns of the 2016 record.

    Parameters
    ----------
    columns
        uint8, shape (line length, n).

    Returns
    -------
    uint8, shape (columns that the line reaches, n)
        Zeros in front of narrower fields, blanks where the field begins with one.
    """
    length, n = columns.shape
    reached = np.flatnonzero((_SOURCE >= 0) & (length > _SOURCE))
    out = np.empty((int(reached[-1]) + 1, n), dtype=np.uint8)
    for place, source in enumerate(_SOURCE[: len(out)].tolist()):
        if source >= 0:
            out[place] = columns[source]
        else:
            first = columns[-1 - source]
            out[place] = np.where(first == BLANK, BLANK, ZERO)
    if len(out) > at.YEAR.stop - 2:
        _put_century(out)
    return out


def _put_century(out: np.ndarray) -> None:
    """Make the year four digits; a blank in place of its tens is a zero."""
    tens = out[at.YEAR.stop - 2]
    tens[tens == BLANK] = ZERO
    last = tens >= ZERO + FIRST_OF_CENTURY // 10
    out[at.YEAR.start] = np.where(last, ord("1"), ord("2"))
    out[at.YEAR.start + 1] = np.where(last, ord("9"), ord("0"))


W_2001 = WForm(
    layout=Layout.W_2001,
    fields=FIELDS,
    record_length=RECORD_LENGTH,
    head_length=HEAD_LENGTH,
    mark_length=21,
    weight_kg=100.0,
    spacing_m=0.1,
    line_length=line_length,
    set_out=set_out,
    has_hour_marks=False,
)
