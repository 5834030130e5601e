"""Values that an agency may set: which there are, what is refused, what is said."""

import math

import pytest

from calibration.calc.standards import all_standards, find_standard
from calibration.calc.standards.base import (
    CONFIRMED,
    FROM_MEMORY,
    Conditions,
    editable_values,
    values_in_use,
)
from calibration.calc.types import Quantity
from tests.calibration.calc.build import errors_of, set_of
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

KEYS = tuple(all_standards())
POLICY = "Orrin Valley Roads Agency, calibration policy, clause 4"


def agency(key, **values):
    return Conditions(
        agency_values={key: {name: (value, POLICY) for name, value in values.items()}}
    )


@pytest.mark.parametrize("key", KEYS)
def test_every_value_names_itself_its_unit_and_its_place(key):
    values = editable_values(find_standard(key))
    assert values
    assert len({one.key for one in values}) == len(values)
    for one in values:
        assert one.name
        assert one.source
        assert one.standing == FROM_MEMORY
        assert one.value > 0
        assert one.unit or one.is_whole or "multiple" in one.name
        assert one.checked(one.value, POLICY) == one.value


@pytest.mark.parametrize("key", KEYS)
def test_a_value_nobody_knows_is_refused_with_those_there_are(key):
    with pytest.raises(DomainError, match="has no value “width” to set"):
        find_standard(key).judge(errors_of([1.0]), conditions=agency(key, width=1.0))


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, 101.0])
def test_a_value_that_cannot_be_is_refused(value):
    with pytest.raises(DomainError, match="Expected a number above zero and at most 1"):
        find_standard("ltpp").judge(
            errors_of([1.0]), conditions=agency("ltpp", gross_weight=value)
        )


def test_a_count_is_whole_and_a_value_has_a_source():
    standard = find_standard("ltpp")
    with pytest.raises(DomainError, match="a whole number above zero"):
        standard.judge(errors_of([1.0]), conditions=agency("ltpp", advised_runs=12.5))
    nowhere = Conditions(agency_values={"ltpp": {"gross_weight": (8.0, "  ")}})
    with pytest.raises(DomainError, match="say where 8 % comes from"):
        standard.judge(errors_of([1.0]), conditions=nowhere)


OVERRIDES = [
    # standard, class, values, criterion, errors, verdict without, verdict with
    ("astm-e1318", "Type III", {"type_iii_gross_weight": 8.0}, 7.0, "misses", "meets"),
    ("ltpp", "research quality", {"gross_weight": 6.0}, 7.0, "meets", "misses"),
    ("nist-hb44", "Class A", {"gross_weight": 6.0}, 7.0, "meets", "misses"),
    ("oiml-r134", "5", {"mass_5_service": 8.0}, 7.0, "misses", "meets"),
]


@pytest.mark.parametrize(
    ("key", "name", "values", "error", "plain", "own"),
    OVERRIDES,
    ids=lambda case: str(case),
)
def test_the_agencys_own_value_judges_and_says_so(key, name, values, error, plain, own):
    standard = find_standard(key)
    errors = set_of({Quantity.GROSS_WEIGHT: [error] * 40})
    before = standard.judge(errors, wanted_class=name)
    gross = before.judgement_of("gross weight")
    assert gross.verdict.value == plain
    assert "not checked against the document" in gross.standing
    assert "agency's own" not in gross.limit
    after = standard.judge(errors, wanted_class=name, conditions=agency(key, **values))
    gross = after.judgement_of("gross weight")
    assert gross.verdict.value == own
    assert "agency's own" in gross.limit
    assert gross.standing.startswith("agency's own: ")
    assert POLICY in gross.standing
    assert POLICY in after.overall.standing
    assert any(POLICY in note for note in after.notes)


def test_what_the_agency_left_alone_keeps_its_standing():
    errors = set_of({Quantity.GROSS_WEIGHT: [1.0] * 40, Quantity.AXLE: [1.0] * 40})
    found = find_standard("astm-e1318").judge(
        errors,
        wanted_class="Type III",
        conditions=agency("astm-e1318", type_iii_gross_weight=8.0),
    )
    assert found.judgement_of("axle").standing == FROM_MEMORY
    type_i = find_standard("astm-e1318").judge(errors, wanted_class="Type I")
    assert type_i.judgement_of("axle").standing == CONFIRMED


def test_half_the_agencys_own_names_the_rest():
    """Handbook 44 rests on a tolerance and a share; here only the share is set."""
    found = find_standard("nist-hb44").judge(
        set_of({Quantity.GROSS_WEIGHT: [12.0] * 4 + [1.0] * 36}),
        conditions=agency("nist-hb44", share_within=90.0),
    )
    gross = found.judgement_of("gross weight")
    assert gross.verdict is Verdict.MEETS
    assert gross.limit == "±10 % for 90 % of values"
    assert "the rest from memory: not checked against the document" in gross.standing


def test_a_value_of_another_standard_changes_nothing():
    values = values_in_use(find_standard("cost-323"), agency("ltpp", gross_weight=1.0))
    assert values["min_vehicle_kg"] == 3500.0
    assert values.notes() == ()


def test_type_iv_and_speed_have_pairs_that_are_set_apart():
    """Setting the pounds leaves the kilograms alone."""
    own = agency("astm-e1318", type_iv_axle_within_lb=10.0, speed_low_mph=55.0)
    us = find_standard("astm-e1318").judge(
        errors_of([0.4] * 20, speed_kmh=80.0), wanted_class="Type IV", conditions=own
    )
    assert us.judgement_of("axle").verdict is Verdict.MISSES
    metric = Conditions(unit_system=UnitSystem.SI, agency_values=own.agency_values)
    si = find_standard("astm-e1318").judge(
        errors_of([0.4] * 20, speed_kmh=80.0),
        wanted_class="Type IV",
        conditions=metric,
    )
    assert si.judgement_of("axle").verdict is Verdict.MEETS
    slow = find_standard("astm-e1318").judge(
        errors_of([0.4] * 20, speed_kmh=80.0), wanted_class="Type I", conditions=own
    )
    assert any("55 to 80 mph" in note for note in slow.notes)


def test_cost_light_bounds_are_the_agencys_where_set():
    errors = set_of({Quantity.GROSS_WEIGHT: [0.5, -0.5] * 20})
    heavy_only = agency("cost-323", min_vehicle_kg=40000.0)
    found = find_standard("cost-323").judge(errors, conditions=heavy_only)
    gross = found.judgement_of("gross weight")
    assert gross.n == 0
    assert "up to 40 t" in gross.sentence
    assert gross.standing.startswith("agency's own: lightest vehicle judged")
