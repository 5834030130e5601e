"""What the readings of a sensor model are held to, as the agency entered it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from installs.calc.reading_text import read_reading
from installs.calc.types import (
    AcceptanceLimit,
    ElectricalQuantity,
    QuantityRules,
    TemperatureCoefficient,
    Tolerance,
)
from installs.models import ElectricalLimit

Limits = dict[str, AcceptanceLimit]


def limits_by_model(model_ids: Iterable[int]) -> dict[int, Limits]:
    """The limits entered for each sensor model, by quantity; empty where none are."""
    found: dict[int, Limits] = defaultdict(dict)
    for row in ElectricalLimit.objects.filter(sensor_model_id__in=set(model_ids)):
        limit = _limit(row)
        if limit is not None:
            found[row.sensor_model_id][row.quantity] = limit
    return found


def rules_by_model(
    model_ids: Iterable[int],
) -> dict[int, dict[ElectricalQuantity, QuantityRules]]:
    """All that is entered for each sensor model, in one query.

    A tolerance that is not entered is the usual one, with its own standing.
    """
    entered: dict[int, dict[str, ElectricalLimit]] = defaultdict(dict)
    wanted = set(model_ids)
    for row in ElectricalLimit.objects.filter(sensor_model_id__in=wanted):
        entered[row.sensor_model_id][row.quantity] = row
    return {
        model_id: {
            quantity: quantity_rules(quantity, entered[model_id].get(str(quantity)))
            for quantity in ElectricalQuantity
        }
        for model_id in wanted
    }


def quantity_rules(
    quantity: ElectricalQuantity, row: ElectricalLimit | None
) -> QuantityRules:
    """What one quantity is held to, from the row entered for it, if any."""
    from installs.calc.published import data_sheet_tolerance, first_readings_tolerance

    sheet, first = data_sheet_tolerance(quantity), first_readings_tolerance(quantity)
    if row is None:
        return QuantityRules(None, sheet, first, None)
    if row.data_sheet_tolerance_pct is not None:
        sheet = Tolerance.within_pct(row.data_sheet_tolerance_pct, row.source)
    if row.baseline_tolerance_pct is not None:
        first = Tolerance.within_pct(row.baseline_tolerance_pct, row.source)
    coefficient = None
    if row.temp_coefficient_pct_per_c is not None and row.reference_temp_c is not None:
        coefficient = TemperatureCoefficient(
            row.temp_coefficient_pct_per_c,
            row.reference_temp_c,
            row.coefficient_source,
        )
    return QuantityRules(_limit(row), sheet, first, coefficient)


def _limit(row: ElectricalLimit) -> AcceptanceLimit | None:
    if row.low is None and row.high is None:
        return None
    return AcceptanceLimit(low=row.low, high=row.high, source=row.source)


def data_sheet_values(
    data_sheet: Mapping[str, Any] | None,
) -> dict[ElectricalQuantity, float]:
    """The numbers of a sensor's own data sheet by quantity.

    The sheet holds what was typed, or a plain number; what is neither a quantity of
    ours nor a number above zero is left out.
    """
    found = {}
    for word, entry in (data_sheet or {}).items():
        try:
            quantity = ElectricalQuantity(word)
            value = read_reading(str(entry), quantity).value
        except ValueError:
            continue
        if value > 0:
            found[quantity] = value
    return found
