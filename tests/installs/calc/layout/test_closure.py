"""Crew hours and the time that the lane is closed."""

from dataclasses import replace

import pytest

from installs.calc.layout.closure import USUAL_STEPS, closure_plan, crew_hour_lines
from installs.calc.layout.quantities import takeoff
from installs.calc.layout.types import (
    Driver,
    StepPlan,
    WorkFigures,
    WorkStep,
)
from installs.calc.layout.usual_arrays import usual_array
from installs.calc.types import Technology
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Verdict

S = WorkStep
ARRAY = usual_array(Technology.POLYMER_PIEZO, lane_width_m=3.6)
# A small network, worked by hand: 1, then 2 beside 4, then 1 → 6 hours.
NETWORK = (
    StepPlan(S.LAYOUT, 1.0, 0.0, Driver.ARRAY, 1, ()),
    StepPlan(S.EXIT_HOLE, 2.0, 0.0, Driver.ARRAY, 1, (S.LAYOUT,)),
    StepPlan(S.CLEANING, 8.0, 0.0, Driver.ARRAY, 2, (S.LAYOUT,)),
    StepPlan(S.SETTING, 1.0, 0.0, Driver.ARRAY, 1, (S.EXIT_HOLE, S.CLEANING)),
)


def plan(figures=None, layout=ARRAY, **more):
    figures = figures or WorkFigures()
    return closure_plan(layout, takeoff(layout, figures), figures, **more)


def test_longest_chain_of_a_small_network():
    found = plan(steps=NETWORK)
    assert found.hours == pytest.approx(6.0)
    assert found.critical == (S.LAYOUT, S.CLEANING, S.SETTING)
    times = {one.step: (one.start_h, one.end_h) for one in found.steps}
    assert times == {
        S.LAYOUT: (0.0, 1.0),
        S.EXIT_HOLE: (1.0, 3.0),
        S.CLEANING: (1.0, 5.0),
        S.SETTING: (5.0, 6.0),
    }


def test_no_step_has_more_people_than_the_crew():
    found = plan(WorkFigures(crew_size=1), steps=NETWORK)
    assert found.hours == pytest.approx(10.0)


def test_no_step_begins_before_those_it_waits_for():
    found = plan()
    ends = {one.step: one.end_h for one in found.steps}
    starts = {one.step: one.start_h for one in found.steps}
    for usual in USUAL_STEPS:
        assert all(ends[before] <= starts[usual.step] + 1e-9 for before in usual.after)
    assert found.hours == max(ends.values())
    assert found.critical[0] is S.TRAFFIC_SET_UP
    assert found.critical[-1] is S.TRAFFIC_TAKE_DOWN


def test_a_longer_cure_in_the_cold_keeps_the_lane_closed():
    warm, cold = plan(cure_min=30.0), plan(cure_min=300.0)
    assert S.CURING in cold.critical
    # with the cure on the chain, each further hour of it is an hour of closure
    assert plan(cure_min=360.0).hours == pytest.approx(cold.hours + 1.0)
    assert cold.hours > warm.hours
    assert "cure of 300 min" in cold.sentence


def test_bench_work_is_done_before_the_lane_is_closed():
    bench = {S.PREPARATION: 50.0}
    found = plan(WorkFigures(step_hours=bench))
    assert found.hours == pytest.approx(plan().hours)
    (bench_step,) = [one for one in found.steps if one.step is S.PREPARATION]
    assert (bench_step.end_h, bench_step.holds_lane) == (0.0, False)
    assert bench_step.start_h < 0


def test_agency_hours_replace_the_usual_ones():
    found = plan(WorkFigures(step_hours={S.LAYOUT: 9.0}))
    hours = {one.step: one.crew_hours for one in found.steps}
    assert hours[S.LAYOUT] == 9.0


def test_sawing_takes_as_long_as_its_rate_says():
    figures = WorkFigures(saw_rate_m_per_hour=10.0)
    metres = takeoff(ARRAY, figures).amount("saw-cut")
    (sawing,) = [one for one in plan(figures).steps if one.step is S.SAW_CUTTING]
    # two people at it, and a quarter of an hour to set up (half a crew hour)
    assert sawing.end_h - sawing.start_h == pytest.approx(metres / 10.0 + 0.25)
    assert sawing.crew_hours == pytest.approx(2 * metres / 10.0 + 0.5)


@pytest.mark.parametrize(
    ("allowed", "verdict"),
    [(24.0, Verdict.MEETS), (2.0, Verdict.MISSES), (None, Verdict.CANNOT_SAY)],
)
def test_closure_against_what_the_traffic_control_plan_allows(allowed, verdict):
    found = plan(allowed_h=allowed)
    assert found.judgement.verdict == verdict
    assert str(verdict) in found.sentence


def test_without_the_cuts_the_closure_is_not_known():
    first = replace(ARRAY.elements[0], slot_depth_mm=None)
    broken = replace(ARRAY, elements=(first, *ARRAY.elements[1:]))
    found = plan(layout=broken, allowed_h=24.0)
    assert found.hours is None
    assert found.judgement.verdict is Verdict.CANNOT_SAY
    assert (found.judgement.n, found.steps) == (0, ())
    known = plan(WorkFigures(step_hours={S.SAW_CUTTING: 6.0}), layout=broken)
    assert known.hours > 0


def test_crew_hours_are_lines_of_the_quantities():
    found = plan()
    lines = crew_hour_lines(found)
    assert [line.step for line in lines] == [one.step for one in found.steps]
    assert sum(line.amount for line in lines) == pytest.approx(
        sum(one.crew_hours for one in found.steps)
    )
    assert {line.unit for line in lines} == {"crew h"}
    assert not any(line.is_material for line in lines)


def test_steps_out_of_order_and_impossible_cures_are_refused():
    with pytest.raises(DomainError, match="waits for “exit hole and conduit”"):
        plan(steps=(NETWORK[0], NETWORK[3]))
    with pytest.raises(DomainError, match="cannot be planned"):
        plan(cure_min=-1.0)
    bench = [one for one in USUAL_STEPS if not one.holds_lane]
    with pytest.raises(DomainError, match="No step"):
        plan(steps=bench)
