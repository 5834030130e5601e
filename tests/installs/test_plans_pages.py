"""Pages of array plans: who may do what, what is shown, what is asked and refused."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.calc.types import Technology
from installs.models import ArrayPlan
from installs.selectors.plans import plan_rows
from installs.services.plans import plan_approve, plan_start
from wimprog.lib.units import M_PER_FT, UnitSystem

pytestmark = pytest.mark.django_db
POLYMER = Technology.POLYMER_PIEZO


@pytest.fixture
def lane(world):
    return world.lanes[0]


@pytest.fixture
def draft(lane):
    return plan_start(lane=lane, technology=POLYMER, by=None, why="")


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


def sheet_data(client, plan, **changes):
    """What the edit page would send back unchanged, with some boxes changed."""
    sheet = client.get(url("plan-edit", plan.pk)).context["sheet"]
    data = {}
    for form in (sheet.form, sheet.elements.management_form, *sheet.elements.forms):
        for name in form.fields:
            value = form[name].value()
            data[form.add_prefix(name)] = "" if value in (None, False) else value
    return {**data, **changes}


def row_with(plan, name):
    return next(i for i, row in enumerate(plan_rows(plan)) if row.name == name)


def test_a_technician_begins_a_draft_from_the_lanes_page(client_for, technician, lane):
    client = client_for(technician)
    page = client.get(url("plan-list", lane.pk)).content.decode()
    assert 'class="empty"' in page
    answer = client.post(url("plan-start", lane.pk), {"technology": POLYMER.value})
    plan = ArrayPlan.objects.get()
    assert answer["Location"] == url("plan-edit", plan.pk)
    assert plan.history.first().history_user == technician
    again = client.post(url("plan-start", lane.pk), {"technology": POLYMER.value})
    assert again.status_code == 422
    assert "still a draft" in again.content.decode()


def test_the_plans_page_shows_drawing_positions_and_cautions(client_for, guest, draft):
    page = client_for(guest).get(draft.get_absolute_url()).content.decode()
    assert 'aria-labelledby="array-title array-desc"' in page
    assert "Traffic runs from left to right" in page  # the drawing in words
    assert "21.00 ft" in page
    assert "the traffic control plan is set up" in page
    assert "silica dust" in page
    assert "Change</a>" not in page
    assert "Approve plan" not in page


def test_sent_back_unchanged_a_plan_stays_as_it_was(client_for, technician, draft):
    before = [(r.pk, r.start_m, r.length_m, r.as_typed) for r in plan_rows(draft)]
    client = client_for(technician)
    answer = client.post(url("plan-edit", draft.pk), sheet_data(client, draft))
    assert answer.status_code == 302
    after = [(r.pk, r.start_m, r.length_m, r.as_typed) for r in plan_rows(draft)]
    assert after == before
    assert all(row.history.count() == 1 for row in plan_rows(draft))


def test_values_typed_on_the_sheet_come_back_exactly(client_for, technician, draft):
    """9.10 ft is 2.77368 m; the box and the page give back "9.10"."""
    client, i = client_for(technician), row_with(draft, "loop 2")
    answer = client.post(
        url("plan-edit", draft.pk),
        sheet_data(
            client,
            draft,
            **{f"elements-{i}-start_m": "13.10", "lane_width_m": "12.00"},
        ),
    )
    assert answer.status_code == 302
    kept = next(row for row in plan_rows(draft) if row.name == "loop 2")
    assert kept.start_m == pytest.approx(13.1 * M_PER_FT, abs=1e-12)
    sheet = client.get(url("plan-edit", draft.pk)).context["sheet"]
    assert sheet.elements.forms[row_with(draft, "loop 2")]["start_m"].value() == "13.10"
    assert "13.10 ft" in client.get(draft.get_absolute_url()).content.decode()


def test_blank_rows_take_new_elements_and_struck_ones_go(client_for, technician, draft):
    client, rows = client_for(technician), plan_rows(draft)
    i, new = row_with(draft, "loop 2"), len(rows)
    data = sheet_data(
        client,
        draft,
        **{
            f"elements-{i}-DELETE": "on",
            f"elements-{new}-kind": "temperature probe",
            f"elements-{new}-name": "probe",
            f"elements-{new}-start_m": "7.5",
            f"elements-{new}-length_m": "0.1",
            f"elements-{new}-across_from_m": "1",
            f"elements-{new}-across_to_m": "1.5",
        },
    )
    assert client.post(url("plan-edit", draft.pk), data).status_code == 302
    names = {row.name for row in plan_rows(draft)}
    assert "probe" in names
    assert "loop 2" not in names


@pytest.mark.parametrize(
    ("box", "text", "told"),
    [
        ("slot_depth_mm", "5.1", "Is it 5.1 cm?"),
        ("slot_depth_mm", "51", "Is it 51 mm?"),
        ("start_m", "274", "Is it 274 cm?"),
    ],
)
def test_a_number_in_another_unit_is_asked_about_and_kept_when_meant(
    client_for, technician, draft, box, text, told
):
    client, i = client_for(technician), row_with(draft, "piezo 1")
    before = [getattr(row, box) for row in plan_rows(draft)]
    data = sheet_data(client, draft, **{f"elements-{i}-{box}": text})
    answer = client.post(url("plan-edit", draft.pk), data)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert told in page
    assert 'name="sure"' in page
    assert [getattr(row, box) for row in plan_rows(draft)] == before
    sure = client.post(url("plan-edit", draft.pk), {**data, "sure": "on"})
    assert sure.status_code == 302
    kept = next(row for row in plan_rows(draft) if row.name == "piezo 1")
    assert kept.typed(box).text == text


@pytest.mark.parametrize(
    ("box", "text", "told"),
    [
        ("start_m", "nine", "is not a number"),
        ("start_m", "", "This field is required"),
        ("across_to_m", "0.1", "must lie beyond"),
        ("name", "loop 1", "Another row has this name"),
        ("length_m", "-1", "It must be above 0."),
        ("length_m", "0", "It must be above 0."),
        ("start_m", "9e99", "beyond any road"),
    ],
)
def test_a_wrong_box_is_named_by_its_row_and_nothing_is_kept(
    client_for, technician, draft, box, text, told
):
    client, i = client_for(technician), row_with(draft, "piezo 1")
    data = sheet_data(
        client, draft, **{f"elements-{i}-{box}": text, "drawing_ref": "C-12"}
    )
    answer = client.post(url("plan-edit", draft.pk), data)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert told in page
    assert f"Row {i + 1}" in page
    draft.refresh_from_db()
    assert draft.drawing_ref == ""


def test_a_row_of_another_plan_cannot_be_reached_through_this_one(
    client_for, technician, world, draft
):
    frozen = plan_start(lane=world.lanes[1], technology=POLYMER, by=None, why="")
    plan_approve(plan=frozen, by=None, why="")
    theirs = plan_rows(frozen)[0]
    client = client_for(technician)
    data = sheet_data(
        client, draft, **{"elements-0-id": theirs.pk, "elements-0-name": "taken"}
    )
    assert client.post(url("plan-edit", draft.pk), data).status_code == 422
    theirs.refresh_from_db()
    assert theirs.name != "taken"


def test_a_sheet_sent_without_its_rows_is_refused_not_emptied(
    client_for, technician, draft
):
    client, n = client_for(technician), draft.elements.count()
    data = sheet_data(client, draft)
    header = {k: v for k, v in data.items() if not k.startswith("elements-")}
    assert client.post(url("plan-edit", draft.pk), header).status_code == 422
    assert draft.elements.count() == n


def test_a_probe_alone_has_no_array_to_begin_with(client_for, technician, lane):
    client = client_for(technician)
    answer = client.post(
        url("plan-start", lane.pk), {"technology": "temperature probe"}
    )
    assert answer.status_code == 422
    assert not ArrayPlan.objects.exists()


def test_names_are_text_wherever_they_are_shown(client_for, guest, draft):
    row = plan_rows(draft)[0]
    row.name = "=1+1</title><script>alert(1)</script>"
    row.save()
    client = client_for(guest)
    for name in ("plan-detail", "plan-sheet", "plan-quantities"):
        assert "<script>alert" not in client.get(url(name, draft.pk)).content.decode()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("start_m", 1e308),
        ("across_to_m", 1e12),
        ("length_m", 0.0),
        ("length_m", 1e-300),
    ],
)
def test_a_plan_that_came_in_otherwise_still_opens(
    client_for, manager, draft, field, value
):
    row = plan_rows(draft)[0]
    setattr(row, field, value)
    row.save()
    client = client_for(manager)
    for name in ("plan-detail", "plan-sheet", "plan-quantities", "plan-edit"):
        assert client.get(url(name, draft.pk)).status_code == 200


def test_two_people_on_one_draft_do_not_type_over_each_other(
    client_for, technician, manager, draft
):
    mine, theirs = client_for(technician), client_for(manager)
    data = sheet_data(mine, draft, drawing_ref="C-1")
    other = sheet_data(theirs, draft, drawing_ref="C-2")
    assert theirs.post(url("plan-edit", draft.pk), other).status_code == 302
    answer = mine.post(url("plan-edit", draft.pk), data)
    assert answer.status_code == 422
    assert "changed by manager" in answer.content.decode()
    draft.refresh_from_db()
    assert draft.drawing_ref == "C-2"


def test_the_manager_approves_and_the_plan_is_frozen(
    client_for, manager, technician, draft
):
    boss, hand = client_for(manager), client_for(technician)
    data = sheet_data(hand, draft, note="late change")
    assert hand.post(url("plan-approve", draft.pk)).status_code == 403
    page = boss.get(draft.get_absolute_url()).content.decode()
    assert "Approve plan 1" in page
    boss.post(url("plan-approve", draft.pk), {"why": "as contract drawing C-12"})
    draft.refresh_from_db()
    assert (draft.state, draft.approved_by) == ("approved", manager)
    assert hand.get(url("plan-edit", draft.pk)).status_code == 302
    late = hand.post(url("plan-edit", draft.pk), data)
    assert late.status_code == 422
    assert "<svg" in late.content.decode()
    assert "make a new version" in late.content.decode()
    draft.refresh_from_db()
    assert draft.note == ""
    made = hand.post(url("plan-new-version", draft.pk))
    second = ArrayPlan.objects.get(version=2)
    assert made["Location"] == url("plan-edit", second.pk)


def test_a_plan_that_cannot_be_built_says_why_and_is_not_approved(
    client_for, manager, draft
):
    row = plan_rows(draft)[1]
    row.across_to_m = 9.0
    row.save()
    client = client_for(manager)
    page = client.get(draft.get_absolute_url()).content.decode()
    assert "reaches out of the lane" in page
    answer = client.post(url("plan-approve", draft.pk), follow=True)
    assert "cannot be built" in answer.content.decode()
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_who_may_do_what(client_for, technician, analyst, guest, outsider, draft):
    reads = [
        url("plan-list", draft.lane_id),
        draft.get_absolute_url(),
        url("plan-sheet", draft.pk),
    ]
    for user in (technician, analyst, guest):
        for one in reads:
            assert client_for(user).get(one).status_code == 200
    for one in reads:
        assert client_for(outsider).get(one).status_code == 403
    for user in (analyst, guest, outsider):
        client = client_for(user)
        assert client.get(url("plan-edit", draft.pk)).status_code == 403
        start = client.post(url("plan-start", draft.lane_id), {"technology": POLYMER})
        assert start.status_code == 403
        assert client.post(url("plan-new-version", draft.pk)).status_code == 403


def test_approval_and_new_versions_are_never_made_by_a_link(client_for, manager, draft):
    for name in ("plan-approve", "plan-new-version"):
        assert client_for(manager).get(url(name, draft.pk)).status_code == 405


def test_the_sheet_to_print_holds_what_the_crew_needs(client_for, guest, draft):
    page = client_for(guest).get(url("plan-sheet", draft.pk)).content.decode()
    assert "do not build from it" in page
    for told in ("<svg", "Positions", "15.00 ft", "Reference line", "Before you start"):
        assert told in page
    plan_approve(plan=draft, by=None, why="")
    page = client_for(guest).get(url("plan-sheet", draft.pk)).content.decode()
    assert "do not build from it" not in page


@pytest.mark.parametrize("name", ["plan-detail", "plan-edit", "plan-sheet"])
def test_a_plans_pages_ask_the_same_of_few_elements_and_of_many(
    client_for, manager, draft, name
):
    client = client_for(manager)

    def queries():
        client.get(url(name, draft.pk))
        with CaptureQueriesContext(connection) as caught:
            assert client.get(url(name, draft.pk)).status_code == 200
        return len(caught)

    few = queries()
    for i in range(20):
        factories_element(draft, i)
    assert queries() == few


def factories_element(plan, i):
    plan.elements.create(
        kind="temperature probe",
        name=f"probe {i}",
        start_m=8.0 + i,
        length_m=0.02,
        across_from_m=0.1,
        across_to_m=0.2,
    )


def test_the_list_of_plans_asks_the_same_of_one_and_of_many(client_for, guest, lane):
    client = client_for(guest)

    def queries():
        client.get(url("plan-list", lane.pk))
        with CaptureQueriesContext(connection) as caught:
            client.get(url("plan-list", lane.pk))
        return len(caught)

    plan_start(lane=lane, technology=POLYMER, by=None, why="")
    few = queries()
    for technology in (Technology.QUARTZ_PIEZO, Technology.BENDING_PLATE):
        plan_start(lane=lane, technology=technology, by=None, why="")
    assert queries() == few


def test_a_metric_program_plans_in_metres(client_for, guest, program, lane):
    program.unit_system = "si"
    program.save()
    draft = plan_start(
        lane=lane, technology=POLYMER, system=UnitSystem.SI, by=None, why=""
    )
    page = client_for(guest).get(draft.get_absolute_url()).content.decode()
    assert "2.700 m" in page  # nine steps of 0.3 m to the first sensor
