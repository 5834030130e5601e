"""How the values that meters showed in a cabinet are printed: as they were typed."""

from __future__ import annotations

from django import template

from installs.models import CabinetCheck
from wimprog.lib.units import format_number

register = template.Library()

_WORDS = (
    ("rest_voltage_v", "at rest", "V"),
    ("load_voltage_v", "under load", "V"),
    ("load_current_a", "load", "A"),
    ("earth_resistance_ohm", "to earth", "Ω"),
)


@register.filter
def meters(check: CabinetCheck) -> list[tuple[str, str]]:
    """What was measured at a part: (what, value with its unit)."""
    found = []
    for name, word, unit in _WORDS:
        value = getattr(check, name)
        if value is None:
            continue
        typed = check.as_typed.get(name)
        told = (
            f"{typed[0]} {typed[1]}" if typed else f"{format_number(value, 2)} {unit}"
        )
        found.append((word, told))
    return found
