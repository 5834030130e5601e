"""The rules of the diagnosis, as data.

Common practice of people who test sensors, in our own words; no published table of such
rules is known, and each rule says so. Ratios are to the sensor's own first readings
with the lead-in on, else to its data sheet, else to its bench reading.
"""

from __future__ import annotations

from installs.calc.types import ElectricalQuantity, Technology
from installs.calc.types.diagnosis import Basis, Cause, Rule, Sign

PRACTICE = "common practice, no source"
MEMORY = "from memory"

_Q = ElectricalQuantity
_T = Technology
_PIEZO = frozenset({_T.POLYMER_PIEZO, _T.QUARTZ_PIEZO, _T.CERAMIC_PIEZO})
_BRIDGE = frozenset({_T.BENDING_PLATE, _T.LOAD_CELL, _T.STRAIN_GAUGE_STRIP})
_LOOP = frozenset({_T.INDUCTIVE_LOOP})
_PROBE = frozenset({_T.TEMPERATURE_PROBE})
_SENSORS = _PIEZO | _BRIDGE | _PROBE

#: A short, core to shield or gauge to ground [MΩ]; a loop to ground.
SHORT_MOHM = 0.1
LOOP_SHORT_MOHM = 1.0
#: Halving every year or faster, log10(1/2).
HALVING_DECADES = -0.301


def _ratio(
    quantity: ElectricalQuantity, low: float | None = None, high: float | None = None
) -> Sign:
    return Sign(quantity, Basis.RATIO, low, high)


_A_DECADE_DOWN = _ratio(_Q.INSULATION_RESISTANCE, high=0.1)
_LEAD_A_DECADE_DOWN = _ratio(_Q.LEAD_INSULATION_RESISTANCE, high=0.1)
_FALLING = Sign(_Q.INSULATION_RESISTANCE, Basis.DECADES, high=HALVING_DECADES)
_SHORTED = Sign(_Q.INSULATION_RESISTANCE, Basis.VALUE, high=SHORT_MOHM)
_LEAD_SHORTED = Sign(_Q.LEAD_INSULATION_RESISTANCE, Basis.VALUE, high=SHORT_MOHM)
_LOOP_SHORTED = Sign(_Q.INSULATION_RESISTANCE, Basis.VALUE, high=LOOP_SHORT_MOHM)
_LESS_CAPACITANCE = _ratio(_Q.CAPACITANCE, high=0.8)
_MORE_CAPACITANCE = _ratio(_Q.CAPACITANCE, low=1.2)
_LOSSY = _ratio(_Q.DISSIPATION_FACTOR, low=1.5)
_PART_GONE = _ratio(_Q.CAPACITANCE, high=0.6)

_PARTS_APART = (
    "Take the lead off at the splice or pit nearest the sensor and measure both sides "
    "alone: the side that still reads badly holds the fault."
)
_DRY_AND_REPEAT = (
    "Dry and clean the lead's end in the cabinet, guard it from sun and damp, and "
    "measure again: a wet or dirty end reads like a wet lead."
)
_SHORT_NEXT = (
    "Disconnect surge protection and electronics and measure the lead alone.",
    _PARTS_APART,
)
_WATER_NEXT = (
    _DRY_AND_REPEAT,
    _PARTS_APART,
    "Open the splice and the conduit's mouth and look for standing water; note rain in "
    "the days before, and test again after dry weather.",
)
_WATER_COULD = (
    "a damp connector or surge protector in the cabinet; condensation on a cold "
    "morning; a hot pavement, which lowers insulation by itself; a crushed element "
    "that lets water in"
)

RULES: tuple[Rule, ...] = (
    Rule(
        cause=Cause.SHORT,
        technologies=_SENSORS,
        any_of=(_SHORTED, _LEAD_SHORTED),
        could_be="a failed surge protector or a bridged connector in the cabinet; a "
        "crushed element; a lead cut by a saw or by planing",
        test_next=_SHORT_NEXT,
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.SHORT,
        technologies=_LOOP,
        any_of=(_LOOP_SHORTED, _LEAD_SHORTED),
        could_be="a failed surge protector in the cabinet; wire pulled bare on the "
        "edge of its slot; a lead cut by a saw or by planing",
        test_next=_SHORT_NEXT,
        standing=MEMORY,
    ),
    Rule(
        cause=Cause.SHORT,
        technologies=_LOOP,
        all_of=(_ratio(_Q.INDUCTANCE, high=0.85),),
        could_be="turns shorted to each other; steel brought near the loop (a plate, a "
        "parked vehicle); another test frequency than at first",
        test_next=(
            "Measure again with no vehicle near and at the first test's frequency.",
            "Hold the inductance against that of the loop's size and turns, plus the "
            "lead's.",
            _PARTS_APART,
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.SHORT,
        technologies=_BRIDGE,
        any_of=(
            _ratio(_Q.BRIDGE_INPUT_RESISTANCE, high=0.5),
            _ratio(_Q.BRIDGE_OUTPUT_RESISTANCE, high=0.5),
        ),
        could_be="two lead conductors touching in a splice or connector; a shorted "
        "completion resistor in the cabinet",
        test_next=_SHORT_NEXT,
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.SHORT,
        technologies=_PROBE,
        all_of=(_ratio(_Q.PROBE_RESISTANCE, high=0.1),),
        could_be="conductors touching in a splice; the wrong pair measured",
        test_next=_SHORT_NEXT,
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.OPEN_LEAD,
        technologies=_PIEZO,
        all_of=(_PART_GONE,),
        unless=(_SHORTED, _A_DECADE_DOWN),
        could_be="a clip that did not bite; a connector come loose in the cabinet; an "
        "element torn through in its slot",
        test_next=(
            "Measure again with clean clips, straight on the conductors.",
            "Measure at the splice or pit nearest the sensor: back to the first value "
            "there, the break lies towards the cabinet; still low, beyond.",
            "Hold what is left against the lead's own capacitance for each metre of "
            "it: that tells how far away the break is.",
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.OPEN_LEAD,
        technologies=_BRIDGE,
        any_of=(
            _ratio(_Q.BRIDGE_INPUT_RESISTANCE, low=2.0),
            _ratio(_Q.BRIDGE_OUTPUT_RESISTANCE, low=2.0),
        ),
        could_be="a loose terminal; a corroded splice; a broken gauge",
        test_next=(
            "Tighten and clean the terminals, then measure again.",
            "Measure every pair of conductors: the pair that reads open names the "
            "broken conductor.",
            _PARTS_APART,
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.OPEN_LEAD,
        technologies=_LOOP,
        any_of=(
            _ratio(_Q.SERIES_RESISTANCE, low=10.0),
            Sign(_Q.SERIES_RESISTANCE, Basis.VALUE, low=1000.0),
        ),
        could_be="a loose terminal in the cabinet; a splice pulled apart; a loop cut "
        "by a crack or by planing",
        test_next=(
            "Tighten and clean the terminals, then measure again.",
            _PARTS_APART,
            "Walk the loop's slot from a safe place and look for cracks across it.",
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.OPEN_LEAD,
        technologies=_PROBE,
        all_of=(_ratio(_Q.PROBE_RESISTANCE, low=5.0),),
        could_be="a loose terminal; the wrong pair measured; a broken probe",
        test_next=("Tighten and clean the terminals, then measure again.",),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.JOINT,
        technologies=_LOOP,
        all_of=(_ratio(_Q.SERIES_RESISTANCE, low=1.5, high=9.999),),
        supports=(_ratio(_Q.QUALITY_FACTOR, high=0.7),),
        could_be="a loose terminal in the cabinet; the meter's own leads not zeroed; a "
        "longer lead since the first test",
        test_next=(
            "Zero the meter with its clips together, then measure again.",
            "Open the splice, remake it, and measure before and after.",
        ),
        standing=MEMORY,
    ),
    Rule(
        cause=Cause.CRUSHED,
        technologies=_PIEZO,
        all_of=(_A_DECADE_DOWN,),
        any_of=(_LESS_CAPACITANCE, _MORE_CAPACITANCE),
        unless=(_SHORTED,),
        supports=(
            _LOSSY,
            _ratio(_Q.PEAK_OUTPUT, high=0.7),
            _ratio(_Q.CHARGE_OUTPUT, high=0.7),
        ),
        could_be="water along the whole lead, which moves both too; a wrong range on "
        "the capacitance meter",
        test_next=(
            _PARTS_APART,
            "From a safe place, look along the slot for ruts, potholes, loose grout "
            "and marks of planing.",
            "With the lane closed, load the sensor at several places along its length: "
            "a stretch without output is where it is crushed.",
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.CRUSHED,
        technologies=_BRIDGE,
        any_of=(
            _ratio(_Q.BRIDGE_INPUT_RESISTANCE, low=1.01, high=1.999),
            _ratio(_Q.BRIDGE_INPUT_RESISTANCE, low=0.501, high=0.99),
            _ratio(_Q.BRIDGE_OUTPUT_RESISTANCE, low=1.01, high=1.999),
            _ratio(_Q.BRIDGE_OUTPUT_RESISTANCE, low=0.501, high=0.99),
            Sign(_Q.ZERO_OUTPUT, Basis.SHIFT, low=0.2),
        ),
        could_be="a corroded joint in the lead; a wheel or a stone on the plate while "
        "zero was read; a much hotter or colder day than at first",
        test_next=(
            "Read zero again with the lane empty and the plate swept.",
            "Measure every pair of conductors and hold the bridge's arms against each "
            "other: one arm off names a strained gauge, all of them a lead.",
            "Load it with a known wheel and hold the output against the first one.",
        ),
        standing=PRACTICE,
    ),
    Rule(
        cause=Cause.WATER,
        technologies=_PIEZO,
        any_of=(_A_DECADE_DOWN, _FALLING, _LEAD_A_DECADE_DOWN),
        unless=(_SHORTED, _LEAD_SHORTED, _LESS_CAPACITANCE, _MORE_CAPACITANCE),
        supports=(_LOSSY,),
        could_be=_WATER_COULD,
        test_next=_WATER_NEXT,
        standing=MEMORY,
    ),
    Rule(
        cause=Cause.WATER,
        technologies=_BRIDGE | _PROBE,
        any_of=(_A_DECADE_DOWN, _FALLING, _LEAD_A_DECADE_DOWN),
        unless=(_SHORTED, _LEAD_SHORTED),
        supports=(Sign(_Q.ZERO_OUTPUT, Basis.SHIFT, low=0.05),),
        could_be=_WATER_COULD,
        test_next=_WATER_NEXT,
        standing=MEMORY,
    ),
    Rule(
        cause=Cause.WATER,
        technologies=_LOOP,
        any_of=(_A_DECADE_DOWN, _FALLING, _LEAD_A_DECADE_DOWN),
        unless=(_LOOP_SHORTED, _LEAD_SHORTED),
        supports=(_ratio(_Q.QUALITY_FACTOR, high=0.7),),
        could_be=_WATER_COULD,
        test_next=_WATER_NEXT,
        standing=MEMORY,
    ),
    Rule(
        cause=Cause.BOND,
        technologies=_PIEZO,
        any_of=(
            _ratio(_Q.PEAK_OUTPUT, high=0.7),
            _ratio(_Q.CHARGE_OUTPUT, high=0.7),
        ),
        unless=(_SHORTED, _A_DECADE_DOWN, _LESS_CAPACITANCE, _MORE_CAPACITANCE),
        could_be="another test vehicle, speed or wheel path than at first; a much "
        "colder pavement; a crushed stretch; a changed amplifier setting",
        test_next=(
            "Repeat with the first test's vehicle, speed and wheel path, at a like "
            "pavement temperature.",
            "With the lane closed, tap along the grout: a hollow sound is where it has "
            "let go; look for a gap or crack along its edge.",
        ),
        standing=PRACTICE,
    ),
)


def rules_for(technology: Technology) -> tuple[Rule, ...]:
    """The rules of a technology, in the order in which their findings are told."""
    return tuple(rule for rule in RULES if technology in rule.technologies)
