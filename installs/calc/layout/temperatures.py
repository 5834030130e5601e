"""Temperatures held against the window to work in, and told in people's units."""

from __future__ import annotations

import math

from installs.calc.layout.types import COMMON_PRACTICE, TemperatureWindow
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Judgement, Verdict
from wimprog.lib.units import Kind, Unit, UnitSystem, format_si, shown_unit

#: Air, chemicals and pavement above freezing.
ABOVE_FREEZING = TemperatureWindow(0.5, None, COMMON_PRACTICE, COMMON_PRACTICE)

WINDOW_RULE = "one reading within the window, ends included"


def judge_temperature(
    quantity: str,
    reading_c: float | None,
    window: TemperatureWindow,
    *,
    system: UnitSystem = UnitSystem.SI,
) -> Judgement:
    """One temperature against its window.

    Parameters
    ----------
    quantity
        What was read, in the trade's words ("pavement temperature").
    reading_c
        The reading [°C], None for none.
    window
        Lowest and highest, either side open.
    system
        Units of the sentence.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When the reading is no temperature of a road.
    """
    limit = window_words(window, system)
    if reading_c is None:
        verdict, told = Verdict.CANNOT_SAY, "no reading"
    else:
        check_temperature(quantity, reading_c, system)
        is_in = (window.low_c is None or reading_c >= window.low_c) and (
            window.high_c is None or reading_c <= window.high_c
        )
        verdict = Verdict.MEETS if is_in else Verdict.MISSES
        told = temperature_words(reading_c, system)
    return single_judgement(
        quantity,
        None if reading_c is None else temperature_unit(system).from_si(reading_c),
        temperature_unit(system).symbol,
        rule=f"{WINDOW_RULE} ({window.source})",
        limit=limit,
        verdict=verdict,
        told=told,
        standing=window.standing,
    )


def check_temperature(quantity: str, value_c: float, system: UnitSystem) -> None:
    """Refuse what is no temperature of a road or of a resin at work."""
    if not (math.isfinite(value_c) and -60.0 <= value_c <= 90.0):
        raise DomainError(
            f"The {quantity} of {temperature_words(value_c, system)} is not one of a "
            "road or a resin at work; check the reading and its unit, °C or °F."
        )


# --- words -------------------------------------------------------------------------


def temperature_unit(system: UnitSystem) -> Unit:
    """The unit that temperatures are shown in."""
    return shown_unit(Kind.TEMPERATURE, system)


def temperature_words(value_c: float, system: UnitSystem) -> str:
    """A temperature as people read it: "41 °F"."""
    return format_si(value_c, Kind.TEMPERATURE, system)


def window_words(window: TemperatureWindow, system: UnitSystem) -> str:
    """A window in words: "at least 41 °F"."""
    if window.high_c is None and window.low_c is not None:
        return f"at least {temperature_words(window.low_c, system)}"
    if window.low_c is None and window.high_c is not None:
        return f"at most {temperature_words(window.high_c, system)}"
    low, high = window.low_c or 0.0, window.high_c or 0.0
    return f"{temperature_words(low, system)} to {temperature_words(high, system)}"


def single_judgement(
    quantity: str,
    value: float | None,
    unit: str,
    *,
    rule: str,
    limit: str,
    verdict: Verdict,
    told: str,
    standing: str,
    n: int | None = None,
) -> Judgement:
    """A judgement of one value, with its sentence built in the usual order."""
    return Judgement(
        quantity=quantity,
        value=value,
        unit=unit,
        n=(0 if value is None else 1) if n is None else n,
        interval=None,
        rule=rule,
        limit=limit,
        verdict=verdict,
        sentence=f"{quantity[:1].upper()}{quantity[1:]} {told}; {limit}: {verdict}.",
        standing=standing,
    )
