"""Lives with brackets: what is known of a failure's day reaches the fit. Invented."""

import datetime as dt

import pytest
from django.urls import reverse

from installs import selectors
from installs.models import FailureReport
from tests.installs.test_failures_warranty import life, read_on  # noqa: F401

pytestmark = pytest.mark.django_db
TODAY = dt.date(2024, 6, 1)
YEAR = 365.25


def reported(installation, found_on, **more):
    return FailureReport.objects.create(
        installation=installation,
        found_on=found_on,
        found_by="M. Tarn",
        mode="splice",
        evidence="none",
        **more,
    )


def life_of(installation, today):
    (row,) = [r for r in selectors.life_rows(today) if r.pk == installation.pk]
    return row


def test_without_a_report_the_day_kept_is_the_day(world):
    row = life_of(world.failed, TODAY)
    assert (row.is_reported, row.bracket) == (False, None)
    assert row.life.age_years == pytest.approx(1096 / YEAR)
    assert not row.life.is_bracketed


def test_a_reported_day_that_is_not_known_is_bracketed_by_the_tests(world):
    # In the road from 1 June 2018, found failed on 1 June 2021: 1,096 days.
    read_on(world.failed, (2019, 6, 1), 500.0)
    read_on(world.failed, (2020, 6, 1), 1.0)  # misses its limit; nobody says it failed
    selectors_limits(world)
    reported(world.failed, dt.date(2021, 6, 1))
    found = life_of(world.failed, TODAY).life
    assert found.low_years == pytest.approx(365 / YEAR)
    assert found.high_years == pytest.approx(1096 / YEAR)


def selectors_limits(world):
    from tests import factories

    factories.ElectricalLimitFactory(sensor_model=world.failed.sensor.model)


def test_the_persons_last_good_day_stands_above_the_tests(world):
    selectors_limits(world)
    read_on(world.failed, (2019, 6, 1), 500.0)
    report = reported(
        world.failed,
        dt.date(2021, 6, 1),
        last_good_on=dt.date(2021, 3, 1),
        first_bad_on=dt.date(2021, 4, 1),
    )
    found = life_of(world.failed, TODAY).life
    assert found.low_years == pytest.approx(1004 / YEAR)  # to 1 March 2021
    assert found.high_years == pytest.approx(1035 / YEAR)
    report.day_is_known, report.last_good_on, report.first_bad_on = True, None, None
    report.save()
    assert life_of(world.failed, TODAY).bracket is None


def test_what_was_found_later_was_not_known_earlier(world):
    reported(world.failed, dt.date(2022, 2, 1))
    before = life_of(world.failed, dt.date(2021, 12, 1))
    assert (before.failed, before.ended_on) == (False, None)
    assert life_of(world.failed, dt.date(2022, 2, 1)).failed


def test_brackets_cost_a_bounded_number_of_queries(
    world, django_assert_max_num_queries
):
    reported(world.failed, dt.date(2021, 6, 1))
    with django_assert_max_num_queries(4):
        selectors.life_rows(TODAY)


def test_the_lives_page_shows_brackets_and_what_nothing_narrows(
    client_for, guest, world
):
    url = reverse("installs:lives") + "?technology=polymer piezo"
    page = client_for(guest).get(url).content.decode()
    assert "not reported" in page
    reported(world.failed, dt.date(2021, 6, 1))
    page = client_for(guest).get(url).content.decode()
    assert "1 Jun 2018 to 1 Jun 2021" in page
    assert "Of 1 failure nothing says" in page


def test_a_sensor_counts_from_the_day_since_which_failures_are_written_down(
    world, program
):
    """Delayed entry: an entry age in the likelihood (Nelson 1982; Meeker and Escobar
    1998, chapter 11, from memory); without it, old survivors make lives look long."""
    program.records_begin_on = dt.date(2020, 6, 1)
    program.save()
    found = life_of(world.failed, TODAY).life  # installed on 1 June 2018, failed 2021
    assert found.entry_age_years == pytest.approx(731 / YEAR)
    assert found.age_years == pytest.approx(1096 / YEAR)
    # as of a day before that, nothing was watched otherwise
    early = life_of(world.failed, dt.date(2020, 1, 1)).life
    assert early.entry_age_years == 0


def test_a_life_that_ended_before_is_left_out(world, program):
    n_all = len(selectors.life_rows(TODAY))
    program.records_begin_on = world.failed.ended_on
    program.save()
    rows = selectors.life_rows(TODAY)
    assert len(rows) == n_all - 1
    assert world.failed.pk not in {row.pk for row in rows}


def test_a_bracket_begins_no_earlier_than_the_watch(world, program):
    reported(world.failed, dt.date(2021, 6, 1))
    program.records_begin_on = dt.date(2020, 6, 1)
    program.save()
    found = life_of(world.failed, TODAY).life
    assert found.low_years == pytest.approx(731 / YEAR)
    assert found.high_years == pytest.approx(1096 / YEAR)
