"""Was that read in another unit? Questions about values off by a plausible factor.

A number typed for the unit that the form shows, but read from a tape or meter in
another, is off by the ratio of the two units. Where it misses its limits by far and
would meet them if read in the other unit, the slip is asked about; the value is kept
as typed all the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from wimprog.lib.units import UNITS, Kind, Unit, parse_number

#: Units that lie side by side on tapes, meters and forms.
_CONFUSED: dict[str, tuple[str, ...]] = {
    "in": ("cm", "mm", "ft"),
    "cm": ("in", "mm"),
    "mm": ("in", "cm"),
    "ft": ("m", "in"),
    "m": ("ft", "cm"),
    "°F": ("°C",),
    "°C": ("°F",),
    "lb": ("kg",),
    "kg": ("lb",),
    "mph": ("km/h",),
    "km/h": ("mph",),
}
#: Electrical units with what they are mistaken for, as ratios to them.
_PREFIXED: dict[str, tuple[tuple[str, float], ...]] = {
    "MΩ": (("kΩ", 1e-3), ("GΩ", 1e3)),
    "nF": (("pF", 1e-3), ("µF", 1e3)),
    "µH": (("mH", 1e3),),
    "kHz": (("Hz", 1e-3),),
    "mV": (("V", 1e3),),
    "pC": (("nC", 1e3),),
}
#: "By far": this many times beyond a limit, or this many °C.
FAR_TIMES = 1.5
FAR_C = 5.0
#: Where only one side is limited, how near to it the other reading must come.
NEAR_TIMES = 1.5
MM_PER_M = 1000.0


def convert(value: float, unit: Unit, measure: Kind) -> float:
    """A value of ``unit`` in the SI unit of ``measure``; lengths pass either way.

    Raises
    ------
    ValueError
        When the unit measures something else.
    """
    si = unit.to_si(value)
    if unit.kind is measure:
        return si
    if (unit.kind, measure) == (Kind.LENGTH, Kind.SHORT_LENGTH):
        return si * MM_PER_M
    if (unit.kind, measure) == (Kind.SHORT_LENGTH, Kind.LENGTH):
        return si / MM_PER_M
    raise ValueError(f"{unit.symbol} is not a unit of {measure}")


def unit_questions(
    typed: Sequence[tuple[str, str]],
    *,
    measure: Kind | None,
    low: float | None,
    high: float | None,
) -> tuple[str, ...]:
    """Questions about the numbers of one answer.

    Parameters
    ----------
    typed
        Text and unit of each number.
    measure
        Kind of quantity; None for an electrical unit.
    low, high
        Limits in SI, or in the electrical unit.

    Returns
    -------
    tuple of str
        One for each other unit that explains some of the numbers; empty when none do.

    Examples
    --------
    A depth of 5.2 cm typed for inches, where at least 50.8 mm are wanted:

    >>> unit_questions([("5.2", "in")], measure=Kind.SHORT_LENGTH, low=50.8, high=60.0)
    ('Was 5.2 read in cm? It was kept as 5.2 in; 5.2 cm would meet the limit.',)
    """
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    for text, unit in typed:
        for other in _explained_by(text, unit, measure, low, high):
            found[other, unit].append(text)
    return tuple(
        _question(texts, unit, other) for (other, unit), texts in found.items()
    )


def _question(texts: list[str], unit: str, other: str) -> str:
    told = ", ".join(texts)
    was, it = ("Was", "It was") if len(texts) == 1 else ("Were", "They were")
    return (
        f"{was} {told} read in {other}? {it} kept as {told} {unit}; {told} {other} "
        "would meet the limit."
    )


def _explained_by(
    text: str, unit: str, measure: Kind | None, low: float | None, high: float | None
) -> list[str]:
    try:
        number = parse_number(text.lstrip(">≥ "))
    except ValueError:
        return []
    if measure is None:
        others = [(name, number * ratio) for name, ratio in _PREFIXED.get(unit, ())]
        value = number
    elif unit in UNITS:
        value = convert(number, UNITS[unit], measure)
        others = [
            (name, convert(number, UNITS[name], measure))
            for name in _CONFUSED.get(unit, ())
        ]
    else:
        return []
    far = _far_c if measure is Kind.TEMPERATURE else _far
    too_good = measure in (Kind.LENGTH, Kind.SHORT_LENGTH) and _too_good(
        value, low, high
    )
    if not (far(value, low, high) or too_good):
        return []
    fitting = [one for one in others if _plausible(one[1], low, high, measure)]
    return [name for name, _ in fitting]


def _far(value: float, low: float | None, high: float | None) -> bool:
    return (low is not None and value * FAR_TIMES < low) or (
        high is not None and value > high * FAR_TIMES
    )


def _too_good(value: float, low: float | None, high: float | None) -> bool:
    """Twice the least that is wanted or more, where no most is written.

    A depth read as 5.2 cm and written as 5.2 in would pass without a word.
    """
    return low is not None and high is None and value > 2.0 * low > 0


def _far_c(value: float, low: float | None, high: float | None) -> bool:
    return (low is not None and value < low - FAR_C) or (
        high is not None and value > high + FAR_C
    )


def _plausible(
    value: float, low: float | None, high: float | None, measure: Kind | None
) -> bool:
    """Within the limits; near the limit where there is only one."""
    if (low is not None and value < low) or (high is not None and value > high):
        return False
    if measure is Kind.TEMPERATURE or (low is not None and high is not None):
        return True
    if low is not None:
        return value <= low * NEAR_TIMES
    return high is not None and value * 4.0 >= high
