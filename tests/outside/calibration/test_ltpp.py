"""LTPP field validation: limits and rule from memory, worked figures computed by hand
as mean ± t(0.975, n−1)·sd."""

import pytest

from calibration.calc.standards.ltpp import RESEARCH, STANDARD
from calibration.calc.types import Quantity
from tests.calibration.calc.build import set_of, with_moments
from wimprog.lib.judgement import Verdict

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
