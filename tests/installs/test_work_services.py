"""Work items change state one way, by named people, and never twice."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from installs.calc.upkeep.types import WorkSource, WorkState
from installs.models import PreventiveDone, PreventiveRule, Trip, WorkItem
from installs.services.trips import trip_call_off, trip_save
from installs.services.work import (
    schedule_key,
    work_assign,
    work_done,
    work_drop,
    work_found,
    work_plan,
    work_release,
    work_reopen,
    work_report,
    work_verify,
)
from tests import factories
from tests.conftest import TODAY
from wimprog.lib.errors import DomainError

DAY = dt.timedelta(days=1)


@pytest.fixture
def item(world, technician):
    return work_found(
        wim_site=world.wim_site,
        lane=world.lanes[0],
        part="pull boxes and conduit",
        reason="The lid of the pull box is loose.",
        cause="pull box lid",
        is_hazard=True,
        since_on=TODAY - 5 * DAY,
        by=technician,
    )


@pytest.fixture
def rule(world, manager):
    return PreventiveRule.objects.create(
        name="Load test of the battery",
        part="battery",
        interval_months=6,
        source="common practice, no source",
    )


def trip(by, **more):
    return trip_save(trip=Trip(starts_on=TODAY + DAY, leader=by, **more), by=by)


def test_what_was_found_at_a_visit_is_on_the_list_with_who_and_why(item, technician):
    kept = WorkItem.objects.open().get()
    assert kept == item
    assert (kept.source, kept.state) == (WorkSource.VISIT, WorkState.FOUND)
    first = kept.history.get()
    assert first.history_user == technician
    assert first.history_change_reason == "found at a visit"


def test_the_day_and_the_lane_follow_from_the_visit_and_the_sensor(world, technician):
    # 2023-05-04 03:00 UTC is still 3 May at the site (Mountain time)
    visit = factories.MaintenanceVisitFactory.create(
        wim_site=world.wim_site, arrived_at=dt.datetime(2023, 5, 4, 3, tzinfo=dt.UTC)
    )
    found = work_found(
        wim_site=world.wim_site,
        installation=world.live[1],
        reason="Grout is open.",
        visit=visit,
        by=technician,
    )
    assert found.since_on == dt.date(2023, 5, 3)
    assert found.lane == world.lanes[1]


def test_from_found_to_verified(item, technician, manager):
    work_assign(item=item, to=technician, by=manager)
    planned = work_plan(item=item, trip=trip(technician), by=manager)
    assert planned.state == WorkState.PLANNED
    done = work_done(item=item, done_on=TODAY, note="New lid.", by=technician)
    assert (done.state, done.done_on, done.closing_note) == ("done", TODAY, "New lid.")
    verified = work_verify(item=item, by=manager)
    assert (verified.state, verified.verified_on) == ("verified", TODAY)
    states = list(item.history.order_by("history_id").values_list("state", flat=True))
    assert states == ["found", "assigned", "planned", "done", "verified"]


def test_a_state_out_of_order_is_refused_in_words_and_changes_nothing(item, manager):
    with pytest.raises(DomainError, match="“found”, so it cannot become “verified”"):
        work_verify(item=item, by=manager)
    work_done(item=item, done_on=TODAY, by=manager)
    # the caller's copy still says "found"; the kept one decides
    assert item.state == "found"
    with pytest.raises(DomainError, match="cannot become “done”"):
        work_done(item=item, done_on=TODAY, by=manager)
    with pytest.raises(DomainError, match="cannot become “not needed”"):
        work_drop(item=item, reason="late", by=manager)
    with pytest.raises(DomainError, match="only open work is taken back"):
        work_release(item=item, by=manager)
    work_verify(item=item, by=manager)
    with pytest.raises(DomainError, match="nothing follows that"):
        work_reopen(item=item, reason="still loose", by=manager)
    assert WorkItem.objects.get().state == "verified"


@pytest.mark.parametrize(
    ("done_on", "said"),
    [(TODAY + DAY, "lies ahead of today"), (TODAY - 6 * DAY, "It was found on")],
)
def test_a_day_that_cannot_be_is_refused(item, manager, done_on, said):
    with pytest.raises(DomainError, match=said):
        work_done(item=item, done_on=done_on, by=manager)
    assert WorkItem.objects.get().state == "found"


def test_work_due_by_a_date_may_be_done_before_that_date(world, manager):
    due = WorkItem.objects.create(
        source=WorkSource.CALIBRATION_DUE,
        wim_site=world.wim_site,
        reason="Calibrate.",
        since_on=TODAY + 20 * DAY,
    )
    assert work_done(item=due, done_on=TODAY, by=manager).state == "done"


def test_other_sites_visits_lanes_and_sensors_are_refused(item, world, technician):
    other = factories.LaneFactory.create()
    elsewhere = factories.MaintenanceVisitFactory.create(wim_site=other.wim_site)
    with pytest.raises(DomainError, match="Choose a visit to OV-014"):
        work_done(item=item, done_on=TODAY, visit=elsewhere, by=technician)
    strange = factories.InstallationFactory.create(lane=other)
    for more in ({"lane": other}, {"installation": strange}, {"visit": elsewhere}):
        with pytest.raises(DomainError, match="OV-014"):
            work_found(
                wim_site=world.wim_site,
                reason="x",
                since_on=TODAY,
                by=technician,
                **more,
            )
    assert WorkItem.objects.count() == 1


def test_a_report_needs_words_and_a_day_that_has_come(world, analyst):
    def item(**more):
        told = {"reason": "Puddle on the sensor.", "since_on": TODAY, **more}
        return WorkItem(source=WorkSource.REPORT, wim_site=world.wim_site, **told)

    kept = work_report(item=item(reported_by="A driver"), by=analyst)
    assert kept.source == WorkSource.REPORT
    with pytest.raises(DomainError, match="lies ahead"):
        work_report(item=item(since_on=TODAY + DAY), by=analyst)
    with pytest.raises(ValidationError):
        work_report(item=item(reason="  "), by=analyst)
    with pytest.raises(ValidationError):
        work_report(item=item(part="flux box"), by=analyst)
    assert WorkItem.objects.count() == 1


def test_not_needed_and_opened_again_say_why(item, manager):
    with pytest.raises(DomainError, match="Say why"):
        work_drop(item=item, reason=" ", by=manager)
    work_drop(item=item, reason="Box was taken out", by=manager)
    with pytest.raises(DomainError, match="Say why"):
        work_reopen(item=item, reason="", by=manager)
    again = work_reopen(item=item, reason="Wrong box", by=manager)
    assert (again.state, again.closing_note) == ("found", "")
    with pytest.raises(DomainError, match="open already"):
        work_reopen(item=item, reason="Wrong box", by=manager)


def test_a_finding_is_not_opened_twice(world, manager):
    def raised():
        return WorkItem.objects.create(
            source=WorkSource.DRIFT,
            source_key="drift:1",
            wim_site=world.wim_site,
            reason="Reads light.",
            since_on=TODAY,
        )

    first = raised()
    work_done(item=first, done_on=TODAY, by=manager)
    raised()
    with pytest.raises(DomainError, match="on the list again"):
        work_reopen(item=first, reason="not good", by=manager)


def test_work_is_given_to_people_with_an_open_account_only(item, technician, manager):
    technician.is_active = False
    technician.save()
    with pytest.raises(DomainError, match="account of technician is closed"):
        work_assign(item=item, to=technician, by=manager)


def test_planned_work_can_go_to_somebody_else_and_stays_planned(
    item, technician, manager
):
    work_plan(item=item, trip=trip(technician), by=manager)
    given = work_assign(item=item, to=manager, by=manager)
    assert (given.state, given.assigned_to) == ("planned", manager)


def test_a_trip_called_off_gives_its_open_work_back(item, world, technician, manager):
    gone = trip(technician)
    done = work_found(
        wim_site=world.wim_site, reason="Dirt.", since_on=TODAY, by=technician
    )
    for one in (item, done):
        work_plan(item=one, trip=gone, by=manager)
    work_done(item=done, done_on=TODAY, by=technician)
    with pytest.raises(DomainError, match="Say why"):
        trip_call_off(trip=gone, reason="", by=manager)
    off = trip_call_off(trip=gone, reason="Snow", by=manager)
    assert off.called_off_on == TODAY
    item.refresh_from_db()
    done.refresh_from_db()
    assert (item.state, item.trip, item.assigned_to) == ("found", None, None)
    assert (done.state, done.trip) == ("done", gone)
    assert item.history.first().history_change_reason == "trip called off: Snow"
    for again in (
        lambda: trip_call_off(trip=gone, reason="Snow", by=manager),
        lambda: work_plan(item=item, trip=gone, by=manager),
        lambda: trip_save(trip=gone, by=manager),
    ):
        with pytest.raises(DomainError, match="called off"):
            again()


def test_a_trip_with_closed_work_is_not_made_at_all(item, world, manager):
    work_drop(item=item, reason="gone", by=manager)
    with pytest.raises(DomainError, match="cannot become “planned”"):
        trip_save(trip=Trip(starts_on=TODAY), items=[item], by=manager)
    with pytest.raises(DomainError, match="days ago"):
        trip_save(trip=Trip(starts_on=TODAY - 400 * DAY), by=manager)
    with pytest.raises(ValidationError, match="cannot end before it starts"):
        trip_save(trip=Trip(starts_on=TODAY, ends_on=TODAY - DAY), by=manager)
    assert not Trip.objects.exists()


def test_scheduled_work_done_counts_for_its_rule_and_not_when_opened_again(
    world, rule, manager
):
    item = WorkItem.objects.create(
        source=WorkSource.SCHEDULE,
        source_key=schedule_key(rule.pk, world.wim_site.pk, None),
        wim_site=world.wim_site,
        reason=rule.name,
        since_on=TODAY - 9 * DAY,
    )
    work_done(item=item, done_on=TODAY - 2 * DAY, by=manager)
    noted = PreventiveDone.objects.get()
    assert (noted.rule, noted.wim_site, noted.done_on) == (
        rule,
        world.wim_site,
        TODAY - 2 * DAY,
    )
    work_reopen(item=item, reason="Another battery was tested", by=manager)
    assert not PreventiveDone.objects.exists()
    assert PreventiveDone.history.filter(history_type="-").count() == 1
