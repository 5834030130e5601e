"""What a sensor's tests say of its condition, and from what age on they said it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

from installs.calc.comparisons import baseline_of
from installs.calc.condition import CAPACITANCE_OFF, DECADES_A_YEAR, DECADES_BELOW_NEW
from installs.calc.types import (
    Baseline,
    DatedReading,
    ElectricalQuantity,
    years_between,
)

#: A loss a year is taken over at least this long; two readings of one week say nothing.
LEAST_YEARS = 0.5
#: One step of the effect of capacitance: 10 % off new.
_CAPACITANCE_STEP = 0.10

_Q = ElectricalQuantity
FOLLOWED = (_Q.INSULATION_RESISTANCE, _Q.CAPACITANCE)


def known_condition(
    readings: Mapping[ElectricalQuantity, Sequence[DatedReading]],
    installed_on: date,
) -> list[tuple[float, dict[str, float]]]:
    """Covariates by the age at which a test made them known.

    Parameters
    ----------
    readings
        Readings of complete tests by quantity, in the order of their days; corrected
        for temperature where that can be.
    installed_on
        Day of installation.

    Returns
    -------
    list of (age, values)
        In years from installation, ascending. "New" is the sensor's own first complete
        readings; a value above the meter's range counts as the range, so a fall from
        there is told too small, never too large.
    """
    found: dict[date, dict[str, float]] = {}
    insulation = list(readings.get(_Q.INSULATION_RESISTANCE, ()))
    new = baseline_of(_Q.INSULATION_RESISTANCE, insulation)
    if new is not None and new.value > 0:
        for one in insulation:
            if one.value > 0:
                found.setdefault(one.on, {}).update(_insulation(one, new, installed_on))
    capacitance = list(readings.get(_Q.CAPACITANCE, ()))
    first = baseline_of(_Q.CAPACITANCE, capacitance)
    if first is not None and first.value > 0:
        for one in capacitance:
            off = abs(one.value / first.value - 1.0) / _CAPACITANCE_STEP
            found.setdefault(one.on, {})[CAPACITANCE_OFF] = off
    return [
        (max(years_between(installed_on, on), 0.0), values)
        for on, values in sorted(found.items())
    ]


def _insulation(
    one: DatedReading, new: Baseline, installed_on: date
) -> dict[str, float]:
    below = max(math.log10(new.value / one.value), 0.0)
    if one.over_range:
        below = 0.0
    since = years_between(new.last_on, one.on)
    values = {DECADES_BELOW_NEW: below}
    if since >= LEAST_YEARS:
        values[DECADES_A_YEAR] = below / since
    return values
