"""The reliability page: figures by group with n and interval. All data invented."""

import csv
import datetime as dt
import io

import pytest
from django.urls import reverse

from installs.models import CabinetUnit, DownSpell, FailureReport
from installs.selectors.reliability import GroupBy, cabinet_lives, reliability
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = dt.date(2024, 6, 1)
NOW = dt.datetime(2024, 6, 1, 12, tzinfo=dt.UTC)


def found(by=GroupBy.TECHNOLOGY, technology="", years=1):
    return reliability(TODAY, NOW, by=by, technology=technology, years=years)


def test_one_group_by_hand(world):
    (group,) = found().groups
    assert (group.name, group.n_lives, group.n_failures) == ("polymer piezo", 3, 1)
    # Days counted by hand: 1,096 + 1,082 + 1,461, one failure among them.
    assert group.service_years == pytest.approx(3639 / 365.25)
    assert group.between.value == pytest.approx(3639 / 365.25)
    # Failed on 1 June 2021, filled on 15 June 2021.
    assert (group.repair.value, group.repair.n) == (14.0, 1)
    by_age = {at.age_years: at for at in group.survival}
    # At 3.00 years one of two at risk failed: the third sensor is 2.96 years old.
    assert by_age[2.0].value == 1.0
    assert by_age[2.0].at_risk == 3
    assert by_age[5.0].value is None
    lanes = {at.age_years: at for at in group.per_lane}
    # One failure in the lane that is 6.0 years old, none in the one of 4.0 years.
    assert (lanes[5.0].value, lanes[5.0].at_risk) == (pytest.approx(0.5), 1)
    assert (lanes[1.0].value, lanes[1.0].at_risk) == (0.0, 2)
    assert lanes[10.0].value is None


def test_what_was_logged_stands_in_the_place_of_the_days_between(world):
    DownSpell.objects.create(
        lane=world.lanes[0],
        installation=world.failed,
        began_at=dt.datetime(2021, 6, 1, tzinfo=dt.UTC),
        ended_at=dt.datetime(2021, 6, 5, tzinfo=dt.UTC),
        cause="sensor failure",
    )
    (group,) = found(years=5).groups
    assert group.repair.value == 4.0
    # Both lanes over five years, 365.25 days each; one of them down for four days.
    assert group.works.value == pytest.approx(1 - 4 / (5 * 365.25), abs=1e-6)
    assert group.works.n == 1  # of the other lane nothing is known


def test_nothing_known_of_the_lanes_is_no_data(world):
    page = found()
    assert page.groups[0].works is None
    assert page.n_lanes_unknown == 2


def test_groups_are_compared_with_a_warning_on_small_numbers(world):
    world.live[0].sensor.lot = world.failed.sensor.lot = "A"
    world.live[0].sensor.save()
    world.failed.sensor.save()
    other = world.live[1]
    other.sensor.lot = "B"
    other.sensor.save()
    factories.InstallationFactory(lane=world.lanes[1])
    page = found(GroupBy.LOT)
    assert [one.name for one in page.groups] == ["A", "B", "not recorded"]
    assert {one.name for one in page.comparison.groups} == {"A", "B"}
    assert "by chance easily" in page.comparison.warning
    assert found(GroupBy.CLIMATE).comparison is None


def test_mixed_technologies_and_one_week_are_warned(world):
    plate = factories.SensorModelFactory(technology="bending plate", name="Plate")
    for place in range(3):
        factories.InstallationFactory(
            sensor=factories.SensorFactory(model=plate),
            lane=world.lanes[1],
            position=f"plate {place}",
            ended_on=dt.date(2023, 6, 1 + place),
            end_reason="failed",
            failure_mode="plate or anchor",
        )
    said = " ".join(found(GroupBy.PAVEMENT).warnings)
    assert "mixes technologies" in said
    assert "lie within one week" in said
    alone = found(GroupBy.PAVEMENT, technology="bending plate")
    assert "mixes technologies" not in " ".join(alone.warnings)
    assert {one.cause for one in alone.modes} == {"plate or anchor"}


def test_a_failure_on_the_first_day_and_an_empty_place_are_counted(world):
    factories.InstallationFactory(
        lane=factories.LaneFactory(wim_site=world.wim_site, number=3),
        installed_on=dt.date(2023, 6, 1),
        ended_on=dt.date(2023, 6, 1),
        end_reason="failed",
        failure_mode="element",
    )
    (group,) = found().groups
    assert (group.n_failures, group.n_unrepaired, group.n_lanes) == (2, 1, 3)
    assert "1 still down" in group.repair.note
    assert group.counts.failures == (1, 1)


def test_cabinet_units_tell_a_median_only_where_it_can_be_told(world):
    for fitted, ended in (((2018, 1), (2020, 1)), ((2019, 1), (2022, 1))):
        CabinetUnit.objects.create(
            wim_site=world.wim_site,
            part="battery",
            name="12 V, 80 Ah",
            fitted_on=dt.date(*fitted, 1),
            ended_on=dt.date(*ended, 1),
            end_reason="failed",
        )
    CabinetUnit.objects.create(
        wim_site=world.wim_site,
        part="controller",
        name="invented",
        fitted_on=dt.date(2020, 1, 1),
    )
    battery, controller = cabinet_lives(TODAY)
    assert (battery.part, battery.n, battery.n_failed) == ("battery", 2, 2)
    assert battery.figures.median.years == pytest.approx(730 / 365.25)  # 2018, 2019
    assert (controller.n_failed, controller.figures.median.years) == (0, None)
    assert controller.figures.between.value is None


def test_the_page_bounds_its_queries(world, django_assert_max_num_queries):
    FailureReport.objects.create(
        installation=world.failed,
        found_on=TODAY,
        found_by="M. Tarn",
        mode="splice",
        evidence="none",
    )
    with django_assert_max_num_queries(14):
        found(GroupBy.LOT)


@pytest.mark.parametrize("by", ["", "magic", *[str(one) for one in GroupBy]])
def test_the_page_shows_every_grouping(client_for, guest, world, by):
    url = reverse("installs:reliability")
    answer = client_for(guest).get(url, {"by": by, "years": "abc"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "3 lives of sensors, 1 failure" in page
    assert "1 of the 1 failures are not reported" in page
    assert "No data: no cabinet unit is recorded." in page


def test_the_page_without_anything_says_no_data(client_for, guest, program):
    page = client_for(guest).get(reverse("installs:reliability")).content.decode()
    assert "No data: no such sensor’s installation is recorded." in page


def test_the_export_has_a_row_a_group_with_n(client_for, guest, world):
    url = reverse("installs:reliability-export", args=["csv"])
    got = client_for(guest).get(url)
    (row,) = csv.DictReader(io.StringIO(got.content.decode("utf-8-sig")))
    assert (row["group"], row["lives"], row["failures"]) == ("polymer piezo", "3", "1")
    assert row["share working at 2 years, n"] == "3"
    assert row["share working at 5 years"] == "no data"
    xlsx = reverse("installs:reliability-export", args=["xlsx"])
    assert client_for(guest).get(xlsx).content[:2] == b"PK"
    odd = reverse("installs:reliability-export", args=["pdf"])
    assert client_for(guest).get(odd).status_code == 404
