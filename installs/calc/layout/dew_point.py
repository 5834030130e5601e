"""Will the surface stay dry? The dew point and the margin above it; advisory.

Magnus formula, with T the air temperature and RH the relative humidity in per cent:

    g = ln(RH/100) + a T / (b + T),   Td = b g / (a − g),

a = 17.62, b = 243.12 °C over water, −45 to 60 °C (WMO-No. 8, Guide to Instruments and
Methods of Observation, annex on humidity; from memory).
"""

from __future__ import annotations

import math

from installs.calc.layout.temperatures import (
    check_temperature,
    single_judgement,
    temperature_unit,
    temperature_words,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import UnitSystem, format_number

#: The surface stays at least this much above the dew point, in °C: what coating
#: practice asks (ISO 8502-4, from memory).
DEW_MARGIN_C = 3.0

MAGNUS_A = 17.62
MAGNUS_B_C = 243.12
MAGNUS_RANGE_C = (-45.0, 60.0)

DEW_RULE = "surface temperature less dew point (Magnus formula, WMO-No. 8); advisory"


def dew_point_c(air_c: float, humidity_pct: float) -> float:
    """Dew point over water, in °C, by the Magnus formula.

    >>> round(dew_point_c(20.0, 100.0), 6)
    20.0

    Raises
    ------
    wimprog.lib.errors.DomainError
        Beyond −45 to 60 °C, or when the humidity is not above 0 and up to 100 %.
    """
    if not (MAGNUS_RANGE_C[0] <= air_c <= MAGNUS_RANGE_C[1]):
        raise DomainError(
            f"An air temperature of {air_c:g} °C is beyond the −45 to 60 °C of the dew "
            "point formula."
        )
    if not (0.0 < humidity_pct <= 100.0):
        raise DomainError(
            f"A relative humidity of {humidity_pct:g} % cannot be; it is above 0 and "
            "at most 100 %."
        )
    g = math.log(humidity_pct / 100.0) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return MAGNUS_B_C * g / (MAGNUS_A - g)


def judge_dew_point(
    surface_c: float,
    air_c: float,
    humidity_pct: float,
    *,
    margin_c: float = DEW_MARGIN_C,
    system: UnitSystem = UnitSystem.SI,
) -> Judgement:
    """Is the surface far enough above the dew point to stay dry? Advisory."""
    check_temperature("surface temperature", surface_c, system)
    dew_c = dew_point_c(air_c, humidity_pct)
    above_c = surface_c - dew_c
    verdict = Verdict.MEETS if above_c >= margin_c else Verdict.MISSES
    unit = temperature_unit(system)
    above, margin = above_c / unit.factor, margin_c / unit.factor
    return single_judgement(
        "surface above the dew point",
        above,
        unit.symbol,
        rule=DEW_RULE,
        limit=f"at least {margin:.3g} {unit.symbol} above it",
        verdict=verdict,
        told=(
            f"{format_number(above, 1)} {unit.symbol}, the dew point being "
            f"{temperature_words(dew_c, system)}"
        ),
        standing="from memory (ISO 8502-4)",
        n=1,
    )
