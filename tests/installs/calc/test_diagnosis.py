"""What tests point to: each rule once, each way of saying nothing, suspect readings."""

from datetime import date, timedelta

import pytest

from installs.calc.diagnosis import diagnose
from installs.calc.diagnosis_rules import RULES, rules_for
from installs.calc.electrical import electrical_trend
from installs.calc.types import DatedReading, ElectricalQuantity, Technology
from installs.calc.types.diagnosis import (
    Cause,
    InstrumentFacts,
    PeerReading,
    SensorEvidence,
)

Q = ElectricalQuantity
FIRST = date(2031, 5, 14)
T = Technology


def series(*values, every=200):
    found = []
    for i, value in enumerate(values):
        over = isinstance(value, str)
        number = float(value.removeprefix(">")) if over else float(value)
        found.append(DatedReading(FIRST + timedelta(days=every * i), number, over))
    return tuple(found)


def evidence(technology=T.POLYMER_PIEZO, *, trends=False, more=None, **values):
    readings = {
        ElectricalQuantity(name.replace("_", " ")): series(*told)
        for name, told in values.items()
    }
    followed = {q: electrical_trend(q, r) for q, r in readings.items()}
    return SensorEvidence(
        technology=technology,
        readings=readings,
        trends=followed if trends else {},
        **(more or {}),
    )


def causes(found):
    return [one.cause for one in found.findings]


# --- rules -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("technology", "values", "cause"),
    [
        (T.POLYMER_PIEZO, {"insulation_resistance": (900, 0.05)}, Cause.SHORT),
        (T.POLYMER_PIEZO, {"lead_insulation_resistance": (900, 0.05)}, Cause.SHORT),
        (T.INDUCTIVE_LOOP, {"insulation_resistance": (900, 0.9)}, Cause.SHORT),
        (T.INDUCTIVE_LOOP, {"inductance": (121, 95)}, Cause.SHORT),
        (T.LOAD_CELL, {"bridge_input_resistance": (372, 100)}, Cause.SHORT),
        (T.TEMPERATURE_PROBE, {"probe_resistance": (108, 2)}, Cause.SHORT),
        (
            T.POLYMER_PIEZO,
            {"capacitance": (8, 3), "insulation_resistance": (900, 800)},
            Cause.OPEN_LEAD,
        ),
        (T.BENDING_PLATE, {"bridge_output_resistance": (350, 9000)}, Cause.OPEN_LEAD),
        (T.INDUCTIVE_LOOP, {"series_resistance": (3, 40)}, Cause.OPEN_LEAD),
        (T.TEMPERATURE_PROBE, {"probe_resistance": (108, 9000)}, Cause.OPEN_LEAD),
        (T.INDUCTIVE_LOOP, {"series_resistance": (3, 6)}, Cause.JOINT),
        (
            T.QUARTZ_PIEZO,
            {"capacitance": (1.1, 1.4), "insulation_resistance": (900, 20)},
            Cause.CRUSHED,
        ),
        (T.LOAD_CELL, {"bridge_input_resistance": (372, 380)}, Cause.CRUSHED),
        (T.STRAIN_GAUGE_STRIP, {"zero_output": (-0.01, -0.3)}, Cause.CRUSHED),
        (
            T.POLYMER_PIEZO,
            {"capacitance": (8, 8.1), "insulation_resistance": (900, 20)},
            Cause.WATER,
        ),
        (T.BENDING_PLATE, {"insulation_resistance": (900, 20)}, Cause.WATER),
        (T.INDUCTIVE_LOOP, {"insulation_resistance": (900, 20)}, Cause.WATER),
        (
            T.POLYMER_PIEZO,
            {"peak_output": (300, 150), "capacitance": (8, 8)},
            Cause.BOND,
        ),
        (T.QUARTZ_PIEZO, {"charge_output": (300, 150)}, Cause.BOND),
    ],
)
def test_each_rule_finds_its_cause(technology, values, cause):
    found = diagnose(evidence(technology, **values))
    assert causes(found) == [cause]
    assert found.word == "points to a fault"
    (finding,) = found.findings
    assert finding.evidence
    assert all(one.n >= 1 for one in finding.evidence)
    assert finding.test_next
    assert finding.could_be
    assert finding.standing in ("common practice, no source", "from memory")
    assert str(cause) in finding.sentence
    assert "n " in finding.sentence


def test_evidence_names_value_day_ratio_and_reference():
    found = diagnose(evidence(capacitance=(8, 8), insulation_resistance=(800, 4)))
    (finding,) = found.findings
    (seen,) = finding.evidence
    assert seen.text == (
        "insulation resistance 4 MΩ on 2031-11-30, 0.005 times its first readings "
        "(800 MΩ on 2031-05-14)"
    )
    assert seen.n == 2


def test_supporting_signs_are_told_and_decide_nothing():
    wet = evidence(insulation_resistance=(800, 4), dissipation_factor=(0.02, 0.04))
    (finding,) = diagnose(wet).findings
    assert len(finding.evidence) == 2
    lossy = evidence(insulation_resistance=(800, 700), dissipation_factor=(0.02, 0.04))
    assert causes(diagnose(lossy)) == []


def test_insulation_that_halves_every_year_points_to_water_before_any_limit():
    """× 0.4 a year: 10 ** -0.398; halving is 10 ** -0.301."""
    falling = [1000 * 0.4 ** (i / 2) for i in range(6)]
    found = diagnose(evidence(trends=True, insulation_resistance=falling[:4]))
    assert causes(found) == [Cause.WATER]
    assert "a year" in found.findings[0].evidence[0].text
    assert found.findings[0].evidence[0].n == 4
    steady = diagnose(evidence(trends=True, insulation_resistance=(900, 880, 910, 890)))
    assert causes(steady) == []


def test_first_readings_above_the_range_can_only_be_higher():
    assert causes(diagnose(evidence(insulation_resistance=(">2000", 150)))) == [
        Cause.WATER
    ]
    told = diagnose(evidence(insulation_resistance=(">2000", 150))).findings[0]
    assert "less than 0.075 times its first readings (above 2,000 MΩ" in told.sentence
    assert causes(diagnose(evidence(insulation_resistance=(">2000", 900)))) == []
    both = diagnose(evidence(insulation_resistance=(">2000", ">2000")))
    assert causes(both) == []


def test_a_data_sheet_or_a_bench_reading_stands_in_for_first_readings():
    sheet = {"data_sheet": {Q.CAPACITANCE: 8.0}}
    found = diagnose(evidence(capacitance=(3,), more=sheet))
    assert causes(found) == [Cause.OPEN_LEAD]
    assert "its data sheet's 8 nF" in found.findings[0].sentence
    bench = {"bench": {Q.CAPACITANCE: DatedReading(FIRST, 8.0)}}
    found = diagnose(evidence(capacitance=(3,), more=bench))
    assert "its reading before the lead-in (8 nF" in found.findings[0].sentence


# --- nothing, and cannot say -------------------------------------------------------


def test_nothing_points_to_a_fault():
    sound = evidence(
        insulation_resistance=(900, 800),
        lead_insulation_resistance=(900, 800),
        capacitance=(8, 8.1),
        peak_output=(300, 290),
        dissipation_factor=(0.02, 0.02),
    )
    found = diagnose(sound)
    assert found.word == "nothing points to a fault"
    assert "Nothing points to a fault in 10 readings." in found.sentence
    assert found.n_readings == 10


def test_open_rules_are_counted():
    found = diagnose(evidence(insulation_resistance=(900, 800)))
    assert found.word == "nothing points to a fault"
    assert found.n_open > 0
    assert f"{found.n_open} of {found.n_rules} rules stay open" in found.sentence


def test_one_reading_is_not_enough():
    found = diagnose(evidence(insulation_resistance=(900,), capacitance=(8,)))
    assert found.word == "cannot say"
    assert "only one reading of each quantity" in found.sentence


def test_one_reading_is_enough_for_a_short():
    found = diagnose(evidence(insulation_resistance=(0.01,)))
    assert causes(found) == [Cause.SHORT]


def test_no_reading_and_nothing_of_use():
    assert "no test with the lead-in on" in diagnose(evidence()).sentence
    assert diagnose(evidence()).word == "cannot say"
    useless = diagnose(evidence(frequency=(40, 41)))
    assert useless.word == "cannot say"
    assert "leaves every rule open" in useless.sentence


def test_every_technology_has_rules_that_say_what_to_do():
    for technology in Technology:
        assert rules_for(technology), technology
    for rule in RULES:
        assert rule.all_of or rule.any_of
        assert rule.test_next
        assert rule.could_be
        assert rule.standing


# --- suspect readings and instruments ----------------------------------------------


def test_a_slipped_decimal_point_is_doubted_first():
    found = diagnose(evidence(capacitance=(8.0, 8.1, 8.05, 81.0)))
    assert causes(found)[0] == Cause.READING
    assert "10.1 times the middle of the 3 readings" in found.findings[0].sentence
    small = evidence(T.INDUCTIVE_LOOP, inductance=(121, 120, 122, 0.121))
    assert causes(diagnose(small))[0] == Cause.READING
    assert Cause.READING not in causes(diagnose(evidence(capacitance=(8, 8, 24))))
    assert Cause.READING not in causes(diagnose(evidence(capacitance=(8, 80))))


def peers(quantity, *pairs):
    return tuple(
        PeerReading(f"sensor {i}", quantity, value, before=before)
        for i, (before, value) in enumerate(pairs)
    )


def suspected(found_peers, **more):
    found = diagnose(evidence(capacitance=(8, 8), more={"peers": found_peers, **more}))
    return [one for one in found.findings if one.cause == Cause.INSTRUMENT]


def test_all_sensors_of_a_visit_off_by_one_factor():
    (finding,) = suspected(peers(Q.CAPACITANCE, (8, 9.6), (9, 10.8), (7.5, 9.1)))
    assert "of all 3 sensors tested that day is 1.2 to 1.21 times" in finding.sentence
    assert "hotter" in finding.could_be
    assert not suspected(peers(Q.CAPACITANCE, (8, 9.6), (9, 10.8)))  # two only
    assert not suspected(peers(Q.CAPACITANCE, (8, 9.6), (9, 9.0), (7.5, 9.0)))
    assert not suspected(peers(Q.CAPACITANCE, (8, 8.2), (9, 9.3), (7.5, 7.7)))
    wet = peers(Q.INSULATION_RESISTANCE, (900, 450), (800, 420), (700, 360))
    assert not suspected(wet)  # a factor of two is weather
    broken = peers(Q.INSULATION_RESISTANCE, (900, 9), (800, 8.2), (700, 7))
    assert suspected(broken)


def test_values_that_repeat_from_sensor_to_sensor():
    same = (8, 8.08), (9, 8.08), (7, 8.08)
    losses = peers(Q.DISSIPATION_FACTOR, (0.02, 0.019), (0.018, 0.019), (0.02, 0.019))
    (finding,) = suspected((*peers(Q.CAPACITANCE, *same), *losses))
    assert "all 3 sensors tested that day show the same" in finding.sentence
    assert finding.evidence[0].n == 6
    assert not suspected(peers(Q.CAPACITANCE, *same))  # one quantity may be chance


def test_values_that_repeat_from_test_to_test():
    frozen = evidence(
        capacitance=(8.1, 8.08, 8.08, 8.08, 8.08),
        insulation_resistance=(900, 812, 812, 812, 812),
    )
    (finding,) = diagnose(frozen).findings
    assert finding.cause == Cause.INSTRUMENT
    assert "its last 4 tests all show" in finding.sentence
    above = evidence(
        capacitance=(8.08, 8.08, 8.08, 8.08),
        insulation_resistance=(">2000", ">2000", ">2000", ">2000"),
    )
    assert diagnose(above).findings == ()


@pytest.mark.parametrize(
    ("until", "doubted"),
    [(date(2031, 5, 13), True), (date(2031, 5, 14), False), (None, False)],
)
def test_an_instrument_past_its_calibration(until, doubted):
    used = InstrumentFacts("insulation tester no. 3", FIRST, until)
    found = suspected((), instrument=used)
    assert bool(found) == doubted
    if doubted:
        assert "its calibration ended on 2031-05-13" in found[0].sentence
