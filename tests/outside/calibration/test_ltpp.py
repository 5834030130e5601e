"""LTPP field validation: limits and rule from memory, worked figures computed by hand
as mean ± t(0.975, n−1)·sd."""

import pytest

from calibration.calc.standards.ltpp import RESEARCH, STANDARD, limit_of
from calibration.calc.types import Quantity
from tests.calibration.calc.build import errors_of, set_of, with_moments
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

EXAMPLES = [
    (Quantity.GROSS_WEIGHT, 40, 1.2, 3.5, -5.88, 8.28),
    (Quantity.SINGLE_AXLE, 40, -2.1, 5.2, -12.62, 8.42),
    (Quantity.AXLE_GROUP, 80, 0.8, 4.6, -8.36, 9.96),
]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: str(example[0]))
def test_worked_intervals_pass(example):
    quantity, n, mean, sd, low, high = example
    errors = {Quantity.GROSS_WEIGHT: [0.1, -0.1] * 20}
    errors[quantity] = with_moments(n, mean, sd)
    verdict = STANDARD.judge(set_of(errors))
    judged = verdict.judgement_of(quantity)
    assert judged.interval.low == pytest.approx(low, abs=0.005)
    assert judged.interval.high == pytest.approx(high, abs=0.005)
    assert judged.n == n
    assert judged.verdict is Verdict.MEETS
    assert verdict.attained_class == RESEARCH


def test_the_whole_interval_must_lie_inside():
    """Every run inside ±10 %, but the interval of single passes is not."""
    values = with_moments(40, 5.0, 2.7)
    assert max(abs(value) for value in values) < 10
    verdict = STANDARD.judge(set_of({Quantity.GROSS_WEIGHT: values}))
    assert verdict.verdict is Verdict.MISSES
    assert verdict.attained_class is None


def test_limits():
    """Single axle 20, group 15, gross 10 %; 1 mph (2 km/h); 0.5 ft (150 mm)."""
    weights = (Quantity.SINGLE_AXLE, Quantity.AXLE_GROUP, Quantity.GROSS_WEIGHT)
    assert [limit_of(one)[0] for one in weights] == [20, 15, 10]
    for quantity, us, si in (
        (Quantity.SPEED, 1.609344, 2.0),
        (Quantity.AXLE_SPACING, 0.1524, 0.15),
    ):
        assert limit_of(quantity, UnitSystem.US)[0] == pytest.approx(us)
        assert limit_of(quantity, UnitSystem.SI)[0] == pytest.approx(si)


def test_margin_is_the_nearer_end_of_the_interval():
    """n 40, mean 1.2, sd 3.5: −5.88 to 8.28, so 10 − 8.28 = 1.72 inside."""
    verdict = STANDARD.judge(
        set_of({Quantity.GROSS_WEIGHT: with_moments(40, 1.2, 3.5)})
    )
    details = dict(verdict.judgement_of("gross weight").details)
    assert details["margin"] == pytest.approx(1.72, abs=0.005)
    assert details["margin unit"] == "%"


def test_a_validation_spreads_its_speeds_and_temperatures():
    """Three speeds and about 30 °F of pavement temperature (from memory)."""
    narrow = errors_of([1.0, -1.0] * 20, speed_kmh=80.0, pavement_temp_c=20.0)
    text = " ".join(STANDARD.judge(narrow).notes)
    assert "driven at 1 speed; 3 across" in text
    assert "span 0 °F; 30 °F or more" in text
