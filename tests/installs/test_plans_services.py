"""Plans: begun, changed, approved and then frozen; versions follow each other."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from installs.calc.layout.types import ElementKind
from installs.calc.types import Technology
from installs.models import ArrayPlan, PlanElement
from installs.selectors.plans import layout_of, plan_page, plan_rows, plans_of_lane
from installs.services.plans import (
    plan_approve,
    plan_new_version,
    plan_save,
    plan_start,
)
from tests import factories
from wimprog.lib.errors import DomainError
from wimprog.lib.units import M_PER_FT, UnitSystem

pytestmark = pytest.mark.django_db
POLYMER = Technology.POLYMER_PIEZO


@pytest.fixture
def lane(world):
    lane = world.lanes[0]
    lane.width_m, lane.as_typed = 12 * M_PER_FT, {"width_m": ["12.0", "ft"]}
    lane.save()
    return lane


@pytest.fixture
def draft(lane):
    return plan_start(lane=lane, technology=POLYMER, by=None, why="")


def element(draft, name="probe", **changes):
    facts = {
        "plan": draft,
        "kind": ElementKind.TEMPERATURE_PROBE.value,
        "name": name,
        "start_m": 7.5,
        "length_m": 0.02,
        "across_from_m": 1.0,
        "across_to_m": 1.2,
    }
    return PlanElement(**{**facts, **changes})


def test_a_draft_begins_with_the_usual_array_on_whole_feet(draft, technician):
    """Loop, sensor, loop, sensor at 0, 9, 12 and 21 ft (common practice, no source)."""
    page = plan_page(draft, system=UnitSystem.US)
    assert (draft.version, draft.state) == (1, "draft")
    assert draft.typed("lane_width_m").text == "12.0"
    places = [(row.kind, round(row.measured_m / M_PER_FT, 6)) for row in page.positions]
    assert places == [
        (ElementKind.LOOP, 0.0),
        (ElementKind.AXLE_SENSOR, 9.0),
        (ElementKind.LOOP, 12.0),
        (ElementKind.AXLE_SENSOR, 21.0),
    ]
    assert page.spacing_m == pytest.approx(12 * M_PER_FT)
    assert not page.check.faults
    assert 'role="img"' in page.drawing


@pytest.mark.parametrize(
    ("system", "shoulder_m", "cabinet_m"),
    [(UnitSystem.US, 2.4384, 6.096), (UnitSystem.SI, 2.4, 6.0)],
)
def test_shoulder_and_cabinet_begin_round_in_the_programs_units(
    lane, technician, system, shoulder_m, cabinet_m
):
    """8 ft and 20 ft, or 2.4 m and 6 m (common practice, no source)."""
    plan = plan_start(
        lane=lane, technology=Technology.INDUCTIVE_LOOP, system=system,
        by=technician, why="",
    )  # fmt: skip
    assert (plan.shoulder_width_m, plan.cabinet_from_edge_m) == (shoulder_m, cabinet_m)


def test_a_plan_of_nobody_reads_round_in_feet():
    plan = ArrayPlan()
    for value, feet in ((plan.shoulder_width_m, 8), (plan.cabinet_from_edge_m, 20)):
        assert value / M_PER_FT == pytest.approx(feet, abs=1e-12)


def test_what_lies_in_the_lane_is_numbered_before_the_ways_out(draft):
    kinds = [ElementKind(row.kind) for row in plan_rows(draft)]
    in_lane = [kind.is_in_lane for kind in kinds]
    assert in_lane == sorted(in_lane, reverse=True)
    assert [row.order for row in plan_rows(draft)] == list(range(1, len(kinds) + 1))


def test_every_element_of_the_usual_array_has_its_history(draft):
    for row in draft.elements.all():
        assert row.history.count() == 1


@pytest.mark.parametrize("technology", [t for t in Technology if t.weighs])
def test_each_weighing_technology_has_an_array_that_can_be_built(lane, technology):
    draft = plan_start(lane=lane, technology=technology, by=None, why="")
    assert not plan_page(draft, system=UnitSystem.US).check.faults
    assert plan_approve(plan=draft, by=None, why="").state == "approved"


def test_one_draft_at_a_time_for_a_lane_and_technology(lane, draft):
    with pytest.raises(DomainError, match="Plan 1 of this lane"):
        plan_start(lane=lane, technology=POLYMER, by=None, why="")
    other = plan_start(lane=lane, technology=Technology.QUARTZ_PIEZO, by=None, why="")
    assert other.version == 1


def test_a_lane_too_narrow_is_refused_and_nothing_is_kept(lane):
    lane.width_m = 2.0
    with pytest.raises(DomainError, match="too narrow"):
        plan_start(lane=lane, technology=POLYMER, by=None, why="")
    assert not ArrayPlan.objects.exists()


def test_elements_are_added_changed_and_taken_out_together(draft):
    rows = plan_rows(draft)
    rows[0].slot_depth_mm = 60.0
    gone = rows[-1]
    plan_save(
        plan=draft,
        elements=[rows[0], element(draft)],
        removed=[gone],
        by=None,
        why="to the drawing",
    )
    names = [row.name for row in plan_rows(draft)]
    assert "probe" in names
    assert gone.name not in names
    assert plan_rows(draft)[0].slot_depth_mm == 60.0
    taken_out = PlanElement.history.get(name=gone.name, history_type="-")
    assert taken_out.history_change_reason == "to the drawing"
    assert draft.history.first().history_change_reason == "to the drawing"


def test_one_wrong_element_keeps_all_of_it_out(draft):
    before = [row.name for row in plan_rows(draft)]
    draft.drawing_ref = "C-12"
    with pytest.raises(ValidationError, match="beyond"):
        plan_save(
            plan=draft,
            elements=[element(draft), element(draft, name="b", across_to_m=0.5)],
            by=None,
            why="",
        )
    assert [row.name for row in plan_rows(draft)] == before
    assert ArrayPlan.objects.get(pk=draft.pk).drawing_ref == ""


def test_two_elements_may_swap_their_names(draft):
    one, two = (row for row in plan_rows(draft) if row.kind == "axle sensor")
    one.name, two.name = two.name, one.name
    plan_save(plan=draft, elements=[one, two], by=None, why="named from downstream")
    names = [row.name for row in plan_rows(draft) if row.kind == "axle sensor"]
    assert names == ["piezo 2", "piezo 1"]


def test_what_somebody_else_changed_meanwhile_is_not_typed_over(draft, technician):
    seen = draft.updated_at
    plan_save(plan=draft, elements=[element(draft)], by=technician, why="")
    mine = ArrayPlan.objects.get(pk=draft.pk)
    with pytest.raises(DomainError, match="changed by technician"):
        plan_save(plan=mine, elements=[], seen=seen, by=None, why="")
    plan_save(plan=mine, elements=[], seen=mine.updated_at, by=None, why="")


def test_an_approved_plan_is_frozen(draft, manager):
    kept = plan_approve(plan=draft, by=manager, why="")
    assert (kept.state, kept.approved_by) == ("approved", manager)
    assert kept.approved_at == dt.datetime(2024, 6, 1, 12, tzinfo=dt.UTC)
    kept.note = "changed on the quiet"
    for call in (
        lambda: plan_save(plan=kept, elements=[element(kept)], by=None, why=""),
        lambda: plan_approve(plan=kept, by=None, why=""),
    ):
        with pytest.raises(DomainError, match="make a new version"):
            call()
    assert ArrayPlan.objects.get(pk=draft.pk).note == ""
    assert not kept.elements.filter(name="probe").exists()


def test_a_draft_held_in_memory_from_before_approval_is_frozen_too(draft):
    stale = ArrayPlan.objects.get(pk=draft.pk)
    plan_approve(plan=draft, by=None, why="")
    stale.note = "late"
    with pytest.raises(DomainError, match="frozen"):
        plan_save(plan=stale, elements=[], by=None, why="")


def test_the_next_version_copies_what_was_typed_and_replaces_the_last(lane, draft):
    row = plan_rows(draft)[0]
    row.start_m, row.as_typed = 0.1 * M_PER_FT, {"start_m": ["0.10", "ft"]}
    draft.drawing_ref = "C-12"
    plan_save(plan=draft, elements=[row], by=None, why="")
    first = plan_approve(plan=draft, by=None, why="")
    second = plan_start(lane=lane, technology=POLYMER, by=None, why="")
    assert (second.version, second.state, second.drawing_ref) == (2, "draft", "C-12")
    assert plan_rows(second)[0].typed("start_m").text == "0.10"
    assert layout_of(second, plan_rows(second)) == layout_of(first, plan_rows(first))
    plan_approve(plan=second, by=None, why="")
    first.refresh_from_db()
    assert first.state == "replaced"
    assert [p.state for p in plans_of_lane(lane)] == ["approved", "replaced"]
    third = plan_new_version(plan=first, by=None, why="back to the first")
    assert third.version == 3


def test_an_array_that_cannot_be_built_is_not_approved(draft):
    row = plan_rows(draft)[1]
    row.across_to_m = draft.lane_width_m + 1.0
    plan_save(plan=draft, elements=[row], by=None, why="")
    with pytest.raises(DomainError, match="cannot be built") as caught:
        plan_approve(plan=draft, by=None, why="")
    assert any("reaches out of the lane" in str(c) for c in caught.value.complaints)
    assert ArrayPlan.objects.get(pk=draft.pk).state == "draft"


def test_an_empty_plan_is_not_approved(draft):
    plan_save(plan=draft, elements=[], removed=plan_rows(draft), by=None, why="")
    with pytest.raises(DomainError):
        plan_approve(plan=draft, by=None, why="")
    page = plan_page(draft, system=UnitSystem.US)
    assert page.drawing == ""
    assert page.positions == ()


def test_a_plan_reads_in_one_query(django_assert_num_queries, draft):
    with django_assert_num_queries(1):
        plan_page(draft, system=UnitSystem.US)


def test_plans_of_a_lane_read_the_same_for_one_and_for_many(
    django_assert_num_queries, lane
):
    for technology in (POLYMER, Technology.QUARTZ_PIEZO, Technology.LOAD_CELL):
        plan_start(lane=lane, technology=technology, by=None, why="")
        with django_assert_num_queries(1):
            [p.get_absolute_url() for p in plans_of_lane(lane)]
    assert plans_of_lane(factories.LaneFactory()) == []
