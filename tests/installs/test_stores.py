"""The store: ledger, what to keep, bookings, and its pages. All data invented."""

from __future__ import annotations

import datetime as dt
import io
import math

import openpyxl
import pytest
from django.urls import reverse

from installs.calc.upkeep.types import StockMove
from installs.models import Purchase, SparePart, StockEntry
from installs.selectors.on_order import on_order
from installs.selectors.renewal import renewal_forecast
from installs.selectors.stores import (
    CANNOT_SAY,
    ENOUGH,
    NONE_LEFT,
    ORDER,
    Use,
    demand_by_forecast,
    demand_by_use,
    ledger_of,
    row_of,
    stock_of,
    store_rows,
)
from installs.services.purchases import purchase_save
from installs.services.stores import spare_save, stock_book
from tests import factories
from tests.conftest import TODAY
from tests.installs.visit_factories import spare

pytestmark = pytest.mark.django_db


def url(name, *args):
    return reverse(f"installs:{name}", args=args)


def book(part, move, quantity, day, by=None, **parts):
    return stock_book(
        spare_part=part,
        move=move,
        quantity=quantity,
        moved_on=day,
        by=by,
        why="for the test",
        **parts,
    )


# --- the ledger ----------------------------------------------------------------------


def test_a_count_sets_and_the_rest_add_or_take_in_order_of_days(manager):
    part = spare(in_store=3)  # counted on 5 January
    book(part, StockMove.RECEIVED, 4, dt.date(2024, 2, 1), by=manager)
    book(part, StockMove.SCRAPPED, 1, dt.date(2024, 3, 1))
    book(part, StockMove.COUNTED, 5, dt.date(2024, 4, 1))
    book(part, StockMove.RETURNED, 2, dt.date(2024, 4, 1))
    book(part, StockMove.USED, 9, dt.date(2023, 12, 1))  # told late; counts first
    ledger = ledger_of(part)
    assert [row.level for row in ledger] == [-9, 3, 7, 6, 5, 7]
    assert [row.change for row in ledger] == ["−9", "= 3", "+4", "−1", "= 5", "+2"]
    assert (ledger[2].by, ledger[2].why) == ("manager", "for the test")
    assert stock_of([part.pk]) == {part.pk: 7}


def test_the_stock_of_many_parts_takes_one_query(django_assert_num_queries):
    parts = [spare(f"Part {n}", in_store=n) for n in range(4)]
    with django_assert_num_queries(1):
        assert stock_of([one.pk for one in parts]) == {
            one.pk: n for n, one in enumerate(parts)
        }


# --- what to keep --------------------------------------------------------------------


def test_use_in_a_year_asks_for_what_the_poisson_table_says():
    # Cumulative Poisson table, mean 2: P(X <= 3) = 0.857, P(X <= 4) = 0.947
    # (printed in statistics textbooks; from memory). So 4 hold with 90 %.
    part = SparePart.objects.create(
        name="Splice kit", lead_time_days=365, used_per_year=2 * 365.25 / 365
    )
    row = row_of(part, 3, demand_by_use(part, None))
    assert row.minimum == 4
    assert row.chance_short == pytest.approx(1 - 0.857, abs=5e-4)
    assert (row.word, row.order_now) == (ORDER, 1)
    assert "as entered" in row.sentence
    assert row_of(part, 4, demand_by_use(part, None)).word == ENOUGH


def test_bookings_without_a_single_use_still_leave_a_chance_of_one():
    # Jeffreys' prior, no use in T years: P(none in L) = (T / (T + L)) ** ½, the
    # closed form of the gamma–Poisson predictive at zero.
    part = SparePart.objects.create(name="Fuse", lead_time_days=90)
    needed = demand_by_use(part, Use(n=0, years=3.0))
    lead = 90 / 365.25
    assert needed.demand.enough(0) == pytest.approx(math.sqrt(3.0 / (3.0 + lead)))
    assert "0 used in 3.0 years by the bookings" in needed.rests_on
    assert demand_by_use(part, Use(n=0, years=0.5)) is None  # too short to say


def test_the_agency_s_own_minimum_stands_above_the_reckoned_one():
    part = SparePart.objects.create(
        name="Modem", lead_time_days=30, used_per_year=0.1, least_wanted=2
    )
    row = row_of(part, 1, demand_by_use(part, None))
    assert (row.minimum, row.order_now, row.word) == (2, 1, ORDER)
    assert "never fewer than 2" in row.sentence


@pytest.mark.parametrize(
    ("count", "used", "word"),
    [
        (None, 4.0, CANNOT_SAY),
        (0, 4.0, NONE_LEFT),
        (0, None, NONE_LEFT),
        (-2, 4.0, NONE_LEFT),
        (3, None, CANNOT_SAY),
        (0, 0.0, ENOUGH),
        (9, 4.0, ENOUGH),
    ],
)
def test_the_word_follows_what_is_known(count, used, word):
    part = SparePart.objects.create(name="Cable", lead_time_days=90, used_per_year=used)
    row = row_of(part, count, demand_by_use(part, None))
    assert row.word == word
    assert (row.value is None) or row.count is not None


def test_sensors_wanted_are_those_that_the_forecast_expects_to_fail(world, program):
    model = world.live[0].sensor.model
    part = SparePart.objects.create(
        name="Strip", sensor_model=model, lead_time_days=365
    )
    found = renewal_forecast(program, TODAY)
    needed = demand_by_forecast([part], found, TODAY)[part.pk]
    # Each live sensor's own chance within a year, from its own curve; the few that
    # fail twice within the year and chance itself are the difference.
    expected = sum(risk.chance_1y for risk in found.risks)
    assert needed.demand.mean == pytest.approx(expected, abs=0.12)
    assert needed.rests_on == "2 of it in the road"
    assert "simulated futures" in needed.demand.basis


def test_a_sensor_that_stands_failed_is_wanted_at_once(world, program):
    life = world.live[1]
    life.ended_on, life.end_reason, life.failure_mode = TODAY, "failed", "splice"
    life.save()
    part = SparePart.objects.create(
        name="Strip", sensor_model=life.sensor.model, lead_time_days=30
    )
    found = renewal_forecast(program, TODAY)
    needed = demand_by_forecast([part], found, TODAY)[part.pk]
    assert needed.demand.enough(0) == 0.0
    assert "1 failed and not replaced" in needed.rests_on


def test_a_model_that_is_nowhere_in_the_road_has_no_forecast(world, program):
    other = factories.SensorModelFactory(name="Strip of another make")
    SparePart.objects.create(name="Other", sensor_model=other, lead_time_days=60)
    (row,) = store_rows(program, TODAY)
    assert row.word == CANNOT_SAY
    assert row.minimum is None


def test_the_list_takes_as_many_queries_for_more_parts(
    world, program, django_assert_max_num_queries
):
    for n in range(6):
        spare(f"Part {n}")
    with django_assert_max_num_queries(6):
        assert len(store_rows(program, TODAY)) == 6


# --- pages ---------------------------------------------------------------------------


def test_the_pages_show_and_a_guest_books_nothing(client_for, guest, world):
    client = client_for(guest)
    assert "No part is on" in client.get(url("store-list")).content.decode()
    part = spare("Battery 12 V, 80 Ah", in_store=0)
    text = client.get(url("store-list")).content.decode()
    assert "none left" in text
    page = client.get(url("spare-detail", part.pk)).content.decode()
    assert "below zero" not in page
    assert "<svg" in page
    assert client.get(url("stock-add", part.pk)).status_code == 403
    assert client.get(url("spare-edit", part.pk)).status_code == 403


@pytest.mark.parametrize("sort", ["minimum", "-count", "value", "-chance_short"])
def test_the_list_sorts_by_numbers_that_some_parts_lack(client_for, guest, world, sort):
    spare("Cable", in_store=0)
    part = spare(in_store=3)
    part.unit_price, part.used_per_year = 120, 1.0
    part.save()
    SparePart.objects.create(name="Never counted", lead_time_days=5)
    answer = client_for(guest).get(url("store-list"), {"sort": sort})
    assert answer.status_code == 200
    assert len(answer.context["table"].paginated_rows) == 3


def test_each_button_opens_the_booking_with_its_move_chosen(
    client_for, technician, world
):
    part = spare()
    client = client_for(technician)
    page = client.get(url("spare-detail", part.pk)).content.decode()
    for move in ("received", "counted", "scrapped", "returned unused"):
        assert f"?move={move.replace(' ', '+')}" in page
        form = client.get(url("stock-add", part.pk), {"move": move}).context["form"]
        assert form["move"].value() == move


def test_the_store_goes_into_a_spreadsheet(client_for, guest, world):
    part = spare(in_store=3)
    part.unit_price = 120
    part.used_per_year = 1.0
    part.save()
    answer = client_for(guest).get(url("store-export", "xlsx"))
    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    head, first = ([cell.value for cell in line] for line in (sheet[1], sheet[2]))
    row = dict(zip(head, first, strict=True))
    assert (row["in store"], row["worth"], row["state"]) == (3, 360, "enough")
    assert client_for(guest).get(url("store-export", "ods")).status_code == 404


def test_a_part_is_added_and_changed_with_its_reason(client_for, manager, world):
    client = client_for(manager)
    sent = {"name": "Cable  end", "lead_time_days": "45", "service_level": "0.95"}
    assert client.post(url("spare-add"), sent).status_code == 302
    part = SparePart.objects.get(name="Cable end")
    again = client.post(url("spare-add"), {**sent, "name": "Cable end"})
    assert again.status_code == 422
    wrong = client.post(url("spare-add"), {**sent, "name": "X", "service_level": "1"})
    assert "expected a chance above 0 and below 1" in wrong.content.decode()
    client.post(
        url("spare-edit", part.pk),
        {**sent, "name": "Cable end", "least_wanted": "3", "why": "told by the store"},
    )
    part.refresh_from_db()
    assert part.least_wanted == 3
    assert part.history.first().history_change_reason == "told by the store"


def test_a_technician_books_with_a_purchase(client_for, technician, world):
    part = spare(in_store=3)
    bought = Purchase.objects.create(
        order_ref="PO-17",
        supplier="Invented Supply",
        bought_on=dt.date(2024, 5, 1),
        what="Batteries",
    )
    client = client_for(technician)
    sent = {"move": "received", "quantity": "4", "moved_on": "2024-05-20"}
    answer = client.post(
        url("stock-add", part.pk), {**sent, "purchase": bought.pk}, follow=True
    )
    assert stock_of([part.pk]) == {part.pk: 7}
    assert "PO-17" in answer.content.decode()


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"moved_on": "2024-06-02"}, "still to come"),
        ({"quantity": "0"}, "Give how many, one or more."),
        ({"quantity": "-1"}, "greater than or equal to 0"),
        ({"move": "lost"}, "lost"),
        ({"purchase": "here", "moved_on": "2024-04-30"}, "before that"),
        ({"purchase": "here", "move": "scrapped"}, "Leave it empty"),
    ],
)
def test_a_booking_that_cannot_be_is_refused_in_words(
    client_for, technician, world, sent, said
):
    part = spare(in_store=3)
    bought = Purchase.objects.create(
        order_ref="PO-17",
        supplier="Invented Supply",
        bought_on=dt.date(2024, 5, 1),
        what="Batteries",
    )
    whole = {"move": "received", "quantity": "1", "moved_on": "2024-05-20", **sent}
    if "purchase" in sent:
        whole["purchase"] = bought.pk
    answer = client_for(technician).post(url("stock-add", part.pk), whole)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert StockEntry.objects.count() == 1


def test_more_scrapped_than_there_is_is_booked_and_told(client_for, technician, world):
    part = spare(in_store=3)
    sent = {"move": "scrapped", "quantity": "5", "moved_on": "2024-05-20"}
    answer = client_for(technician).post(url("stock-add", part.pk), sent, follow=True)
    assert "stands at -2 now, below zero" in answer.content.decode()
    assert stock_of([part.pk]) == {part.pk: -2}


def test_an_entry_before_the_last_count_is_told_to_change_nothing(
    client_for, technician, world
):
    part = spare(in_store=3)
    sent = {"move": "received", "quantity": "5", "moved_on": "2023-12-20"}
    answer = client_for(technician).post(url("stock-add", part.pk), sent, follow=True)
    assert "that count stands" in answer.content.decode()
    assert stock_of([part.pk]) == {part.pk: 3}


# --- on order ------------------------------------------------------------------------


def ordered(part, manager, **more):
    purchase = Purchase(
        order_ref="OV-31", supplier="Gannet", bought_on=TODAY - dt.timedelta(days=9),
        what="spares", spare_part=part,
        **{"quantity": 4, "expected_on": TODAY + dt.timedelta(days=20), **more},
    )  # fmt: skip
    purchase_save(purchase=purchase, today=TODAY, by=manager, why="test")
    return purchase


def test_what_is_on_order_counts_until_it_is_received(world, manager):
    part = spare_save(
        part=SparePart(name="fuse", lead_time_days=30, least_wanted=5),
        by=manager, why="test",
    )  # fmt: skip
    purchase = ordered(part, manager)
    found = on_order([part.pk], TODAY)[part.pk]
    assert (found.number, found.is_late) == (4, False)
    row = row_of(part, 1, None, found)
    assert (row.order_now, row.word) == (0, ENOUGH)
    assert f"4 on order, expected {purchase.expected_on}." in row.sentence
    stock_book(
        spare_part=part, move=StockMove.RECEIVED, quantity=3, moved_on=TODAY,
        purchase=purchase, by=manager, why="test",
    )  # fmt: skip
    assert on_order([part.pk], TODAY)[part.pk].number == 1
    late = on_order([part.pk], TODAY + dt.timedelta(days=21))[part.pk]
    assert late.is_late
    assert "ask the supplier" in late.sentence


def test_an_empty_shelf_stays_none_left_though_some_is_on_order(world, manager):
    part = spare_save(
        part=SparePart(name="fuse", lead_time_days=30, least_wanted=2),
        by=manager, why="test",
    )  # fmt: skip
    ordered(part, manager, expected_on=None)
    row = row_of(part, 0, None, on_order([part.pk], TODAY)[part.pk])
    assert (row.word, row.order_now) == (NONE_LEFT, 0)
