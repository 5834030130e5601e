"""Words of the trade that models store and people read."""

from __future__ import annotations

from enum import StrEnum


class Technology(StrEnum):
    """How a sensor senses."""

    POLYMER_PIEZO = "polymer piezo"
    QUARTZ_PIEZO = "quartz piezo"
    CERAMIC_PIEZO = "ceramic piezo"
    BENDING_PLATE = "bending plate"
    LOAD_CELL = "load cell"
    STRAIN_GAUGE_STRIP = "strain gauge strip"
    INDUCTIVE_LOOP = "inductive loop"
    TEMPERATURE_PROBE = "temperature probe"

    @property
    def weighs(self) -> bool:
        """Whether it gives a weight (loops and temperature probes do not)."""
        return self not in (Technology.INDUCTIVE_LOOP, Technology.TEMPERATURE_PROBE)


class EndReason(StrEnum):
    """Why an installation ended."""

    FAILED = "failed"
    REMOVED_WORKING = "removed while working"
    PAVEMENT_WORKS = "pavement works"
    SITE_RETIRED = "site retired"

    @property
    def is_failure(self) -> bool:
        """Only a failure counts as the end of a life; other endings censor it."""
        return self is EndReason.FAILED


class FailureMode(StrEnum):
    """What failed."""

    ELEMENT = "element"
    LEAD = "lead"
    SPLICE = "splice"
    GROUT_OR_BOND = "grout or bond"
    PAVEMENT = "pavement"
    SURGE = "surge"
    PLATE_OR_ANCHOR = "plate or anchor"
    UNKNOWN = "unknown"


class LifeOutcome(StrEnum):
    """How a life is known to have ended."""

    FAILED = "failed"
    CENSORED = "censored"


class ElectricalQuantity(StrEnum):
    """What is measured on a sensor: its unit, the scale of its trend, its sign."""

    unit: str
    on_log_scale: bool
    signed: bool

    INSULATION_RESISTANCE = "insulation resistance", "MΩ", True
    CAPACITANCE = "capacitance", "nF"
    DISSIPATION_FACTOR = "dissipation factor", ""
    PEAK_OUTPUT = "peak output", "mV"
    CHARGE_OUTPUT = "charge output", "pC"
    SERIES_RESISTANCE = "series resistance", "Ω"
    INDUCTANCE = "inductance", "µH"
    QUALITY_FACTOR = "quality factor", ""
    FREQUENCY = "frequency", "kHz"
    BRIDGE_INPUT_RESISTANCE = "bridge input resistance", "Ω"
    BRIDGE_OUTPUT_RESISTANCE = "bridge output resistance", "Ω"
    ZERO_OUTPUT = "zero output", "mV/V", False, True
    PROBE_RESISTANCE = "probe resistance", "Ω"
    LEAD_LENGTH = "lead length", "m"
    LEAD_INSULATION_RESISTANCE = "lead insulation resistance", "MΩ", True

    def __new__(
        cls,
        word: str,
        unit: str = "",
        on_log_scale: bool = False,
        signed: bool = False,
    ) -> ElectricalQuantity:
        """Keep the word as the value, the rest as attributes."""
        quantity = str.__new__(cls, word)
        quantity._value_ = word
        quantity.unit = unit
        quantity.on_log_scale = on_log_scale
        quantity.signed = signed
        return quantity

    @property
    def help_text(self) -> str:
        """How it is read, where the name alone leaves that open."""
        return _HOW_READ.get(self, "")


_Q = ElectricalQuantity
_HOW_READ = {
    _Q.PEAK_OUTPUT: "Highest output as the test vehicle's wheel passes.",
    _Q.CHARGE_OUTPUT: "Charge as the test vehicle's wheel passes, or by the maker's "
    "own check.",
    _Q.BRIDGE_INPUT_RESISTANCE: "Across the excitation leads.",
    _Q.BRIDGE_OUTPUT_RESISTANCE: "Across the signal leads.",
    _Q.ZERO_OUTPUT: "With no wheel on it; below zero with a minus sign.",
    _Q.LEAD_INSULATION_RESISTANCE: "Of the lead alone, with the sensor disconnected.",
}
_LEAD = (_Q.LEAD_LENGTH, _Q.LEAD_INSULATION_RESISTANCE)
_PIEZO = (
    _Q.INSULATION_RESISTANCE,
    _Q.CAPACITANCE,
    _Q.DISSIPATION_FACTOR,
    _Q.PEAK_OUTPUT,
    *_LEAD,
)
_BRIDGE = (
    _Q.INSULATION_RESISTANCE,
    _Q.BRIDGE_INPUT_RESISTANCE,
    _Q.BRIDGE_OUTPUT_RESISTANCE,
    _Q.ZERO_OUTPUT,
    *_LEAD,
)
#: What is usually measured on each technology, in the order of the form.
USUAL_QUANTITIES: dict[Technology, tuple[ElectricalQuantity, ...]] = {
    Technology.POLYMER_PIEZO: _PIEZO,
    Technology.QUARTZ_PIEZO: (
        _Q.INSULATION_RESISTANCE,
        _Q.CAPACITANCE,
        _Q.CHARGE_OUTPUT,
        *_LEAD,
    ),
    Technology.CERAMIC_PIEZO: _PIEZO,
    Technology.BENDING_PLATE: _BRIDGE,
    Technology.LOAD_CELL: _BRIDGE,
    Technology.STRAIN_GAUGE_STRIP: _BRIDGE,
    Technology.INDUCTIVE_LOOP: (
        _Q.INSULATION_RESISTANCE,
        _Q.SERIES_RESISTANCE,
        _Q.INDUCTANCE,
        _Q.QUALITY_FACTOR,
        _Q.FREQUENCY,
        *_LEAD,
    ),
    Technology.TEMPERATURE_PROBE: (_Q.INSULATION_RESISTANCE, _Q.PROBE_RESISTANCE),
}


class TestStage(StrEnum):
    """When in the life of an installation a test was made."""

    __test__ = False  # the name starts with Test, but pytest must not collect it

    BENCH = "bench"
    IN_SLOT = "in slot"
    AFTER_GROUT = "after grout"
    AFTER_LEAD_IN = "after lead-in"
    VISIT = "visit"


class VisitPurpose(StrEnum):
    """Why somebody went to the site."""

    ROUTINE_CHECK = "routine check"
    FAULT = "fault"
    REPAIR = "repair"
    INSTALLATION = "installation"
    REMOVAL = "removal"
    CALIBRATION = "calibration"
    CABINET_WORK = "cabinet work"
    OTHER = "other"


class FitMethod(StrEnum):
    """How a life curve was fitted."""

    MAXIMUM_LIKELIHOOD = "maximum likelihood"
    WITH_PRIOR = "with prior"
