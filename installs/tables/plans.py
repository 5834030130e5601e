"""Sheets of array plans."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from installs.selectors.quantities import Quantities
from wimprog.lib.units import UnitSystem, shown_unit

QUANTITY_HEADINGS = (
    "list", "key", "item", "amount", "unit", "amount (SI)", "unit (SI)",
    "waste included, %", "step", "reckoned from",
)  # fmt: skip


def quantity_sheet(found: Quantities, system: UnitSystem) -> Iterator[list[Any]]:
    """All lines for a spreadsheet, in people's units and as they were reckoned."""
    lists = (
        ("pick list", found.pick_list),
        ("work", found.work),
        ("crew hours", found.hours),
    )
    for name, lines in lists:
        for line in lines:
            unit = shown_unit(line.kind, system) if line.kind else None
            shown = line.amount
            if unit is not None and line.amount is not None:
                shown = unit.from_si(line.amount)
            yield [
                name,
                line.key,
                line.name,
                shown,
                unit.symbol if unit else line.unit,
                line.amount,
                line.unit,
                100.0 * line.waste_share,
                line.step.value,
                line.basis,
            ]
    if found.closure is not None:
        hours = found.closure.hours
        yield [
            "closure", "closure", "lane closure", hours, "h", hours, "h", 0.0, "",
            found.closure.sentence,
        ]  # fmt: skip
