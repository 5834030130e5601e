"""Electrical readings corrected to one pavement temperature.

A coefficient k [% of the value at the reference temperature, per °C] says that a
quantity whose value at the reference temperature T0 is x0 reads

* x = x0 (1 + k/100 (T − T0)) on a plain scale (capacitance, resistances, output);
* x = x0 (1 + k/100)^(T − T0) on a log scale (insulation), where each degree takes the
  same share: −6.7 % a degree halves it in 10 °C.

The corrected value is x0. Nothing here knows a coefficient of its own: the agency
enters it for a model and a quantity with its source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from installs.calc.types import (
    DatedReading,
    ElectricalQuantity,
    TemperatureCoefficient,
)
from wimprog.lib.errors import DomainError

#: A correction beyond this ratio, either way, says more of the coefficient than of the
#: sensor; it is refused.
MOST_RATIO = 100.0


def temperature_ratio(
    quantity: ElectricalQuantity, coefficient: TemperatureCoefficient, temp_c: float
) -> float:
    """What a quantity reads at a temperature, divided by what it reads at T0.

    Raises
    ------
    wimprog.lib.errors.DomainError
        For a quantity around zero, or when the coefficient carried that far leaves
        nothing, or a hundredfold.
    """
    if quantity.signed:
        raise DomainError(
            f"The {quantity} lies around zero, so a coefficient in per cent of it has "
            "no meaning; hold it against its limits as read."
        )
    away_c = temp_c - coefficient.reference_c
    if quantity.on_log_scale:
        base = 1.0 + coefficient.pct_per_c / 100.0
        ratio = base**away_c if base > 0 else 0.0
    else:
        ratio = 1.0 + coefficient.pct_per_c / 100.0 * away_c
    if not 1.0 / MOST_RATIO <= ratio <= MOST_RATIO:
        raise DomainError(
            f"A coefficient of {coefficient.pct_per_c:g} % a °C cannot be carried "
            f"{away_c:+.1f} °C from its reference: it would leave {ratio:.3g} of the "
            f"{quantity}. Check the coefficient and the pavement temperature."
        )
    return ratio


def corrected_reading(
    quantity: ElectricalQuantity,
    reading: DatedReading,
    coefficient: TemperatureCoefficient | None,
) -> DatedReading | None:
    """The reading as it would have been at the coefficient's reference temperature.

    A reading above the meter's range stays one, with its end corrected: the value is
    then known to be above that.

    Returns
    -------
    DatedReading or None
        None without a coefficient, or where the pavement temperature was not measured.
    """
    if coefficient is None or reading.temp_c is None:
        return None
    ratio = temperature_ratio(quantity, coefficient, reading.temp_c)
    return replace(reading, value=reading.value / ratio)


def corrected_readings(
    quantity: ElectricalQuantity,
    readings: Sequence[DatedReading],
    coefficient: TemperatureCoefficient | None,
) -> tuple[DatedReading, ...]:
    """Those of the readings that can be corrected, corrected, in the same order."""
    found = (corrected_reading(quantity, one, coefficient) for one in readings)
    return tuple(one for one in found if one is not None)


def correction_words(
    quantity: ElectricalQuantity, coefficient: TemperatureCoefficient
) -> str:
    """The correction in one line, with its source."""
    how = "compounded" if quantity.on_log_scale else "of the value there"
    return (
        f"corrected to {coefficient.reference_c:g} °C by "
        f"{coefficient.pct_per_c:+g} % a °C ({how}; {coefficient.source})"
    )
