"""The cabinet over time, and how long the lanes worked."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from installs.calc.upkeep.downtime import Spell
from installs.calc.upkeep.types import DowntimeCause
from installs.models import CabinetCheck, CabinetUnit, FailureReport
from installs.selectors.cabinet import cabinet_page
from installs.selectors.downtime import (
    failure_spells,
    lane_availability,
    lane_name,
    site_availability,
)
from tests import factories
from tests.installs import visit_factories as make
from wimprog.lib.errors import DomainError

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Denver")


def at(day, hour=0, month=5):
    return dt.datetime(2024, month, day, hour, tzinfo=ZONE)


MAY = {"begin": at(1), "end": at(31)}  # thirty days, 720 h


def check(wim_site, on, **parts):
    visit = factories.MaintenanceVisitFactory(
        wim_site=wim_site, arrived_at=dt.datetime.combine(on, dt.time(16), dt.UTC)
    )
    return CabinetCheck.objects.create(
        visit=visit, **{"part": "battery", "finding": "sound", **parts}
    )


# --- the cabinet ---------------------------------------------------------------------


def test_the_last_finding_of_each_part_and_the_battery_over_time(world):
    check(world.wim_site, dt.date(2023, 5, 3), rest_voltage_v=12.7, load_voltage_v=12.1)
    last = check(world.wim_site, dt.date(2024, 5, 3), rest_voltage_v=12.4)
    CabinetCheck.objects.create(visit=last.visit, part="clock", finding="not checked")
    check(factories.SiteFactory(), dt.date(2024, 5, 20), finding="needs work")
    page = cabinet_page(world.wim_site)
    states = {str(row.part): row for row in page.parts}
    assert states["battery"].check == last
    assert states["battery"].found_on == dt.date(2024, 5, 3)
    assert states["clock"].check is None  # not checked says nothing
    assert states["clock"].condition == "no data"
    assert len(states) == 13
    rest, load = page.battery_chart.series
    assert [point.y for point in rest.points] == [12.7, 12.4]
    assert [point.y for point in load.points] == [12.1, None]


def test_units_come_and_go(client_for, technician, guest, world):
    client = client_for(technician)
    add = reverse("installs:cabinet-unit-add", args=[world.wim_site.pk])
    sent = {"part": "battery", "name": "Invented Cells 80", "fitted_on": "2022-06-01"}
    assert client_for(guest).post(add, sent).status_code == 403
    late = client.post(add, sent | {"fitted_on": "2024-06-02"})
    assert "lies ahead of today (2024-06-01)" in late.content.decode()
    assert client.post(add, sent).status_code == 302
    unit = CabinetUnit.objects.get()
    [row] = cabinet_page(world.wim_site).units
    assert row.years == pytest.approx(2.0, abs=0.01)
    page = client.get(reverse("installs:cabinet", args=[world.wim_site.pk]))
    assert "Invented Cells 80" in page.content.decode()
    assert "never checked" in page.content.decode()

    end = reverse("installs:cabinet-unit-end", args=[unit.pk])
    gone = {"ended_on": "2022-05-01", "end_reason": "failed"}
    answer = client.post(end, gone)
    assert answer.status_code == 422
    assert "It was fitted on 2022-06-01" in answer.content.decode()
    assert client.post(end, gone | {"ended_on": "2024-05-31"}).status_code == 302
    again = client.post(end, gone | {"ended_on": "2024-06-01"})
    assert "left the cabinet on 2024-05-31 already" in again.content.decode()
    assert [one.unit for one in cabinet_page(world.wim_site).past_units] == [unit]


# --- availability --------------------------------------------------------------------


def test_nothing_known_is_no_data_not_a_hundred_percent(client_for, guest, world):
    found = lane_availability(world.lanes, **MAY)
    assert [one.figures for one in found] == [None, None]
    assert found[0].why.startswith("Nothing is known")
    whole = site_availability(world.wim_site, **MAY)
    assert whole.share is None
    url = reverse("installs:cabinet", args=[world.wim_site.pk])
    assert "no data" in client_for(guest).get(url).content.decode()


def test_a_visit_makes_a_lane_known(world):
    factories.MaintenanceVisitFactory(wim_site=world.wim_site, arrived_at=at(10))
    found = lane_availability(world.lanes, **MAY)
    assert [one.figures.share for one in found] == [1.0, 1.0]
    one_lane = factories.MaintenanceVisitFactory(
        wim_site=world.wim_site, lane=world.lanes[0], arrived_at=at(11)
    )
    assert one_lane.lane == world.lanes[0]
    rests = [one.rests_on for one in lane_availability(world.lanes, **MAY)]
    assert "2 visits and tests" in rests[0]
    assert "1 visit and tests" in rests[1]


def test_overlapping_hours_count_once_for_what_began_first(world):
    one, two = world.lanes
    make.down(one, began_at=at(2), ended_at=at(4))  # power, 48 h
    make.down(one, began_at=at(3), ended_at=at(6), cause="controller")  # 48 h more
    gap = Spell(
        lane=lane_name(two),
        begin=at(20),
        end=at(21),
        cause=DowntimeCause.NO_RECORDS,
    )
    whole = site_availability(world.wim_site, gaps=iter([gap]), **MAY)
    first, second = whole.lanes
    assert first.figures.down_hours == 96.0
    assert dict(first.figures.down_hours_by_cause) == {
        DowntimeCause.POWER: 48.0,
        DowntimeCause.CONTROLLER: 48.0,
    }
    assert first.figures.n_times_down == 1
    assert second.figures.down_hours == 24.0
    assert whole.lane_hours == 1440.0
    assert whole.share == pytest.approx(1 - 120 / 1440)


def test_a_failure_lasts_until_the_place_is_filled(world):
    [spell] = failure_spells(world.lanes)
    assert spell.begin.date() == dt.date(2021, 6, 1)
    assert spell.end.date() == dt.date(2021, 6, 15)
    life = world.live[1]
    life.ended_on, life.end_reason = dt.date(2024, 5, 21), "failed"
    life.failure_mode = "lead"
    life.save()
    FailureReport.objects.create(
        installation=life,
        found_on=dt.date(2024, 5, 21),
        found_by="M. Tarn",
        mode="lead",
        last_good_on=dt.date(2024, 5, 1),
        first_bad_on=dt.date(2024, 5, 11),
        evidence="readings",
    )
    two = lane_availability([world.lanes[1]], **MAY)[0]
    assert two.figures.down_hours == 480.0  # from the eleventh, still down
    assert two.times_down[0].is_open
    open_spell = failure_spells([world.lanes[1]])[0]
    assert open_spell.begin_uncertain_hours == 240.0
    # what a person logged of that sensor stands in its place
    make.down(world.lanes[1], installation=life, began_at=at(15), ended_at=at(16))
    two = lane_availability([world.lanes[1]], **MAY)[0]
    assert two.figures.down_hours == 24.0


def test_a_lane_rebuilt_another_way_is_not_down_for_ever(world):
    life = world.live[1]
    life.ended_on, life.end_reason = dt.date(2024, 5, 11), "failed"
    life.failure_mode = "element"
    life.save()
    other = factories.SensorModelFactory(technology="quartz piezo")
    factories.InstallationFactory(
        lane=world.lanes[1],
        position="quartz 1",
        installed_on=dt.date(2024, 5, 12),
        sensor=factories.SensorFactory(model=other),
    )
    two = lane_availability([world.lanes[1]], **MAY)[0]
    assert two.figures.down_hours == 24.0


def test_the_window_is_cut_to_the_time_in_service(world):
    lane = world.lanes[0]
    lane.opened_on = dt.date(2024, 5, 21)
    lane.save()
    lane.wim_site.in_service_on = None
    found = lane_availability([lane], lanes_with_records=[lane.pk], **MAY)[0]
    assert found.figures.window_hours == 240.0
    lane.closed_on = dt.date(2024, 5, 21)
    found = lane_availability([lane], lanes_with_records=[lane.pk], **MAY)[0]
    assert found.figures is None
    assert "not in service" in found.why
    with pytest.raises(DomainError, match="begin before it ends"):
        lane_availability([lane], begin=at(5), end=at(4))


def test_pages_read_in_a_bounded_number_of_queries(client_for, technician, world):
    client = client_for(technician)
    visit = factories.MaintenanceVisitFactory(wim_site=world.wim_site)
    urls = [
        reverse("installs:cabinet", args=[world.wim_site.pk]),
        visit.get_absolute_url(),
        reverse("installs:visit-edit", args=[visit.pk]),
        f"{reverse('installs:roadside')}?site=OV-014",
    ]

    def counts():
        found = []
        for url in urls:
            client.get(url)
            with CaptureQueriesContext(connection) as caught:
                assert client.get(url).status_code == 200
            found.append(len(caught))
        return found

    before_any = counts()
    for n in range(6):
        lane = world.lanes[n % 2]
        sensor = factories.InstallationFactory(lane=lane, position=f"extra {n}")
        item = make.work(
            world.wim_site, f"Work {n}.", lane=lane, installation=sensor,
            found_at_visit=visit,
        )  # fmt: skip
        item.done_at_visit = None
        make.down(lane, installation=sensor, begun_at_visit=visit)
        check(world.wim_site, dt.date(2024, 1, n + 1), rest_voltage_v=12.0)
        make.rule(f"Rule {n}", part="", technology="polymer piezo")
        make.spare(f"Part {n}")
    after = counts()
    assert [b - a for a, b in zip(before_any, after, strict=True)] == pytest.approx(
        [0, 0, 0, 0], abs=3
    )
