"""Reads behind dashboards and reports: lives, chances, electrical findings."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs import selectors
from tests import factories

pytestmark = pytest.mark.django_db


def test_a_life_is_failed_or_censored_with_its_age(world):
    (lives,) = selectors.lives_by_technology(dt.date(2024, 6, 1)).values()
    found = {life.key: (life.age_years * 365.25, life.failed) for life in lives}
    # Days counted by hand: 1096 from 2018-06-01 to 2021-06-01 (2020 is a leap year),
    # 1082 from 2021-06-15 and 1461 from 2020-06-01 to 2024-06-01.
    assert found == {
        str(world.failed.pk): (pytest.approx(1096), True),
        str(world.live[0].pk): (pytest.approx(1082), False),
        str(world.live[1].pk): (pytest.approx(1461), False),
    }


def test_a_working_sensor_taken_out_is_not_a_failure(world):
    factories.InstallationFactory(
        installed_on=dt.date(2019, 1, 1),
        ended_on=dt.date(2020, 1, 1),
        end_reason="pavement works",
    )
    (lives,) = selectors.lives_by_technology().values()
    assert (len(lives), sum(life.failed for life in lives)) == (4, 1)


def test_chances_grow_with_the_horizon_and_with_age(world):
    chances = selectors.sensor_chances(dt.date(2024, 6, 1))
    assert set(chances) == {one.pk for one in world.live}
    for within in chances.values():
        assert 0 < within[1][0] < within[2][0] < within[5][0] < 1
        assert all(low <= p <= high for p, low, high in within.values())
    younger, older = (chances[one.pk][2][0] for one in world.live)
    assert younger < older  # 2.96 and 4.00 years of a technology that wears out


def test_one_sensors_chance_equals_the_fleets(world):
    one = selectors.installation_chance(world.live[0], dt.date(2024, 6, 1))
    p = selectors.sensor_chances(dt.date(2024, 6, 1))[world.live[0].pk][2][0]
    assert one.within(2).probability == pytest.approx(p)


def test_chances_come_by_lane_with_their_basis(world):
    found = selectors.chances_by_lane(dt.date(2024, 6, 1))
    (one,) = found[world.lanes[0].pk]
    assert (one.position, one.installation_id) == ("piezo 1", world.live[0].pk)
    assert "1 failure in 3 lives" in one.basis


def test_the_agencys_expectation_takes_the_place_of_the_published_one(world):
    before = selectors.technology_expectations()["polymer piezo"]
    assert (before.is_agencys_own, before.cost) == (False, None)
    factories.TechnologyProfileFactory(expected_life_years=9.0)
    after = selectors.technology_expectations()["polymer piezo"]
    assert after.prior.median_years == 9.0
    assert after.is_agencys_own


def test_weighing_technologies_are_named_first(world):
    loop = factories.SensorModelFactory(technology="inductive loop", name="Loop")
    factories.InstallationFactory(
        lane=world.lanes[0], sensor=factories.SensorFactory(model=loop)
    )
    found = selectors.technologies_by_lane([lane.pk for lane in world.lanes])
    assert found[world.lanes[0].pk] == ("polymer piezo", "inductive loop")
    assert found[world.lanes[1].pk] == ("polymer piezo",)


def _readings(installation, values, stage="visit", step=60):
    for i, value in enumerate(values):
        test = factories.ElectricalTestFactory(
            installation=installation,
            stage=stage,
            tested_at=dt.datetime(2022, 1, 3, 18, tzinfo=dt.UTC)
            + dt.timedelta(days=step * i),
        )
        factories.ReadingFactory(test=test, value=value)


def test_findings_name_a_missed_limit_and_a_nearing_one(world):
    factories.ElectricalLimitFactory(sensor_model=world.live[0].sensor.model)
    _readings(world.live[0], [900.0, 15.0])
    _readings(world.live[1], [1000 * 10 ** (-60 * i / 365.25) for i in range(9)])
    found = selectors.electrical_findings([lane.pk for lane in world.lanes])
    first, second = (found[lane.pk] for lane in world.lanes)
    assert first.misses == (
        "Insulation resistance of piezo 1 read 15.0 MΩ on 4 Mar 2022; its limit is "
        "at least 20 MΩ.",
    )
    assert second.misses == ()
    ((what, on),) = second.crossings
    assert what == "Insulation resistance of piezo 1"
    assert abs((on - dt.date(2023, 9, 15)).days) <= 1


def test_bench_readings_are_not_followed_over_the_years(world):
    factories.ElectricalLimitFactory(sensor_model=world.live[0].sensor.model)
    _readings(world.live[0], [1.0], stage="bench")
    assert selectors.electrical_findings([world.lanes[0].pk]) == {}
    shown = selectors.installation_tests(
        type(world.live[0])
        .objects.select_related("sensor__model", "lane__wim_site")
        .get(pk=world.live[0].pk)
    )
    assert shown.stories == ()
    assert len(shown.rows) == 1


def test_findings_of_many_lanes_take_the_same_queries(world):
    def queries():
        ids = list(type(world.lanes[0]).objects.values_list("pk", flat=True))
        with CaptureQueriesContext(connection) as caught:
            selectors.electrical_findings(ids)
            selectors.chances_by_lane(dt.date(2024, 6, 1))
        return len(caught)

    _readings(world.live[0], [900.0, 800.0])
    few = queries()
    for _ in range(8):
        _readings(factories.InstallationFactory(), [900.0, 700.0])
    assert queries() == few
