"""What the demo's meters show: readings that follow from age and moisture."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from wimprog.demo.scenario import SensorLife, _number, pavement_temp_c
from wimprog.demo.traits import SensorTraits

METER_TOP_MOHM = 2000.0
DECADES_PER_C = -0.008
"""How insulation falls with pavement temperature, about :data:`REFERENCE_C`."""
REFERENCE_C = 12.0
TEST_VOLTAGE_V = 500.0
SLIP_CHANCE = 0.001
"""How often somebody puts the decimal point one place too far to the right."""

# start value and relative spread of one reading
_STEADY: dict[str, tuple[float, float]] = {
    "capacitance": (8.0, 0.012),
    "dissipation factor": (0.017, 0.06),
    "series resistance": (3.6, 0.03),
    "inductance": (121.0, 0.01),
    "quality factor": (14.0, 0.05),
    "bridge input resistance": (372.0, 0.004),
    "bridge output resistance": (350.2, 0.002),
}
_START = {"quartz piezo": {"capacitance": 1.1}}


def coefficient(quantity: str) -> dict[str, object]:
    """The temperature coefficient that the maker gives for a quantity; or nothing."""
    if quantity != "insulation resistance":
        return {}
    return {
        "temp_coefficient_pct_per_c": round(100 * (10**DECADES_PER_C - 1), 2),
        "reference_temp_c": REFERENCE_C,
        "coefficient_source": "maker's data sheet (invented)",
    }


def data_sheet(traits: SensorTraits) -> dict[str, str]:
    """What a sensor's own data sheet says."""
    starts = {word: start for word, (start, _) in _STEADY.items()}
    starts |= _START.get(traits.technology, {})
    return {q: f"{starts[q]:g}" for q, _, _ in traits.limits if q in starts}


def readings(
    life: SensorLife, on: dt.date, rng: np.random.Generator
) -> dict[str, tuple[float, bool]]:
    """Value and "above the meter's range" of each quantity on a day."""
    temp = float(pavement_temp_c(np.array([_number(on)]))[0])
    wet_years = 0.0
    if life.wet_on is not None and on > life.wet_on:
        wet_years = (on - life.wet_on).days / 365.25
    found: dict[str, tuple[float, bool]] = {}
    for quantity, _, _ in life.traits.limits:
        if quantity == "insulation resistance":
            log = math.log10(1500.0) + DECADES_PER_C * (temp - REFERENCE_C)
            log -= life.decades_per_year * wet_years
            value = 10 ** (log + rng.normal(0, 0.07))
            if value > METER_TOP_MOHM:
                found[quantity] = (METER_TOP_MOHM, True)
            else:
                found[quantity] = (_rounded(value), False)
            continue
        start, spread = _STEADY[quantity]
        start = _START.get(life.traits.technology, {}).get(quantity, start)
        value = start * (1 + rng.normal(0, spread))
        if quantity == "dissipation factor":
            value *= 1 + 0.35 * wet_years
        if quantity == "capacitance":
            value *= 1 + 0.02 * wet_years
        if rng.random() < SLIP_CHANCE:
            value *= 10
        found[quantity] = (_rounded(value), False)
    return found


def _rounded(value: float) -> float:
    """To the three figures that a meter shows."""
    if value <= 0:
        return 0.0
    digits = 2 - math.floor(math.log10(value))
    return round(value, digits)
