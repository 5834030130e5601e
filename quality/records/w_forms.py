"""The written forms of the truck weight record, each told by its positions and units.

Inside, every form is set out as the columns of the 2016 edition's fixed-width record
(:mod:`quality.records.w_layout`), so that one decoder and one set of checks serve all.
A form says how its lines become those columns, what one step of a weight and of a
spacing is worth, and where its sender finds a field.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from quality.records import w_layout as at
from quality.records.report import Layout
from wimprog.lib.units import KG_PER_LB, M_PER_FT


def _as_it_is(columns: np.ndarray) -> np.ndarray:
    return columns


@dataclass(frozen=True)
class WForm:
    """One written form of the record.

    Attributes
    ----------
    layout
        Its name.
    fields
        Its fields, in the order of :data:`~quality.records.w_layout.ALL_FIELDS`.
    record_length, head_length, mark_length
        Columns of a whole line, of a line as far as the axle count, and as far as the
        vehicle class.
    weight_kg, spacing_m
        What one step of a weight and of a spacing is worth.
    set_out
        Turns bytes of shape (line length, n), one column a line, into the columns of
        the 2016 record.
    line_length
        Columns of a record of so many axles.
    pipe
        Whether fields are told apart by pipes, and named to people by number.
    has_hour_marks
        Whether ``m`` or ``d`` in place of a class speaks of an hour.
    """

    layout: Layout
    fields: tuple[at.FieldAt, ...]
    record_length: int
    head_length: int
    mark_length: int
    weight_kg: float
    spacing_m: float
    line_length: Callable[[int], int]
    set_out: Callable[[np.ndarray], np.ndarray] = _as_it_is
    pipe: bool = False
    has_hour_marks: bool = True

    def place(self, field: at.FieldAt) -> at.FieldAt:
        """Where this form has a field of the 2016 record."""
        return self.fields[field.number - 1]

    def weight_text(self, steps: int) -> str:
        """A weight of so many steps, for people."""
        if self.weight_kg == KG_PER_LB:
            return f"{steps:,} lb"
        return f"{steps * self.weight_kg / 1000:,.1f} t"


W_FIXED = WForm(
    layout=Layout.W_FIXED,
    fields=at.ALL_FIELDS,
    record_length=at.RECORD_LENGTH,
    head_length=at.HEAD_LENGTH,
    mark_length=at.MARK_LENGTH,
    weight_kg=KG_PER_LB,
    spacing_m=M_PER_FT / 10,
    line_length=at.line_length,
)
W_PIPE = WForm(
    layout=Layout.W_PIPE,
    fields=at.ALL_FIELDS,
    record_length=at.RECORD_LENGTH,
    head_length=at.HEAD_LENGTH,
    mark_length=at.MARK_LENGTH,
    weight_kg=KG_PER_LB,
    spacing_m=M_PER_FT / 10,
    line_length=at.line_length,
    pipe=True,
)
