"""What a planned number of runs can show, and the order to drive them in."""

from collections import Counter

import numpy as np
import pytest
from scipy import stats

from calibration.calc.effects import find_effects
from calibration.calc.pass_chances import (
    Population,
    chance_of_passing,
    pass_curves,
)
from calibration.calc.pass_rules import (
    ConfidenceRule,
    IntervalRule,
    ShareWithinRule,
    pass_rule,
    sd_at_limit,
    share_truly_within,
)
from calibration.calc.planning import (
    bias_curves,
    coverage_of_pooled_interval,
    draw_up,
    faultless_runs,
    sd_interval_factors,
)
from calibration.calc.run_schedule import schedule
from calibration.calc.standards import find_standard
from calibration.calc.standards.base import Conditions
from calibration.calc.types import LanePosition, Quantity
from tests.calibration.calc.build import set_of
from tests.calibration.calc.build_effects import table
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

TYPE_I = ShareWithinRule(10.0, 5.0, "Type I")


def test_more_runs_narrow_these_trucks_and_hardly_trucks_like_these():
    found = bias_curves(
        Population(1.0, 2.0, truck_sd=1.5), n_vehicles=2, runs_each=[5, 10, 1000]
    )
    assert found.half_width_these[2] < 0.1
    floor = stats.t.ppf(0.975, 1) * 1.5 / np.sqrt(2)
    assert found.half_width_like[2] == pytest.approx(floor, rel=1e-2)
    assert found.half_width_like[1] == pytest.approx(
        stats.t.ppf(0.975, 1) * np.sqrt(1.5**2 / 2 + 4 / 20)
    )
    assert found.power_these[1] > 0.5 > found.power_like[1]
    one = bias_curves(Population(1.0, 2.0), n_vehicles=1, runs_each=[10])
    assert np.isinf(one.half_width_like[0])
    assert one.power_like[0] == 0.0


def test_power_with_trucks_that_differ_agrees_with_simulation():
    """8,000 sessions of five trucks: t test of the trucks' means."""
    generator = np.random.default_rng(14)
    trucks = 1.0 * generator.normal(size=(8000, 5, 1))
    means = (2.0 + trucks + 2.0 * generator.normal(size=(8000, 5, 4))).mean(axis=2)
    p = stats.ttest_1samp(means, 0.0, axis=1).pvalue
    found = bias_curves(Population(2.0, 2.0, 1.0), n_vehicles=5, runs_each=[4])
    assert found.power_like[0] == pytest.approx(np.mean(p < 0.05), abs=0.02)


def test_simulated_chance_agrees_with_the_binomial():
    """The same rule with a truck effect of next to nothing goes the other way."""
    population = Population(0.0, sd_at_limit(TYPE_I))
    exact, is_exact = chance_of_passing(
        TYPE_I, population, n_vehicles=2, runs_each=[5, 10, 20]
    )
    nearly = Population(0.0, population.run_sd, truck_sd=1e-9)
    simulated, is_simulated_exact = chance_of_passing(
        TYPE_I, nearly, n_vehicles=2, runs_each=[5, 10, 20]
    )
    assert is_exact
    assert not is_simulated_exact
    assert simulated == pytest.approx(exact, abs=0.045)
    assert exact[0] == pytest.approx(0.95**10)


@pytest.mark.parametrize(
    ("standard", "class_name", "kind"),
    [
        ("astm-e1318", "Type I", ShareWithinRule),
        ("nist-hb44", "Class A", ShareWithinRule),
        ("cost-323", "B(10)", ConfidenceRule),
        ("ltpp", "research quality", IntervalRule),
    ],
)
def test_rules_say_what_the_standards_say(standard, class_name, kind):
    """120 random sessions: the fast rule against the standard's own judgement."""
    rule = pass_rule(standard, class_name)
    assert isinstance(rule, kind)
    known = find_standard(standard)
    generator = np.random.default_rng(15)
    seen = Counter()
    for _ in range(120):
        n = int(generator.integers(8, 41))
        sd = sd_at_limit(rule) * generator.uniform(0.5, 1.3)
        errors = generator.normal(0.5, sd, size=n)
        verdict = known.judge(
            set_of({Quantity.GROSS_WEIGHT: list(errors)}), wanted_class=class_name
        )
        outside = np.array([np.sum(np.abs(errors) > rule.tolerance)])
        quick = rule.passes(
            np.array([errors.mean()]), np.array([errors.std(ddof=1)]), n, outside
        )[0]
        judged = verdict.judgement_of("gross weight").verdict is Verdict.MEETS
        assert quick == judged
        seen[bool(quick)] += 1
    assert min(seen.values()) > 10


def test_conditions_reach_the_rule():
    initial = pass_rule("cost-323", "B(10)", conditions=Conditions(is_initial=True))
    assert initial.tolerance == pytest.approx(8.0)
    own = {"astm-e1318": {"type_iii_gross_weight": (7.0, "agency manual")}}
    third = pass_rule(
        "astm-e1318", "Type III", conditions=Conditions(agency_values=own)
    )
    assert third.tolerance == pytest.approx(7.0)
    with pytest.raises(DomainError, match="no rule for wheel load"):
        pass_rule("astm-e1318", "Type II", Quantity.WHEEL)
    with pytest.raises(DomainError, match="no rule for gross weight"):
        pass_rule("oiml-r134", find_standard("oiml-r134").classes[0])
    with pytest.raises(DomainError):
        pass_rule("astm-e1318", "Type IX")


def test_a_system_at_the_limit_has_the_required_share_within():
    for rule in (
        TYPE_I,
        pass_rule("cost-323", "B(10)"),
        pass_rule("ltpp", "research quality"),
    ):
        for bias in (0.0, 3.0):
            share = share_truly_within(
                rule.tolerance, bias, sd_at_limit(rule, bias=bias)
            )
            assert share == pytest.approx(rule.required_share)
    with pytest.raises(ValueError, match="takes up the tolerance"):
        sd_at_limit(TYPE_I, bias=10.0)
    assert share_truly_within(10.0, 5.0, 0.0) == 1.0
    assert share_truly_within(10.0, 15.0, 0.0) == 0.0


def test_pass_curves_of_a_good_system_lie_above_those_at_the_limit():
    expected = Population(0.5, 3.0, truck_sd=1.0)
    found = pass_curves(
        pass_rule("ltpp", "research quality"),
        expected,
        n_vehicles=2,
        runs_each=[3, 10, 20, 40],
        rounds=800,
    )
    assert not found.is_exact
    assert found.at_limit[0] == found.as_expected[0] == 0.0  # six runs never meet
    assert np.all(found.as_expected[1:] > found.at_limit[1:])
    assert found.as_expected[3] > 0.95
    again = pass_curves(
        pass_rule("ltpp", "research quality"),
        expected,
        n_vehicles=2,
        runs_each=[3, 10, 20, 40],
        rounds=800,
    )
    assert np.array_equal(found.at_limit, again.at_limit)


def test_a_plan_says_what_its_runs_can_show():
    found = draw_up(
        TYPE_I, Population(2.0, 3.0, 1.0), n_vehicles=2, runs_each=10, rounds=400
    )
    assert found.bias.runs_each[0] == 2
    assert found.bias.runs_each[-1] == 20
    text = " ".join(found.sentences)
    assert "(simulated, 400 sessions)" in text
    assert "20 runs give the bias of these 2 trucks" in text
    assert "more runs of the same trucks hardly help" in text
    assert "between 0.76 and 1.46 times" in text
    assert "truly at the limit passes in" in text
    lone = draw_up(TYPE_I, Population(0.0, 3.0), n_vehicles=1, runs_each=10)
    assert not any("would be shown" in sentence for sentence in lone.sentences)
    assert "One truck says nothing about others" in lone.sentences[0]
    assert "simulated" not in lone.sentences[-1]
    with pytest.raises(ValueError, match="two runs of each"):
        draw_up(TYPE_I, Population(2.0, 3.0), n_vehicles=0, runs_each=10)


def test_factors_and_faultless_runs_at_their_edges():
    low, high = sd_interval_factors([2, 1000])
    assert low[0] < low[1] < 1 < high[1] < high[0]
    assert faultless_runs(0.5, level=0.5) == 1


def test_a_schedule_tells_truck_speed_and_block_apart():
    runs = schedule(
        ["T1", "T2"], [60.0, 95.0], blocks=["cool", "warm"], runs_at_speed=5
    )
    assert len(runs) == 2 * 2 * 5
    assert [run.order for run in runs] == list(range(1, 21))
    counts = Counter((run.vehicle, run.speed_kmh) for run in runs)
    assert set(counts.values()) == {5}
    places = Counter((run.vehicle, run.speed_kmh, run.lane_position) for run in runs)
    assert places["T1", 60.0, LanePosition.LEFT] == 1
    assert places["T2", 95.0, LanePosition.RIGHT] == 1
    assert places["T1", 95.0, LanePosition.CENTRE] == 3
    blocks = Counter((run.block, run.speed_kmh) for run in runs)
    assert blocks["cool", 60.0] == blocks["cool", 95.0] == 6
    # Driven as planned, speed and warming pavement are told apart.
    warm = [15.0 + 0.8 * run.order for run in runs]
    errors = np.random.default_rng(16).normal(size=20)
    effects = find_effects(
        table(
            errors,
            vehicles=[run.vehicle for run in runs],
            speed=[run.speed_kmh for run in runs],
            temperature=warm,
            places=[run.lane_position for run in runs],
        )
    )
    assert effects.of("speed").inflation < 1.3
    assert effects.of("pavement temperature").inflation < 1.5


def test_a_schedule_without_edges_and_what_is_refused():
    inner = schedule(["T1"], [60.0], with_lane_edges=False)
    assert {run.lane_position for run in inner} == {LanePosition.CENTRE}
    pair = schedule(["T1"], [60.0], runs_at_speed=2)
    assert {run.lane_position for run in pair} == {LanePosition.CENTRE}
    for arguments, words in (
        (([], [60.0]), "needs a truck"),
        ((["T1", "T1"], [60.0]), "truck appears twice"),
        ((["T1"], [60.0, 60.0]), "speed appears twice"),
        ((["T1"], [-5.0]), "not greater than zero"),
    ):
        with pytest.raises(DomainError, match=words):
            schedule(*arguments)
    with pytest.raises(DomainError, match="shared over 3"):
        schedule(["T1"], [60.0], runs_at_speed=2, blocks=["a", "b", "c"])


def test_trucks_alike_leave_the_pooled_interval_its_level():
    got = coverage_of_pooled_interval(
        Population(0.0, 2.0), n_vehicles=2, runs_each=10, rounds=4000
    )
    assert got == pytest.approx(0.95, abs=4 * (0.0475 / 4000) ** 0.5)
