"""Hardener, pot life and cure by temperature, from the maker's table.

The agency enters the table from its maker's sheet; nothing is told beyond its ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from installs.calc.layout.temperatures import temperature_words
from installs.calc.layout.types import BetweenRows, CatalystChoice, CatalystStep
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.units import UnitSystem


def check_table(
    table: Sequence[CatalystStep], *, system: UnitSystem = UnitSystem.SI
) -> tuple[Complaint, ...]:
    """What is wrong with a maker's table as it was entered, and what looks odd.

    Rows may come in any order; a complaint's row counts in the order given, from 1.
    """
    if not table:
        return (
            Complaint(
                "The table has no rows.", remedy="Enter the maker's table row by row."
            ),
        )
    complaints = [c for i, row in enumerate(table, 1) for c in _row_faults(i, row)]
    if complaints:
        return tuple(complaints)
    ordered = sorted(enumerate(table, 1), key=lambda pair: pair[1].temp_c)
    for (_, cold), (row, warm) in pairwise(ordered):
        at = temperature_words(warm.temp_c, system)
        if warm.temp_c == cold.temp_c:
            complaints.append(
                Complaint(
                    "Two rows are for the same temperature.",
                    row=row,
                    field="temp_c",
                    value=at,
                )
            )
        elif warm.cure_min > cold.cure_min or warm.pot_life_min > cold.pot_life_min:
            complaints.append(
                Complaint(
                    f"At {at} the resin would be slower than at "
                    f"{temperature_words(cold.temp_c, system)}, where it is colder.",
                    row=row,
                    field="cure_min",
                    value=f"{warm.cure_min:g} min",
                    remedy="Compare the two rows with the maker's table.",
                )
            )
    return tuple(complaints)


def _row_faults(number: int, row: CatalystStep) -> list[Complaint]:
    found = []
    if not (math.isfinite(row.temp_c) and -50.0 <= row.temp_c <= 90.0):
        found.append(("temp_c", row.temp_c, "a temperature of −50 to 90 °C"))
    for field in ("amount", "pot_life_min", "cure_min"):
        value = getattr(row, field)
        if not (math.isfinite(value) and value > 0):
            found.append((field, value, "a number above zero"))
    return [
        Complaint(
            "This cannot be in a maker's table.",
            row=number,
            field=field,
            value=f"{value:g}",
            expected=expected,
        )
        for field, value, expected in found
    ]


def catalyst_at(
    table: Sequence[CatalystStep],
    temp_c: float,
    *,
    amount_unit: str,
    between: BetweenRows = BetweenRows.STEPS,
    system: UnitSystem = UnitSystem.SI,
) -> CatalystChoice:
    """Hardener, pot life and cure at a temperature, from the maker's table.

    Parameters
    ----------
    table
        The maker's rows, in any order.
    temp_c
        Temperature that the maker's table goes by [°C].
    amount_unit
        What the amounts are in ("g a kit").
    between
        By steps, a temperature between two rows takes the colder row's amount and the
        more careful of the two rows' times: the shorter pot life, the longer cure. By
        straight lines, all three are interpolated.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the temperature is beyond the table's ends, or when the table has no rows
        or impossible ones.
    """
    if not table or any(_row_faults(1, row) for row in table):
        raise DomainError(
            "The maker's table cannot be read: it has no rows, or a row with a number "
            "that is not above zero. Mend the table first."
        )
    rows = sorted(table, key=lambda row: row.temp_c)
    told = temperature_words(temp_c, system)
    if not (rows[0].temp_c <= temp_c <= rows[-1].temp_c):  # also refuses NaN
        low, high = (temperature_words(r.temp_c, system) for r in (rows[0], rows[-1]))
        raise DomainError(
            f"The maker's table goes from {low} to {high} and says nothing about "
            f"{told}. Wait for the temperature, or ask the maker."
        )
    below = max((r for r in rows if r.temp_c <= temp_c), key=lambda r: r.temp_c)
    above = min((r for r in rows if r.temp_c >= temp_c), key=lambda r: r.temp_c)
    if between is BetweenRows.STRAIGHT_LINES and above.temp_c > below.temp_c:
        share = (temp_c - below.temp_c) / (above.temp_c - below.temp_c)
        amount, pot_life, cure = (
            a + share * (b - a)
            for a, b in (
                (below.amount, above.amount),
                (below.pot_life_min, above.pot_life_min),
                (below.cure_min, above.cure_min),
            )
        )
    else:
        amount = below.amount
        pot_life = min(below.pot_life_min, above.pot_life_min)
        cure = max(below.cure_min, above.cure_min)
    rows_told = (
        f"the row of {temperature_words(below.temp_c, system)}"
        if above.temp_c == below.temp_c
        else f"between the rows of {temperature_words(below.temp_c, system)} and "
        f"{temperature_words(above.temp_c, system)}, by {between}"
    )
    sentence = (
        f"At {told}: {amount:.4g} {amount_unit}, pot life {pot_life:.3g} min, cure "
        f"{cure:.3g} min ({rows_told})."
    )
    return CatalystChoice(temp_c, amount, pot_life, cure, below, above, sentence)
