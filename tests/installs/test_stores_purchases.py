"""Purchases: sensors, failures under their terms, cover that ends soon. Invented."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from installs.calc.upkeep.types import WarrantyStart
from installs.models import FailureReport, Purchase
from installs.selectors.purchases import ending_covers, purchase_page
from installs.selectors.stores import perhaps_coming
from installs.services.purchases import purchase_sensors
from tests import factories
from tests.conftest import TODAY
from tests.installs.visit_factories import spare
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Condition

pytestmark = pytest.mark.django_db
MODEL = {"model__name": "Strip"}


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


def bought(**parts):
    return Purchase.objects.create(
        **{
            "order_ref": "PO-9",
            "supplier": "Invented Supply",
            "bought_on": dt.date(2021, 6, 1),
            "what": "Strips",
            "warranty_months": 36,
            **parts,
        }
    )


@pytest.fixture
def order(world):
    """An order of the model that lies in the world's road."""
    return bought(sensor_model=world.live[0].sensor.model)


FORM = {
    "order_ref": "PO-10",
    "supplier": "Invented Supply",
    "bought_on": "2024-05-01",
    "what": "Strips",
    "warranty_start": "installation",
    "warranty_months": "24",
}


def test_a_purchase_is_entered_and_searched(client_for, manager, guest, world):
    client = client_for(manager)
    assert "No purchase is entered" in client.get(url("purchase-list")).content.decode()
    assert client.post(url("purchase-add"), FORM).status_code == 302
    assert client.post(url("purchase-add"), FORM).status_code == 422  # once only
    text = client_for(guest).get(url("purchase-list"), {"q": "PO-10"}).content.decode()
    assert "24 months from installation" in text
    none = client_for(guest).get(url("purchase-list"), {"q": "PO-77"}).content.decode()
    assert "No purchase matches." in none
    assert client_for(guest).get(url("purchase-add")).status_code == 403


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"bought_on": "2024-06-02"}, "still to come"),
        ({"full_months": "30"}, "Full cover cannot last longer"),
        (
            {"warranty_months": "", "full_months": "3"},
            "Give the months of the warranty",
        ),
        ({"latest_months_from_purchase": "0"}, "1 month or more"),
        ({"supplier": ""}, "required"),
    ],
)
def test_terms_that_cannot_be_are_refused_in_words(
    client_for, manager, world, sent, said
):
    answer = client_for(manager).post(url("purchase-add"), {**FORM, **sent})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Purchase.objects.exists()


def test_sensors_are_set_by_ticks_and_by_serial(client_for, manager, world, order):
    one, two = (life.sensor for life in world.live)
    client = client_for(manager)
    page = client.get(url("purchase-sensors", order.pk)).content.decode()
    assert one.serial in page  # offered: its model, and no purchase yet
    sent = {"sensors": [one.pk], "serials": f"{two.serial}\n"}
    assert client.post(url("purchase-sensors", order.pk), sent).status_code == 302
    assert set(order.sensors.all()) == {one, two}
    client.post(url("purchase-sensors", order.pk), {"sensors": [two.pk]})
    assert set(order.sensors.all()) == {two}


def test_more_sensors_than_fit_a_form_are_named_by_number(
    client_for, manager, world, order, monkeypatch
):
    monkeypatch.setattr("installs.forms.stores.SENSORS_OFFERED", 1)
    page = client_for(manager).get(url("purchase-sensors", order.pk))
    assert page.context["form"].fields["sensors"].queryset.count() == 1
    assert "The first 1 of 3 sensors" in page.content.decode()
    sent = {"serials": world.live[1].sensor.serial}
    client_for(manager).post(url("purchase-sensors", order.pk), sent)
    assert order.sensors.get() == world.live[1].sensor


def test_a_claim_on_a_failure_is_linked(client_for, guest, world, order):
    sensor = world.failed.sensor
    sensor.purchase = order
    sensor.save()
    report = FailureReport.objects.create(
        installation=world.failed,
        found_on=world.failed.ended_on,
        found_by="M. Tarn",
        mode="splice",
        evidence="Insulation 0.1 MΩ, lead sound.",
    )
    text = client_for(guest).get(url("purchase-detail", order.pk)).content.decode()
    assert report.get_absolute_url() in text
    assert "not made" in text


def test_serials_that_are_not_known_are_each_named_and_nothing_changes(
    client_for, manager, world, order
):
    sent = {"serials": f"{world.live[0].sensor.serial}\nZ1, Z2"}
    answer = client_for(manager).post(url("purchase-sensors", order.pk), sent)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "line 2" in text
    assert "Z1" in text
    assert "Z2" in text
    assert not order.sensors.exists()


def test_a_sensor_of_another_order_or_model_is_refused(manager, world, order):
    sensor = world.live[0].sensor
    sensor.purchase = bought(order_ref="PO-8")
    sensor.save()
    other = factories.SensorFactory(model=factories.SensorModelFactory(name="Other"))
    with pytest.raises(DomainError) as caught:
        purchase_sensors(
            purchase=order, sensors=[sensor, other], by=manager, why="test"
        )
    told = " ".join(str(one) for one in caught.value.complaints)
    assert "PO-8" in told
    assert "Other" in told
    assert not order.sensors.exists()


def test_installed_before_it_was_bought_is_told(client_for, manager, world, order):
    two = world.live[1].sensor  # in the road since 2020
    answer = client_for(manager).post(
        url("purchase-sensors", order.pk), {"sensors": [two.pk]}, follow=True
    )
    assert "before it was bought on 2021-06-01" in answer.content.decode()
    (cover,) = purchase_page(order).sensors
    assert cover.last_day is None
    assert "before it was bought" in cover.note


def test_failures_are_held_against_the_terms(client_for, guest, world, order):
    # Bought 1 June 2021 for 36 calendar months: the last day is 31 May 2024.
    life = world.live[0]
    sensor = life.sensor
    sensor.purchase = order
    sensor.save()
    life.ended_on, life.end_reason = dt.date(2024, 5, 21), "failed"
    life.failure_mode = "splice"
    life.save()
    page = purchase_page(order)
    ((_, found),) = page.failures
    assert found.sentence.startswith("Inside warranty with 10 days to spare")
    text = client_for(guest).get(url("purchase-detail", order.pk)).content.decode()
    assert "Inside warranty with 10 days to spare" in text
    assert "31 May 2024" in text


def test_covers_that_end_soon_are_listed_by_what_their_tests_say(
    client_for, guest, world
):
    # Installed 15 June 2021, 40 months from installation: to 14 October 2024.
    life = world.live[0]
    order = bought(
        sensor_model=life.sensor.model,
        warranty_months=40,
        warranty_start=WarrantyStart.INSTALLATION.value,
    )
    life.sensor.purchase = order
    life.sensor.save()
    (row,) = ending_covers(TODAY)
    assert row.last_day == dt.date(2024, 10, 14)
    assert (row.condition, row.word) == (Condition.NO_DATA, "test before it ends")
    factories.ElectricalLimitFactory(sensor_model=life.sensor.model, low=20.0)
    test = factories.ElectricalTestFactory(
        installation=life, tested_at=dt.datetime(2022, 5, 1, 16, tzinfo=dt.UTC)
    )
    factories.ReadingFactory(test=test, value=500.0)
    (row,) = ending_covers(TODAY)
    assert row.condition is Condition.WATCH  # met its limit, but two years ago
    test = factories.ElectricalTestFactory(
        installation=life, tested_at=dt.datetime(2024, 5, 1, 16, tzinfo=dt.UTC)
    )
    factories.ReadingFactory(test=test, value=2.0)
    (row,) = ending_covers(TODAY)
    assert row.condition is Condition.ACT
    assert "n 2" in row.sentence
    text = client_for(guest).get(url("purchase-list")).content.decode()
    assert "test and claim before it ends" in text
    assert ending_covers(dt.date(2024, 1, 1)) == []  # more than six months away
    assert ending_covers(dt.date(2024, 10, 15)) == []  # over


def test_an_order_of_which_nothing_came_is_named_in_the_store(world):
    model = world.live[0].sensor.model
    part = spare("Strip")
    part.sensor_model = model
    part.save()
    fresh = bought(order_ref="PO-11", sensor_model=model, bought_on=TODAY)
    bought(order_ref="PO-1", sensor_model=model, bought_on=dt.date(2019, 1, 1))
    assert perhaps_coming([part], TODAY) == {part.pk: (fresh,)}
