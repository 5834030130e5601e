"""Conditions of preventive rules that the program can see by itself.

A condition is written in words. The few forms below are understood, so that the rule
falls due by itself; any other is a reminder for people.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Seen(StrEnum):
    """What a condition is about."""

    REST_VOLTAGE = "voltage at rest"
    LOAD_VOLTAGE = "voltage under load"
    EARTH_RESISTANCE = "resistance to earth"
    INSULATION_FALLING = "insulation resistance falling"

    @property
    def unit(self) -> str:
        """Of its limit."""
        if self is Seen.EARTH_RESISTANCE:
            return "Ω"
        return "" if self is Seen.INSULATION_FALLING else "V"


@dataclass(frozen=True)
class SeenCondition:
    """A condition as understood: what, which side, which limit.

    ``limit`` is in volt or ohm; None where there is none to hold to.
    """

    what: Seen
    below: bool = True
    limit: float | None = None

    def is_met(self, value: float) -> bool:
        """Whether a value, in the condition's unit, makes the work due."""
        if self.limit is None:
            return False
        return value < self.limit if self.below else value > self.limit

    @property
    def sentence(self) -> str:
        """How it was understood."""
        if self.limit is None:
            return f"{self.what} from test to test"
        side = "below" if self.below else "above"
        return f"{self.what} {side} {self.limit:g} {self.what.unit}"


_LIMITED = re.compile(
    r"(voltage at rest|voltage under load|resistance to earth)\s+(below|above)\s+"
    r"(\d+(?:[.,]\d+)?)\s*(?:v|volts?|ω|Ω|ohms?)?",
    re.IGNORECASE,
)
_FALLING = re.compile(r"insulation resistance\s+(?:is\s+)?falling", re.IGNORECASE)


def understood(condition: str) -> SeenCondition | None:
    """The condition that the words name; None for a reminder.

    >>> understood("Battery voltage under load below 11.8 V").sentence
    'voltage under load below 11.8 V'
    >>> understood("after a lightning strike") is None
    True
    """
    found = _LIMITED.search(condition)
    if found:
        what, side, limit = found.groups()
        return SeenCondition(
            Seen(what.lower()), side.lower() == "below", float(limit.replace(",", "."))
        )
    if _FALLING.search(condition):
        return SeenCondition(Seen.INSULATION_FALLING)
    return None


def met_since(
    condition: SeenCondition, values: Sequence[tuple[dt.date, float]]
) -> dt.date | None:
    """First day of the run of values, up to the latest, that meet the condition.

    Parameters
    ----------
    values
        Days and values in the condition's unit, in the order of the days.

    Returns
    -------
    datetime.date or None
        None where the latest value does not meet it, or there is none.
    """
    since = None
    for day, value in reversed(values):
        if not condition.is_met(value):
            break
        since = day
    return since
