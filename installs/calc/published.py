"""Published values that stand in until the agency enters its own.

Nothing here is a rule: each value carries its source and its standing, is shown with
both, and is replaced by what the agency or the maker says.
"""

from __future__ import annotations

from installs.calc.types import (
    AcceptanceLimit,
    ElectricalQuantity,
    LifePrior,
    Technology,
    Tolerance,
)

MEMORY = "from memory"
PRACTICE = "common practice, no source"

_BUSHMAN = "Bushman and Pratt, NATMEC 1998, life by technology"
_LATER = "ranges quoted in later practice"

_LIVES: dict[Technology, LifePrior] = {
    Technology.POLYMER_PIEZO: LifePrior(4.0, _BUSHMAN, standing=MEMORY),
    Technology.CERAMIC_PIEZO: LifePrior(4.0, _BUSHMAN, standing=MEMORY),
    # The middle, as a ratio, of 3 to 8 years.
    Technology.QUARTZ_PIEZO: LifePrior(5.0, f"{_LATER}, 3 to 8 years", standing=MEMORY),
    Technology.BENDING_PLATE: LifePrior(6.0, _BUSHMAN, standing=MEMORY),
    Technology.LOAD_CELL: LifePrior(12.0, _BUSHMAN, standing=MEMORY),
    # No published life is known for these three, so their spread is wider.
    Technology.STRAIN_GAUGE_STRIP: LifePrior(
        5.0, "assumed like quartz piezo", log_median_sd=0.7, standing=PRACTICE
    ),
    Technology.INDUCTIVE_LOOP: LifePrior(
        10.0, "assumed to last as long as the surface", 0.7, standing=PRACTICE
    ),
    Technology.TEMPERATURE_PROBE: LifePrior(
        10.0, "assumed to last as long as the surface", 0.7, standing=PRACTICE
    ),
}


def published_prior(technology: Technology) -> LifePrior:
    """Expected life of a technology where the agency has given none.

    The published figures are single lives without a spread; they are taken as medians,
    with a spread of our choosing (a factor 1.65 either way two times in three).
    """
    return _LIVES[technology]


_Q = ElectricalQuantity
_PIEZO_LIMITS = {
    _Q.INSULATION_RESISTANCE: AcceptanceLimit(
        20.0, None, "in-service piezo practice", MEMORY
    ),
    _Q.DISSIPATION_FACTOR: AcceptanceLimit(
        None, 0.04, "piezo practice at 1 kHz", MEMORY
    ),
}
_LIMITS: dict[Technology, dict[ElectricalQuantity, AcceptanceLimit]] = {
    Technology.POLYMER_PIEZO: _PIEZO_LIMITS,
    Technology.CERAMIC_PIEZO: _PIEZO_LIMITS,
    Technology.QUARTZ_PIEZO: {
        _Q.INSULATION_RESISTANCE: AcceptanceLimit(
            100.0, None, "quartz practice, suspect below", MEMORY
        )
    },
    Technology.BENDING_PLATE: {
        _Q.INSULATION_RESISTANCE: AcceptanceLimit(
            200.0, None, "strain-gauge practice", MEMORY
        )
    },
    Technology.LOAD_CELL: {
        _Q.INSULATION_RESISTANCE: AcceptanceLimit(
            200.0, None, "strain-gauge practice", MEMORY
        )
    },
    Technology.INDUCTIVE_LOOP: {
        _Q.INSULATION_RESISTANCE: AcceptanceLimit(
            10.0, None, "Traffic Detector Handbook, 3rd ed., ch. 5-6, suspect", MEMORY
        ),
        _Q.SERIES_RESISTANCE: AcceptanceLimit(
            None, 10.0, "loop and lead-in practice", MEMORY
        ),
        _Q.INDUCTANCE: AcceptanceLimit(
            50.0, 700.0, "range in which detectors work", MEMORY
        ),
        _Q.QUALITY_FACTOR: AcceptanceLimit(5.0, None, "loop practice", MEMORY),
    },
}


def typical_limits(
    technology: Technology,
) -> dict[ElectricalQuantity, AcceptanceLimit]:
    """Typical in-service limits, as a start for the agency's own; empty if none known.

    The maker's limits and the agency's come first.
    """
    return dict(_LIMITS.get(technology, {}))


_WITHIN_20 = Tolerance.within_pct(20.0, "piezo practice", MEMORY)
_BRIDGE_PRACTICE = Tolerance.within_pct(
    1.0, "a few ohms of the installation record", MEMORY
)
_DATA_SHEET_TOLERANCES: dict[ElectricalQuantity, Tolerance] = {
    _Q.CAPACITANCE: _WITHIN_20,
}
_FIRST_TOLERANCES: dict[ElectricalQuantity, Tolerance] = {
    _Q.INSULATION_RESISTANCE: Tolerance(
        0.1, None, "a fall by a decade tells more than any single limit", MEMORY
    ),
    _Q.LEAD_INSULATION_RESISTANCE: Tolerance(
        0.1, None, "a fall by a decade tells more than any single limit", MEMORY
    ),
    _Q.CAPACITANCE: _WITHIN_20,
    _Q.DISSIPATION_FACTOR: Tolerance(None, 1.5, "piezo practice", PRACTICE),
    _Q.PEAK_OUTPUT: Tolerance.within_pct(
        30.0, "the same vehicle at a like speed and temperature", PRACTICE
    ),
    _Q.CHARGE_OUTPUT: Tolerance.within_pct(
        30.0, "the same vehicle at a like speed and temperature", PRACTICE
    ),
    _Q.SERIES_RESISTANCE: Tolerance(
        0.8, 1.5, "rising resistance is a failing joint", PRACTICE
    ),
    _Q.INDUCTANCE: Tolerance.within_pct(10.0, "loop practice", PRACTICE),
    _Q.QUALITY_FACTOR: Tolerance(0.7, None, "loop practice", PRACTICE),
    _Q.FREQUENCY: Tolerance.within_pct(10.0, "loop practice", PRACTICE),
    _Q.BRIDGE_INPUT_RESISTANCE: _BRIDGE_PRACTICE,
    _Q.BRIDGE_OUTPUT_RESISTANCE: _BRIDGE_PRACTICE,
    _Q.LEAD_LENGTH: Tolerance.within_pct(10.0, "lead practice", PRACTICE),
}


def data_sheet_tolerance(quantity: ElectricalQuantity) -> Tolerance | None:
    """How near to its own data sheet a sensor should read; None where nothing is known.

    The agency's own tolerance for the model comes first.
    """
    return _DATA_SHEET_TOLERANCES.get(quantity)


def first_readings_tolerance(quantity: ElectricalQuantity) -> Tolerance | None:
    """How near to its own first readings a sensor should stay; None where unknown.

    The agency's own tolerance for the model comes first.
    """
    return _FIRST_TOLERANCES.get(quantity)
