"""Work is found from every source, once a finding, and closed by people only."""

import datetime as dt
import json

import pytest
from django.core.cache import cache
from django.core.management import call_command

from installs.calc.upkeep.types import WorkSource
from installs.models import CabinetCheck, PreventiveRule, WorkItem
from installs.selectors.work import is_gone
from installs.services.work import work_done, work_drop
from quality.models import DriftEpisode, LaneDay
from tests import factories
from tests.conftest import TODAY
from tests.quality.factories import LaneDayFactory
from wimprog.work import find_work, findings

DAY = dt.timedelta(days=1)


def at(day):
    return dt.datetime.combine(day, dt.time(18), tzinfo=dt.UTC)


@pytest.fixture
def quiet(world):
    """A world in which nothing asks for work but the calibrations never made."""
    for lane in world.lanes:
        records(lane, TODAY - DAY)
    for one in world.live:
        factories.ElectricalTestFactory.create(
            installation=one, tested_at=at(TODAY - 30 * DAY)
        )
    return world


def records(lane, day):
    return LaneDayFactory.create(lane=lane, date=day)


def of(program, source):
    cache.clear()  # these tests change days behind the back of their files
    return [one for one in findings(program, TODAY) if one.source is source]


def look(program, today=TODAY, by=None):
    return find_work(program, today, by)


def test_only_the_calibrations_never_made_are_work_in_a_quiet_world(quiet, program):
    found = findings(program, TODAY)
    assert {one.source for one in found} == {WorkSource.CALIBRATION_DUE}
    assert {one.lane_id for one in found} == {lane.pk for lane in quiet.lanes}
    assert all(one.due_on < TODAY for one in found)


def test_a_lane_is_silent_from_the_agencys_number_of_days(quiet, program):
    lane = quiet.lanes[0]
    LaneDay.objects.filter(lane=lane).update(date=TODAY - program.silent_days * DAY)
    assert of(program, WorkSource.FAILED_COMMUNICATION) == []
    LaneDay.objects.filter(lane=lane).update(
        date=TODAY - (program.silent_days + 1) * DAY
    )
    (found,) = of(program, WorkSource.FAILED_COMMUNICATION)
    assert found.lane_id == lane.pk
    assert found.since_on == TODAY - DAY


def test_a_lane_that_never_sent_is_silent_where_its_neighbour_sends(quiet, program):
    LaneDay.objects.filter(lane=quiet.lanes[0]).delete()
    (found,) = of(program, WorkSource.FAILED_COMMUNICATION)
    assert "ever, though it opened on 2018-06-01" in found.reason
    LaneDay.objects.all().delete()
    assert of(program, WorkSource.FAILED_COMMUNICATION) == []


def test_a_failed_sensor_without_another_in_its_place_is_work(quiet, program):
    one = quiet.live[1]
    one.ended_on, one.end_reason, one.failure_mode = TODAY - DAY, "failed", "splice"
    one.save()
    (found,) = of(program, WorkSource.SENSOR_FAILURE)
    assert (found.lane_id, found.lane_is_down) == (quiet.lanes[1].pk, True)
    factories.InstallationFactory.create(
        lane=one.lane, position=one.position, installed_on=TODAY
    )
    assert of(program, WorkSource.SENSOR_FAILURE) == []


def test_a_limit_missed_is_work_from_the_first_test_that_missed(quiet, program):
    one = quiet.live[0]
    factories.ElectricalLimitFactory.create(sensor_model=one.sensor.model, low=20.0)
    for days, value in ((90, 500.0), (60, 10.0), (29, 5.0)):
        test = factories.ElectricalTestFactory.create(
            installation=one, tested_at=at(TODAY - days * DAY)
        )
        factories.ReadingFactory.create(test=test, value=value)
    (found,) = of(program, WorkSource.ELECTRICAL_LIMIT)
    assert found.installation_id == one.pk
    assert found.since_on == TODAY - 60 * DAY
    assert "read 5" in found.reason
    assert found.spoils_data


def test_a_trend_that_heads_for_its_limit_is_work_before_it_is_there(quiet, program):
    one = quiet.live[0]
    factories.ElectricalLimitFactory.create(sensor_model=one.sensor.model, low=20.0)
    # a tenth every 200 days: 20 MΩ is log10(1000/20)/log10(10)*200 = 340 days on
    for days in (300, 200, 100, 0):
        test = factories.ElectricalTestFactory.create(
            installation=one, tested_at=at(TODAY - days * DAY)
        )
        factories.ReadingFactory.create(
            test=test, value=1000 * 10 ** ((days - 300) / 200)
        )
    found = of(program, WorkSource.ELECTRICAL_LIMIT)
    assert [one.spoils_data for one in found] == [False]
    assert "heading for its limit" in found[0].reason
    expected = TODAY - 300 * DAY + 340 * DAY
    assert f"{expected:%B %Y}" in found[0].reason


def test_sensors_without_a_test_for_a_year_are_one_item_a_lane(quiet, program):
    factories.InstallationFactory.create(
        lane=quiet.lanes[0], position="piezo 2", installed_on=TODAY - 367 * DAY
    )
    (found,) = of(program, WorkSource.INSPECTION_DUE)
    assert "piezo 2" in found.reason
    assert "piezo 1" not in found.reason
    assert found.due_on == TODAY - DAY


def test_a_site_that_nobody_visits_is_work(quiet, program):
    lane = factories.LaneFactory.create(opened_on=None)
    found = of(program, WorkSource.INSPECTION_DUE)
    assert [one.wim_site_id for one in found] == [lane.wim_site_id]
    factories.MaintenanceVisitFactory.create(
        wim_site=lane.wim_site, arrived_at=at(TODAY - 300 * DAY)
    )
    assert of(program, WorkSource.INSPECTION_DUE) == []


def episode(lane, **more):
    facts = {
        "onset_on": TODAY - 40 * DAY,
        "onset_low_on": TODAY - 50 * DAY,
        "onset_high_on": TODAY - 30 * DAY,
        "found_on": TODAY - 20 * DAY,
        "last_on": TODAY - DAY,
        "size_pct": -5.0,
        "size_low_pct": -6.0,
        "size_high_pct": -4.2,
        "n_weeks": 6,
        "n_trucks": 900,
        "shape": "step",
        "scope": "one lane",
        "method_version": "1",
        **more,
    }
    return DriftEpisode.objects.create(lane=lane, **facts)


def test_an_open_drift_is_work_and_says_its_interval(quiet, program):
    one = episode(quiet.lanes[0])
    (found,) = of(program, WorkSource.DRIFT)
    assert "5.0 % light (4.2 to 6.0 %)" in found.reason
    assert found.since_on == one.found_on
    one.state = "explained"
    one.save()
    assert of(program, WorkSource.DRIFT) == []


def test_of_a_lane_the_greatest_drift_is_told_and_a_small_one_is_no_work(
    quiet, program
):
    small = {"size_pct": -1.4, "size_low_pct": -2.1, "size_high_pct": -0.7}
    episode(
        quiet.lanes[0],
        onset_on=TODAY - 300 * DAY,
        onset_low_on=TODAY - 310 * DAY,
        onset_high_on=TODAY - 290 * DAY,
        **small,
    )
    assert of(program, WorkSource.DRIFT) == []
    episode(quiet.lanes[0])
    (found,) = of(program, WorkSource.DRIFT)
    assert "5.0 % light" in found.reason
    assert found.spoils_data


# --- once, up to date, gone, closed --------------------------------------------------


def test_looking_again_makes_nothing_new_and_no_history(quiet, program):
    first = look(program)
    assert (first.n_raised, WorkItem.objects.count()) == (2, 2)
    n_history = WorkItem.history.count()
    again = look(program)
    assert (again.n_raised, again.n_updated, again.n_gone) == (0, 0, 0)
    assert WorkItem.history.count() == n_history
    tomorrow = look(program, TODAY + DAY)  # day counts are not part of the words
    assert (tomorrow.n_raised, tomorrow.n_updated) == (0, 0)


def test_the_program_is_named_as_the_finder_and_a_person_who_asked(
    quiet, program, manager
):
    look(program)
    first = WorkItem.objects.first().history.get()
    assert first.history_user is None
    assert first.history_change_reason == "found by the program"
    episode(quiet.lanes[0])
    look(program, by=manager)
    drift = WorkItem.objects.get(source=WorkSource.DRIFT)
    assert drift.history.get().history_user == manager


def test_what_has_gone_stays_open_and_says_so_until_it_is_back(quiet, program):
    one = episode(quiet.lanes[0])
    look(program)
    one.state = "closed"
    one.save()
    assert look(program).n_gone == 1
    assert look(program).n_gone == 0  # told once
    item = WorkItem.objects.get(source=WorkSource.DRIFT)
    assert is_gone(item)
    assert item.state == "found"
    assert "Close it as not needed" in item.evidence[-1]["text"]
    one.state = "open"
    one.save()
    look(program)
    item.refresh_from_db()
    assert not is_gone(item)
    assert item.history.first().history_change_reason == "seen again"


def test_not_needed_stays_away_until_the_evidence_is_new(quiet, program, manager):
    one = episode(quiet.lanes[0])
    look(program)
    item = WorkItem.objects.get(source=WorkSource.DRIFT)
    work_drop(item=item, reason="Road works nearby", by=manager)
    assert look(program).n_left_closed == 1
    one.size_pct = -5.4  # still one step of the act limit (4 %)
    one.save()
    assert look(program).n_raised == 0
    one.size_pct, one.size_low_pct = -8.5, -9.0
    one.save()
    assert look(program).n_raised == 1
    assert WorkItem.objects.open().filter(source=WorkSource.DRIFT).count() == 1
    # down again to what was let be, and that item closed as well: nothing new
    work_drop(
        item=WorkItem.objects.open().get(source=WorkSource.DRIFT),
        reason="x",
        by=manager,
    )
    one.size_pct, one.size_low_pct = -5.0, -6.0
    one.save()
    assert look(program).n_raised == 0


def test_done_but_still_there_comes_back_after_its_days_and_says_so(
    quiet, program, manager
):
    episode(quiet.lanes[0])
    look(program)
    item = WorkItem.objects.get(source=WorkSource.DRIFT)
    work_done(item=item, done_on=TODAY, by=manager)
    assert look(program, TODAY + 28 * DAY).n_left_closed >= 1
    assert not WorkItem.objects.open().filter(source=WorkSource.DRIFT).exists()
    look(program, TODAY + 29 * DAY)
    again = WorkItem.objects.open().get(source=WorkSource.DRIFT)
    assert again.since_on == TODAY
    assert f"Said to be done on {TODAY}" in again.evidence[-1]["text"]


def test_an_electrical_limit_comes_back_with_a_new_test_only(quiet, program, manager):
    one = quiet.live[0]
    factories.ElectricalLimitFactory.create(sensor_model=one.sensor.model, low=20.0)
    test = one.electrical_tests.get()
    factories.ReadingFactory.create(test=test, value=5.0)
    look(program)
    item = WorkItem.objects.get(source=WorkSource.ELECTRICAL_LIMIT)
    work_done(item=item, done_on=TODAY, by=manager)
    assert look(program, TODAY + 100 * DAY).n_left_closed >= 1
    later = factories.ElectricalTestFactory.create(
        installation=one, tested_at=at(TODAY - DAY)
    )
    factories.ReadingFactory.create(test=later, value=6.0)
    look(program)
    assert WorkItem.objects.open().filter(source=WorkSource.ELECTRICAL_LIMIT).exists()


# --- preventive --------------------------------------------------------------------


def rule(**facts):
    one = PreventiveRule.objects.create(source="common practice, no source", **facts)
    PreventiveRule.objects.filter(pk=one.pk).update(created_at=at(dt.date(2018, 1, 1)))
    return one


def test_preventive_work_is_raised_when_due_and_done_moves_it_on(
    quiet, program, manager
):
    rule(name="Load test of the battery", part="battery", interval_months=12)
    look(program)
    item = WorkItem.objects.get(source=WorkSource.SCHEDULE)
    assert item.due_on == dt.date(2019, 6, 1)  # a year after the site's first day
    assert "never noted as done" in item.reason
    work_done(item=item, done_on=TODAY, by=manager)
    assert look(program).n_raised == 0
    look(program, TODAY + 340 * DAY)  # within 30 days of a year on
    again = WorkItem.objects.open().get(source=WorkSource.SCHEDULE)
    assert again.due_on == dt.date(2025, 6, 1)


def test_preventive_work_not_needed_comes_round_an_interval_later(
    quiet, program, manager
):
    rule(name="Pests", part="pests", interval_months=12)
    look(program)
    item = WorkItem.objects.get(source=WorkSource.SCHEDULE)
    work_drop(item=item, reason="Cabinet was new", by=manager)
    pests = WorkItem.objects.open().filter(source=WorkSource.SCHEDULE)
    look(program, TODAY + 300 * DAY)
    assert not pests.exists()
    look(program, TODAY + 366 * DAY)
    assert pests.exists()


def test_a_condition_the_program_can_see_raises_work_and_another_is_a_reminder(
    quiet, program
):
    rule(
        name="Change the battery",
        part="battery",
        trigger="condition",
        condition="voltage under load below 11.8 V",
    )
    rule(
        name="Look after the storm",
        part="surge protection",
        trigger="condition",
        condition="after a lightning strike",
    )
    for days, volts in ((200, 12.4), (100, 11.7), (10, 11.5)):
        visit = factories.MaintenanceVisitFactory.create(
            wim_site=quiet.wim_site, arrived_at=at(TODAY - days * DAY)
        )
        CabinetCheck.objects.create(
            visit=visit, part="battery", finding="watch", load_voltage_v=volts
        )
    (found,) = of(program, WorkSource.SCHEDULE)
    assert found.since_on == TODAY - 100 * DAY
    assert "voltage under load below 11.8 V" in found.reason


def test_a_part_that_is_not_fitted_needs_no_work(quiet, program):
    rule(name="Clean the panel", part="solar panel", interval_months=6)
    assert len(of(program, WorkSource.SCHEDULE)) == 1
    visit = factories.MaintenanceVisitFactory.create(
        wim_site=quiet.wim_site, arrived_at=at(TODAY - DAY)
    )
    CabinetCheck.objects.create(visit=visit, part="solar panel", finding="not fitted")
    assert of(program, WorkSource.SCHEDULE) == []


# --- bounded, and by command ---------------------------------------------------------


def test_looking_takes_no_more_queries_for_more_sites(
    quiet, program, django_assert_max_num_queries
):
    rule(name="Pests", part="pests", interval_months=12)
    with django_assert_max_num_queries(75):
        findings(program, TODAY)
    for _ in range(4):
        factories.InstallationFactory.create(installed_on=TODAY - 500 * DAY)
    with django_assert_max_num_queries(75):
        findings(program, TODAY)


def test_the_command_says_what_it_found(quiet, capsys):
    call_command("find_work")
    assert "2 findings looked at: 2 new on the list" in capsys.readouterr().out
    call_command("find_work", "--json")
    told = json.loads(capsys.readouterr().out)
    assert (told["n_seen"], told["n_raised"]) == (2, 0)
