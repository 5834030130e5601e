"""A failure against the warranty, with what the records hold. All data invented."""

import datetime as dt

import pytest

from installs.calc.upkeep.warranty import Cover, Evidence
from installs.models import Purchase
from installs.selectors.failures import judged_tests, proposed_days
from installs.selectors.warranty import warranty_of
from tests import factories

pytestmark = pytest.mark.django_db


def read_on(life, day, value, stage="visit"):
    test = factories.ElectricalTestFactory(
        installation=life,
        tested_at=dt.datetime(*day, 18, tzinfo=dt.UTC),
        stage=stage,
    )
    factories.ReadingFactory(test=test, value=value)
    return test


@pytest.fixture
def life(world):
    """In the road since 15 June 2021, bought on 1 May 2021 with 36 months from then."""
    one = world.live[0]
    sensor = one.sensor
    factories.ElectricalLimitFactory(sensor_model=sensor.model)  # at least 20 MΩ
    sensor.purchase = Purchase.objects.create(
        order_ref="OV-77",
        supplier="Invented Supply",
        bought_on=dt.date(2021, 5, 1),
        what="strips",
        warranty_months=36,
        full_months=24,
    )
    sensor.save()
    return one


def test_inside_warranty_by_days_and_share_with_what_a_claim_lacks(life):
    read_on(life, (2022, 5, 3), 500.0)
    read_on(life, (2024, 4, 10), 1.0)
    found = warranty_of(life, dt.date(2024, 4, 10))
    # 36 months from 1 May 2021 end with 30 April 2024: 20 days after 10 April.
    assert found.finding.cover is Cover.INSIDE
    assert found.finding.days_left == 20
    # Pro rata from 1 May 2023: 21 of 366 days are left (2024 is a leap year).
    assert found.finding.share == pytest.approx(21 / 366)
    assert "20 days to spare" in found.sentence
    assert Evidence.LAST_GOOD_TEST not in found.missing
    assert Evidence.FAILED_TEST not in found.missing
    assert {Evidence.PHOTOS, Evidence.LEAD_CHECKED} <= set(found.missing)
    assert found.may_claim


def test_found_after_the_end_but_good_before_it_is_perhaps_inside(life):
    read_on(life, (2024, 4, 20), 500.0)
    found = warranty_of(life, dt.date(2024, 5, 20))
    assert found.finding.cover is Cover.PERHAPS
    assert "2024-04-20" in found.sentence
    assert warranty_of(life, dt.date(2024, 4, 25)).finding.cover is Cover.INSIDE


def test_without_a_good_test_it_is_outside_by_so_many_days(life):
    found = warranty_of(life, dt.date(2024, 5, 20))
    assert found.finding.cover is Cover.OUTSIDE
    assert "Outside warranty by 20 days" in found.sentence
    assert not found.may_claim


def test_without_a_purchase_or_terms_it_says_what_is_missing(world, life):
    assert (
        "no purchase is entered"
        in warranty_of(world.live[1], dt.date(2024, 5, 1)).sentence
    )
    life.sensor.purchase.warranty_months = None
    found = warranty_of(life, dt.date(2024, 5, 1))
    assert found.finding is None
    assert "No terms of warranty" in found.sentence


def test_installed_before_it_was_bought_is_told_in_words(life):
    life.sensor.purchase.bought_on = dt.date(2022, 1, 1)
    found = warranty_of(life, dt.date(2024, 5, 1))
    assert found.finding is None
    assert "before it was bought" in found.sentence


def test_the_days_are_proposed_from_the_judged_tests(life):
    read_on(life, (2022, 5, 3), 500.0)
    read_on(life, (2023, 5, 3), 1.0)
    read_on(life, (2023, 6, 3), 400.0)  # it worked after all
    read_on(life, (2024, 3, 3), 2.0)
    read_on(life, (2021, 6, 1), 1.0, stage="bench")  # without its lead: not counted
    assert len(judged_tests([life.pk])[life.pk]) == 4
    found = proposed_days(life, dt.date(2024, 4, 10))
    assert (found.last_good_on, found.first_bad_on) == (
        dt.date(2023, 6, 3),
        dt.date(2024, 3, 3),
    )
    early = proposed_days(life, dt.date(2022, 1, 1))
    assert (early.last_good_on, early.first_bad_on) == (None, None)
    assert "No test of it could be judged" in early.sentence
