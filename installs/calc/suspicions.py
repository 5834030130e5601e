"""Readings and instruments to doubt before a sensor is.

A slip of the decimal point, an instrument past its calibration, all sensors of a visit
off by one factor, values that repeat as no meter's do. Common practice, no source; the
numbers are ours.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from installs.calc.diagnosis_rules import PRACTICE
from installs.calc.types import ElectricalQuantity
from installs.calc.types.diagnosis import (
    Cause,
    Evidence,
    Finding,
    PeerReading,
    SensorEvidence,
)

#: Sensors that must show it before an instrument is suspected.
LEAST_PEERS = 3
#: Ratios of a common factor lie within this of their middle (plain scale; log scale).
ALIKE_RATIO = 1.05
ALIKE_RATIO_LOG = 1.25
#: And the middle is at least this far from 1, either way.
OFF_RATIO = 1.10
OFF_RATIO_LOG = 3.0
#: Tests in a row with the same values that no meter repeats.
SAME_IN_A_ROW = 4
#: A ratio this near to a power of ten is taken for a slip of the decimal point.
SLIP_WITHIN = 1.15
SLIP_POWERS = (-3, -2, -1, 1, 2, 3)

_Q = ElectricalQuantity
#: Values that differ from sensor to sensor and from day to day by more than a meter's
#: last figure; bridges are made alike, so equal ones there tell nothing.
VARYING = frozenset(
    {
        _Q.INSULATION_RESISTANCE,
        _Q.CAPACITANCE,
        _Q.DISSIPATION_FACTOR,
        _Q.PEAK_OUTPUT,
        _Q.CHARGE_OUTPUT,
        _Q.SERIES_RESISTANCE,
        _Q.INDUCTANCE,
        _Q.QUALITY_FACTOR,
        _Q.FREQUENCY,
    }
)


def slip_power(
    quantity: ElectricalQuantity, value: float, before: Sequence[float]
) -> int | None:
    """The power of ten that a reading seems to be off by, from those before it.

    Returns
    -------
    int or None
        None with fewer than two readings before it, for a quantity that moves by
        decades of itself or lies around zero, and where no power of ten fits.
    """
    if quantity.on_log_scale or quantity.signed or len(before) < 2:
        return None
    middle = median(before)
    if middle <= 0 or value <= 0:
        return None
    power = round(math.log10(value / middle))
    if power in SLIP_POWERS and _within(value / middle, 10.0**power, SLIP_WITHIN):
        return power
    return None


def reading_slips(evidence: SensorEvidence) -> list[Finding]:
    """Readings off by a power of ten from the sensor's own: a slip of the pen."""
    seen = []
    for quantity, readings in evidence.readings.items():
        before = [one.value for one in readings[:-1] if not one.over_range]
        last = readings[-1] if readings else None
        if last is None or last.over_range:
            continue
        if slip_power(quantity, last.value, before) is not None:
            middle = median(before)
            ratio = last.value / middle
            seen.append(
                Evidence(
                    f"{quantity} {shown(quantity, last.value)} on {last.on} is "
                    f"{ratio:.3g} times the middle of the {len(before)} readings "
                    f"before it ({shown(quantity, middle)})",
                    len(before) + 1,
                )
            )
    if not seen:
        return []
    return [
        Finding(
            cause=Cause.READING,
            evidence=tuple(seen),
            could_be="a decimal point or unit written wrongly; another range of the "
            "meter; a real fault, if a second reading says the same",
            test_next=(
                "Look at the meter's own display or the paper, and correct the entry "
                "with a reason if it was written wrongly.",
                "If nobody can tell, measure again before anything is dug up.",
            ),
            standing=PRACTICE,
        )
    ]


def instrument_suspicions(evidence: SensorEvidence) -> list[Finding]:
    """What speaks against the instrument of the latest test."""
    seen = [
        *_out_of_date(evidence),
        *_common_factor(evidence.peers),
        *_copied(evidence.peers),
        *_frozen(evidence),
    ]
    if not seen:
        return []
    return [
        Finding(
            cause=Cause.INSTRUMENT,
            evidence=tuple(seen),
            could_be="weather that moved all sensors alike (a much hotter or wetter "
            "pavement); values copied from one line to the next; sensors of one lot "
            "that age alike",
            test_next=(
                "Measure a known resistor or capacitor with the instrument, and the "
                "sensor with another instrument.",
                "Look at the instrument's battery, leads and calibration certificate.",
            ),
            standing=PRACTICE,
        )
    ]


def _out_of_date(evidence: SensorEvidence) -> list[Evidence]:
    used = evidence.instrument
    if used is None or used.calibrated_until is None:
        return []
    if used.used_on <= used.calibrated_until:
        return []
    return [
        Evidence(
            f"{used.name} was used on {used.used_on}; its calibration ended on "
            f"{used.calibrated_until}",
            1,
        )
    ]


def _common_factor(peers: Sequence[PeerReading]) -> list[Evidence]:
    """All sensors of a visit off by the same factor from what each read before."""
    found = []
    for quantity in dict.fromkeys(peer.quantity for peer in peers):
        ratios = [
            peer.value / peer.before
            for peer in peers
            if peer.quantity == quantity
            and not quantity.signed
            and not peer.over_range
            and peer.before is not None
            and peer.before > 0
            and peer.value > 0
        ]
        if len(ratios) < LEAST_PEERS:
            continue
        log = quantity.on_log_scale
        alike, off = (
            (ALIKE_RATIO_LOG, OFF_RATIO_LOG) if log else (ALIKE_RATIO, OFF_RATIO)
        )
        middle = median(ratios)
        if not _within(middle, 1.0, off) and all(
            _within(ratio, middle, alike) for ratio in ratios
        ):
            found.append(
                Evidence(
                    f"{quantity} of all {len(ratios)} sensors tested that day is "
                    f"{min(ratios):.3g} to {max(ratios):.3g} times what each read "
                    "before",
                    len(ratios),
                )
            )
    return found


def _copied(peers: Sequence[PeerReading]) -> list[Evidence]:
    """The same values for every sensor of a visit, in at least two quantities."""
    same = {}
    for quantity in dict.fromkeys(peer.quantity for peer in peers):
        values = [
            peer.value
            for peer in peers
            if peer.quantity == quantity and not peer.over_range
        ]
        if (
            quantity in VARYING
            and len(values) >= LEAST_PEERS
            and len(set(values)) == 1
            and values[0] > 0
        ):
            same[quantity] = values
    if len(same) < 2:
        return []
    words = ", ".join(f"{q} {shown(q, values[0])}" for q, values in same.items())
    n = max(len(values) for values in same.values())
    text = f"all {n} sensors tested that day show the same {words}"
    return [Evidence(text, sum(len(values) for values in same.values()))]


def _frozen(evidence: SensorEvidence) -> list[Evidence]:
    """The last tests of this sensor repeat each other, in at least two quantities."""
    same = {}
    for quantity, readings in evidence.readings.items():
        last = readings[-SAME_IN_A_ROW:]
        if (
            quantity in VARYING
            and len(last) == SAME_IN_A_ROW
            and not any(one.over_range for one in last)
            and len({one.value for one in last}) == 1
            and last[0].value > 0
        ):
            same[quantity] = last
    if len(same) < 2:
        return []
    words = ", ".join(f"{q} {shown(q, last[0].value)}" for q, last in same.items())
    text = f"its last {SAME_IN_A_ROW} tests all show {words}"
    return [Evidence(text, SAME_IN_A_ROW * len(same))]


def _within(ratio: float, of: float, factor: float) -> bool:
    return of / factor <= ratio <= of * factor


def shown(quantity: ElectricalQuantity, value: float, over: bool = False) -> str:
    """A value with its unit."""
    return f"{'above ' if over else ''}{value:,.4g} {quantity.unit}".strip()
