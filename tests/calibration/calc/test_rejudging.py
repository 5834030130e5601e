"""Many sessions at once give what each gives by itself, to the last digits."""

import numpy as np
import pytest

from calibration.calc.many_rules import t_quantiles
from calibration.calc.many_sessions import FlatErrors, flatten_sessions, session_moments
from calibration.calc.rejudging import rejudge
from calibration.calc.run_errors import run_errors
from calibration.calc.standards import find_standard
from calibration.calc.standards.base import Conditions
from calibration.calc.statistics import t_quantile
from calibration.calc.types import EnvironmentPlan, Quantity, TestPlan
from tests.calibration.calc.build import errors_of, run_of, truck
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict
from wimprog.lib.units import UnitSystem

CASES = [
    ("astm-e1318", "Type I"),
    ("astm-e1318", "Type II"),
    ("astm-e1318", "Type III"),
    ("astm-e1318", "Type IV"),
    ("cost-323", "B(10)"),
    ("cost-323", "C(15)"),
    ("ltpp", "research quality"),
    ("nist-hb44", "Class A"),
]
CONDITIONS = [
    Conditions(),
    Conditions(
        plan=TestPlan.EXTENDED_REPEATABILITY,
        environment=EnvironmentPlan.FULL_REPRODUCIBILITY,
        is_initial=True,
        unit_system=UnitSystem.SI,
        agency_values={
            "astm-e1318": {"type_iii_gross_weight": (7.0, "agency's decision")},
            "cost-323": {"min_vehicle_kg": (30000.0, "agency's decision")},
            "ltpp": {"axle_group": (12.0, "agency's decision")},
            "nist-hb44": {"share_within": (90.0, "agency's decision")},
        },
    ),
]


def session(rng, n_runs, bias, sd, speed_kmh):
    heavy = truck(
        "T1", wheel_weights_kg=tuple((kg / 2, kg / 2) for kg in truck().axle_weights_kg)
    )
    light = truck(
        "T2", axle_weights_kg=(4000.0, 9000.0), axle_spacings_m=(6.0,), vehicle_class=5
    )
    runs = []
    for place in range(n_runs):
        vehicle = (heavy, light)[place % 2]
        axles = tuple(
            kg * (1 + rng.normal(bias, sd) / 100) for kg in vehicle.axle_weights_kg
        )
        wheels = tuple((kg * 0.51, kg * 0.49) for kg in axles)
        runs.append(
            run_of(
                vehicle,
                str(place + 1),
                axle_weights_kg=axles,
                wheel_weights_kg=wheels,
                axle_spacings_m=tuple(
                    m + rng.normal(0, 0.05) for m in vehicle.axle_spacings_m
                ),
                speed_kmh=speed_kmh + rng.normal(0, 0.5),
                reference_speed_kmh=speed_kmh,
            )
        )
    return run_errors([heavy, light], runs)


@pytest.fixture(scope="module")
def sessions():
    rng = np.random.default_rng(323)
    sizes = [0, 1, 2, 9, 10, 11, 19, 20, 40]
    found = [
        session(rng, n, rng.normal(0, 3), rng.uniform(0.5, 9), speed)
        for n in sizes
        for speed in (8.0, 90.0)
    ]
    found.append(errors_of([2.0] * 12))  # no scatter at all
    found.append(errors_of([14.0] * 12))
    return found


@pytest.mark.parametrize("conditions", CONDITIONS, ids=["plain", "otherwise"])
@pytest.mark.parametrize(("key", "name"), CASES)
def test_at_once_is_one_by_one(sessions, key, name, conditions):
    many = rejudge(
        flatten_sessions(sessions),
        standard=key,
        class_name=name.lower(),
        conditions=conditions,
    )
    assert (many.standard, many.class_name) == (key, name)
    verdicts = set()
    for place, errors in enumerate(sessions):
        one = find_standard(key).judge(errors, wanted_class=name, conditions=conditions)
        verdicts.add(one.verdict)
        assert many.is_met[place] == (one.verdict is Verdict.MEETS)
        assert many.is_missed[place] == (one.verdict is Verdict.MISSES)
        for criterion in many.criteria:
            judged = one.judgement_of(criterion.quantity)
            assert criterion.is_met[place] == (judged.verdict is Verdict.MEETS)
            assert criterion.is_missed[place] == (judged.verdict is Verdict.MISSES)
            assert criterion.moments.n[place] == judged.n
            details = dict(judged.details)
            for found, expected in (
                (criterion.moments.mean[place], details["mean"]),
                (criterion.moments.sd[place], details["sd"]),
                (criterion.value[place], statistic_of(judged, details)),
            ):
                expected = np.nan if expected is None else expected
                assert found == pytest.approx(
                    expected, rel=1e-12, abs=1e-12, nan_ok=True
                )
    assert len(verdicts) > 1


def statistic_of(judged, details):
    """The statistic that the one pass gives, from the details of the one by one."""
    if "pi_pct" in details:
        return details["pi_pct"]
    if judged.rule.startswith("mean ± t·sd"):
        span = judged.interval
        return span and max(-span.low, span.high)
    return judged.value


def test_order_of_the_errors_of_sessions_does_not_matter(sessions):
    flat = flatten_sessions(sessions)[Quantity.GROSS_WEIGHT]
    order = np.random.default_rng(1).permutation(flat.session.size)
    before = session_moments(flat, len(sessions))
    after = session_moments(flat.where(order), len(sessions))
    assert after.mean == pytest.approx(before.mean, nan_ok=True)
    assert after.sd == pytest.approx(before.sd, nan_ok=True)
    assert np.array_equal(before.n_runs, before.n)


def test_a_large_bias_costs_no_digits():
    """Errors around 1e8 with deviations 1, 0 and −1: the deviation is exactly 1."""
    places = np.zeros(3, dtype=np.int64)
    values = 1e8 + np.array([1.0, 0.0, -1.0])
    flat = FlatErrors(
        Quantity.GROSS_WEIGHT, places, np.arange(3), values, values, values, values
    )
    assert session_moments(flat, 1).sd[0] == 1.0


def test_arrays_of_different_lengths_are_refused():
    one, two = np.zeros(1), np.zeros(2)
    places = np.zeros(2, dtype=np.int64)
    with pytest.raises(ValueError, match="different shapes"):
        FlatErrors(Quantity.GROSS_WEIGHT, places, places, two, two, one, two)


def test_quantiles_of_many_are_those_of_one():
    n = np.array([40, 2, 10, 40, 1])
    got = t_quantiles(n)
    assert np.isnan(got[-1])
    for size, value in zip(n[:-1], got[:-1], strict=True):
        assert value == pytest.approx(t_quantile(int(size)), rel=1e-12)


def test_a_standard_that_cannot_says_so(sessions):
    flat = flatten_sessions(sessions)
    with pytest.raises(DomainError, match="OIML R 134 is judged session by session"):
        rejudge(flat, standard="oiml-r134", class_name="5-D")
    with pytest.raises(DomainError, match="has no class “Z”"):
        rejudge(flat, standard="ltpp", class_name="Z")


def test_sessions_without_a_single_run_are_said_nothing_of():
    many = rejudge(
        flatten_sessions([errors_of([])] * 3),
        standard="ltpp",
        class_name="Research quality",
    )
    assert not many.is_met.any()
    assert not many.is_missed.any()
    assert np.isnan(many.of(Quantity.GROSS_WEIGHT).value).all()
    with pytest.raises(KeyError):
        many.of(Quantity.WHEEL)
