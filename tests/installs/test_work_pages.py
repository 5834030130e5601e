"""Pages of work, trips and the preventive schedule: who sees, changes, is told what."""

import datetime as dt
import io

import openpyxl
import pytest
from django.urls import reverse

from installs.calc.upkeep.types import WorkSource
from installs.models import PreventiveDone, PreventiveRule, Trip, WorkItem
from installs.selectors.work import WorkWanted, trip_proposals, work_rows
from installs.services.work import work_done, work_found
from tests import factories
from tests.conftest import TODAY

DAY = dt.timedelta(days=1)


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


@pytest.fixture
def items(world, technician):
    """Three pieces of work at OV-014: a hazard, a lane down, one for the next trip."""
    at = {"wim_site": world.wim_site, "by": technician}
    return {
        "dirt": work_found(reason="Dirt in the cabinet.", since_on=TODAY, **at),
        "down": work_found(
            reason="Lane dead.",
            lane=world.lanes[1],
            lane_is_down=True,
            since_on=TODAY - 3 * DAY,
            **at,
        ),
        "lid": work_found(
            reason="Lid loose.", is_hazard=True, since_on=TODAY - DAY, **at
        ),
    }


def shown(answer):
    return [row.record.item.reason for row in answer.context["table"].rows]


def test_the_most_urgent_stands_first_with_the_rule_that_put_it_there(
    items, guest, client_for
):
    answer = client_for(guest).get(url("work-list"))
    assert shown(answer) == ["Lid loose.", "Lane dead.", "Dirt in the cabinet."]
    text = answer.content.decode()
    assert "can hurt somebody" in text
    assert "the lane gives no data, for 3 days" in text
    assert "Report something</a>" not in text  # a guest writes nothing


@pytest.mark.parametrize(
    ("asked", "left"),
    [
        ("urgency=at once", ["Lid loose."]),
        ("urgency=this week", ["Lane dead."]),
        ("source=drift found", []),
        ("state=done", []),
        ("site=OV-014", ["Lid loose.", "Lane dead.", "Dirt in the cabinet."]),
        ("mine=on", []),
        ("urgency=never;drop", ["Lid loose.", "Lane dead.", "Dirt in the cabinet."]),
    ],
)
def test_the_list_shows_what_was_asked_for(asked, left, items, manager, client_for):
    key, value = asked.split("=", 1)
    answer = client_for(manager).get(url("work-list"), {key: value})
    assert answer.status_code == 200
    assert shown(answer) == left


def test_mine_and_closed(items, technician, manager):
    items["lid"].assigned_to = technician
    items["lid"].save()
    rows = work_rows(TODAY, WorkWanted(mine=technician))
    assert [row.item for row in rows] == [items["lid"]]
    work_done(item=items["dirt"], done_on=TODAY, note="Swept.", by=manager)
    (row,) = work_rows(TODAY, WorkWanted(state="done"))
    assert (row.item, row.urgency, row.why) == (items["dirt"], None, "Swept.")


def test_two_things_told_of_one_site_stay_two_and_one_cause_is_one(
    items, world, technician
):
    assert len(work_rows(TODAY, WorkWanted())) == 3
    for reason in ("Water in the box.", "Still water in the box."):
        work_found(wim_site=world.wim_site, reason=reason, cause="water", by=technician)
    rows = work_rows(TODAY, WorkWanted())
    assert len(rows) == 4
    (both,) = [row for row in rows if row.also]
    assert both.reason == "Water in the box. Still water in the box."


@pytest.mark.parametrize("fmt", ["csv", "xlsx"])
def test_the_list_goes_to_a_spreadsheet(fmt, items, guest, client_for):
    answer = client_for(guest).get(url("work-export", fmt))
    if fmt == "csv":
        lines = answer.content.decode("utf-8-sig").splitlines()
        assert len(lines) == 4
        assert "Lid loose." in lines[1]
    else:
        sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
        assert [sheet.cell(row, 9).value for row in (2, 3, 4)] == [
            "Lid loose.",
            "Lane dead.",
            "Dirt in the cabinet.",
        ]
    assert client_for(guest).get(url("work-export", "pdf")).status_code == 404


def test_queries_of_the_list_do_not_grow_with_it(
    items, guest, client_for, django_assert_max_num_queries
):
    client = client_for(guest)
    for n in range(20):
        lane = factories.LaneFactory.create()
        work_found(wim_site=lane.wim_site, lane=lane, reason=f"Hole {n}.", by=guest)
    with django_assert_max_num_queries(16):
        client.get(url("work-list"))


# --- one item ----------------------------------------------------------------------


def test_a_report_asks_for_the_site_first_then_what(world, analyst, client_for):
    client = client_for(analyst)
    assert "Which site" in client.get(url("work-add")).content.decode()
    to = f"{url('work-add')}?site=OV-014"
    assert client.get(to).status_code == 200
    answer = client.post(
        to,
        {
            "reason": "A driver says the grout is loose.",
            "installation": world.live[1].pk,
            "since_on": TODAY.isoformat(),
            "reported_by": "A driver",
        },
    )
    item = WorkItem.objects.get()
    assert answer["Location"] == item.get_absolute_url()
    assert (item.source, item.lane) == (WorkSource.REPORT, world.lanes[1])
    page = client.get(item.get_absolute_url()).content.decode()
    assert "told by A driver" in page
    assert "analyst" in page  # who wrote it


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("reason", "", "This field is required"),
        ("since_on", (TODAY + DAY).isoformat(), "lies ahead of today"),
        ("since_on", "2024-02-31", "Enter a valid date"),
        ("part", "flux box", "is not one of the available choices"),
        ("hours", "-3", "greater than or equal to 0"),
    ],
)
def test_a_report_that_cannot_be_is_sent_back_with_words(
    field, value, said, world, technician, client_for
):
    sent = {"reason": "Hole.", "since_on": TODAY.isoformat(), field: value}
    answer = client_for(technician).post(f"{url('work-add')}?site=OV-014", sent)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not WorkItem.objects.exists()


def test_forged_lanes_sensors_and_sites_are_refused(world, technician, client_for):
    client = client_for(technician)
    other = factories.InstallationFactory.create()
    to = f"{url('work-add')}?site=OV-014"
    sent = {"reason": "Hole.", "since_on": TODAY.isoformat()}
    for more in (
        {"lane": other.lane_id},
        {"installation": other.pk},
        {"lane": world.lanes[0].pk, "installation": world.live[1].pk},
        {"lane": 999_999},
    ):
        assert client.post(to, sent | more).status_code == 422
    assert client.get(f"{url('work-add')}?site=XX-1").status_code == 404
    assert not WorkItem.objects.exists()


def test_an_item_is_assigned_done_verified_from_its_page(
    items, technician, manager, client_for
):
    client, item = client_for(manager), items["lid"]
    page = client.get(item.get_absolute_url()).content.decode()
    assert "Give it to somebody" in page
    assert "Looked at, it is good" not in page
    client.post(url("work-act", item.pk, "assign"), {"to": technician.pk})
    item.refresh_from_db()
    assert (item.state, item.assigned_to) == ("assigned", technician)
    sent = {"done_on": TODAY.isoformat(), "note": "New lid."}
    client.post(url("work-act", item.pk, "done"), sent)
    client.post(url("work-act", item.pk, "verify"), {})
    item.refresh_from_db()
    assert item.state == "verified"
    page = client.get(item.get_absolute_url()).content.decode()
    assert "verified; manager" in page
    assert "done; manager, New lid." in page


@pytest.mark.parametrize(
    ("act", "sent", "said"),
    [
        ("verify", {}, "cannot become “verified”"),
        ("release", {}, "cannot become “found”"),
        ("reopen", {"reason": "x"}, "open already"),
        ("drop", {"reason": ""}, "This field is required"),
        ("done", {"done_on": "2024-06-02"}, "lies ahead"),
        ("assign", {"to": 999_999}, "not one of the available choices"),
        ("plan", {"trip": 999_999}, "not one of the available choices"),
    ],
)
def test_what_cannot_follow_is_refused_in_words(
    act, sent, said, items, manager, client_for
):
    answer = client_for(manager).post(url("work-act", items["lid"].pk, act), sent)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert WorkItem.objects.get(pk=items["lid"].pk).state == "found"


def test_work_goes_to_people_who_can_work_on_it_only(items, guest, manager, client_for):
    to = url("work-act", items["lid"].pk, "assign")
    answer = client_for(manager).post(to, {"to": guest.pk})
    assert answer.status_code == 422
    assert client_for(guest).post(to, {"to": manager.pk}).status_code == 403
    assert client_for(manager).post(to.replace("assign", "eat"), {}).status_code == 404


def test_what_the_program_found_keeps_its_own_words(world, manager, client_for):
    item = WorkItem.objects.create(
        source=WorkSource.DRIFT,
        source_key="drift:1",
        wim_site=world.wim_site,
        reason="Reads light.",
        since_on=TODAY,
        evidence=[
            {"text": "Lane", "page": ["lane-detail", "OV-014", world.lanes[0].label]},
            {"text": "An old page", "page": ["gone-page", 1]},
            {"text": "gone", "page": [], "no longer seen": "2024-05-30"},
        ],
    )
    client = client_for(manager)
    page = client.get(item.get_absolute_url()).content.decode()
    assert "No longer seen." in page
    assert f'href="{world.lanes[0].get_absolute_url()}">Lane</a>' in page
    assert "<li>An old page</li>" in page
    assert client.get(url("work-edit", item.pk)).status_code == 302


def test_the_button_looks_for_work_and_says_what_it_found(
    world, manager, guest, client_for
):
    answer = client_for(manager).post(reverse("find-work"), follow=True)
    assert "new on the list" in answer.content.decode()
    item = WorkItem.objects.filter(source=WorkSource.CALIBRATION_DUE).first()
    assert item.history.get().history_user == manager
    assert client_for(guest).post(reverse("find-work")).status_code == 403
    assert client_for(manager).get(reverse("find-work")).status_code == 405


# --- trips -------------------------------------------------------------------------


def site_at(code, latitude, longitude):
    return factories.SiteFactory.create(
        code=code, latitude=latitude, longitude=longitude
    )


@pytest.fixture
def spread(technician, program, held_clock):
    """Work at two near sites, a far one and one whose place nobody knows.

    A degree of latitude is 111.2 km on a sphere of the Earth's mean radius, so 0.2° is
    22 km and 2° is 222 km.
    """
    places = {
        "OV-201": (40.0, -105.0),
        "OV-202": (40.2, -105.0),
        "OV-203": (42.0, -105.0),
    }
    for code, (latitude, longitude) in places.items():
        work_found(
            wim_site=site_at(code, latitude, longitude),
            reason=f"Work at {code}.",
            is_hazard=code == "OV-202",
            by=technician,
        )
    lost = factories.SiteFactory.create(code="OV-204")
    work_found(wim_site=lost, reason="Work somewhere.", by=technician)


def test_near_work_is_grouped_and_far_work_goes_by_itself(spread, guest, client_for):
    found = trip_proposals(TODAY)
    assert [one.trip.sites for one in found] == [
        ("OV-202", "OV-201"),
        ("OV-203",),
        ("OV-204",),
    ]
    assert found[0].trip.distance_km == pytest.approx(22.24, abs=0.01)
    assert found[2].without_place == ("OV-204",)
    text = client_for(guest).get(url("trip-proposed")).content.decode()
    assert "13.82 mi" in text  # 22.24 km
    assert "Make this trip" not in text
    near = client_for(guest).get(url("trip-proposed"), {"within_km": "10"})
    assert near.context["n_proposals"] == 4  # 10 miles


def test_one_press_makes_a_trip_of_a_proposal(spread, technician, client_for):
    client, first = client_for(technician), trip_proposals(TODAY)[0]
    answer = client.post(
        url("trip-add"),
        {
            "items": first.item_ids,
            "leader": technician.pk,
            "starts_on": (TODAY + DAY).isoformat(),
        },
    )
    trip = Trip.objects.get()
    assert answer["Location"] == trip.get_absolute_url()
    items = trip.work_items.all()
    assert {i.state for i in items} == {"planned"}
    assert {i.assigned_to for i in items} == {technician}
    page = client.get(trip.get_absolute_url()).content.decode()
    assert page.index("1. <a") < page.index("OV-202") < page.index("OV-201")
    assert "no work on the carriageway without one" in page
    assert "The drive: rest before it" in page
    assert "Before you start" in page
    assert len(trip_proposals(TODAY)) == 2  # the rest
    client.post(url("trip-off", trip.pk), {"reason": "Snow"})
    assert {i.state for i in trip.work_items.all()} == set()
    assert len(trip_proposals(TODAY)) == 3


def test_a_trip_with_forged_or_closed_work_is_not_made(spread, technician, client_for):
    item = WorkItem.objects.first()
    work_done(item=item, done_on=TODAY, by=technician)
    for pk in (item.pk, 999_999):
        answer = client_for(technician).post(
            url("trip-add"), {"items": [pk], "starts_on": TODAY.isoformat()}
        )
        assert answer.status_code == 422
    backwards = {"starts_on": "2024-06-03", "ends_on": "2024-06-02"}
    answer = client_for(technician).post(url("trip-add"), backwards)
    assert "cannot end before it starts" in answer.content.decode()
    assert not Trip.objects.exists()


@pytest.mark.parametrize("asked", [{"within_km": "-1"}, {"hours_per_trip": "nan"}])
def test_a_reach_that_cannot_be_is_told(asked, spread, guest, client_for):
    answer = client_for(guest).get(url("trip-proposed"), asked)
    assert answer.status_code == 200
    assert answer.context["form"].errors


# --- preventive schedule -------------------------------------------------------------

SOUND = {
    "name": "Pests",
    "part": "pests",
    "trigger": "calendar",
    "interval_months": "6",
    "season_months": ["4", "10"],
    "hours": "0.5",
    "source": "the agency's",
    "is_in_use": "on",
}


def test_a_rule_is_written_with_its_months_and_kept(world, manager, client_for):
    client = client_for(manager)
    client.post(url("rule-add"), SOUND)
    rule = PreventiveRule.objects.get()
    assert rule.season_months == [4, 10]
    page = client.get(url("rule-list")).content.decode()
    assert "April, October" in page
    form = client.get(url("rule-edit", rule.pk)).context["form"]
    assert form["season_months"].value() == ["4", "10"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"technology": "quartz piezo"}, "not both"),
        ({"part": ""}, "not neither"),
        ({"interval_months": ""}, "it needs its months"),
        ({"trigger": "condition"}, "needs the condition in words"),
        ({"season_months": ["13"]}, "not one of the available choices"),
        ({"interval_months": "0"}, "greater than or equal to 1"),
        ({"source": ""}, "This field is required"),
    ],
)
def test_a_rule_that_cannot_be_followed_is_sent_back(
    more, said, manager, program, client_for
):
    answer = client_for(manager).post(url("rule-add"), SOUND | more)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not PreventiveRule.objects.exists()


def test_the_starting_set_is_taken_in_once_and_leaves_changes_alone(
    world, manager, technician, client_for
):
    client = client_for(manager)
    client.post(url("rules-seed"))
    rules = PreventiveRule.objects.all()
    assert rules.count() > 20
    assert set(rules.values_list("source", flat=True)) == {"common practice, no source"}
    one = rules.first()
    one.interval_months, one.source = 9, "the agency's"
    one.save()
    n = rules.count()
    client.post(url("rules-seed"))
    one.refresh_from_db()
    assert (rules.count(), one.interval_months) == (n, 9)
    for rule in rules:
        rule.full_clean()
    assert client_for(technician).post(url("rules-seed")).status_code == 403


def test_the_schedule_tells_the_state_of_each_rule_at_a_site(
    world, manager, technician, client_for
):
    client_for(manager).post(url("rule-add"), SOUND | {"season_months": []})
    rule = PreventiveRule.objects.get()
    made = dt.datetime(2018, 1, 1, tzinfo=dt.UTC)
    PreventiveRule.objects.update(created_at=made)
    client = client_for(technician)
    page = client.get(url("rule-schedule")).content.decode()
    assert "overdue since 2018-12-01" in page  # six months after 1 June 2018
    to = url("rule-done", rule.pk, "OV-014")
    answer = client.post(to, {"done_on": (TODAY + DAY).isoformat()})
    assert "lies ahead" in answer.content.decode()
    client.post(to, {"done_on": TODAY.isoformat()})
    assert PreventiveDone.objects.get().done_on == TODAY
    again = client.post(to, {"done_on": TODAY.isoformat()})
    assert "already" in again.content.decode()
    page = client.get(url("rule-schedule"), {"site": "OV-014"}).content.decode()
    assert "due on 2024-12-01; last done 2024-06-01" in page


def test_the_schedule_of_a_site_that_is_not_there_is_all_of_it(
    world, guest, client_for
):
    answer = client_for(guest).get(url("rule-schedule"), {"site": "XX-1"})
    assert answer.status_code == 200
    assert answer.context["chosen"] is None


def test_the_health_page_leads_to_the_open_work_by_urgency(items, guest, client_for):
    text = client_for(guest).get(reverse("health")).content.decode()
    line = text.split('class="work-line"')[1].split("</p>")[0]
    assert f'href="{url("work-list")}?urgency=at%20once">1 ' in line
    assert f'href="{url("work-list")}?urgency=this%20month">0 ' in line
