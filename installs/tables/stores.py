"""Tables and sheets of the store and of purchases."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

import django_tables2 as tables
from django.utils.html import format_html, format_html_join

from installs.models import Purchase
from installs.selectors.purchases import terms_words
from installs.selectors.stores import StoreRow
from installs.tables.road import DATE, day
from installs.tables.work import marked
from wimprog.lib.tables import NumberColumn, Table
from wimprog.lib.units import chance_words, format_number

NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}


class StoreTable(Table):
    """One row a part, the most pressing first."""

    caption = "Parts in the store"
    part = tables.Column(orderable=False)
    word = tables.Column("Is it enough?", orderable=False)
    count = tables.Column("In store", attrs=NUMBER)
    on_order = tables.Column(attrs=NUMBER)
    minimum = tables.Column("To keep", attrs=NUMBER)
    chance_short = tables.Column("Chance of running out before an order comes")
    value = NumberColumn("Worth", digits=0)
    sentence = tables.Column("Why", orderable=False)

    class Meta(Table.Meta):
        empty_text = "No part is on the list."

    def __init__(self, *args: Any, currency: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if currency:
            self.columns["value"].column.verbose_name = f"Worth, {currency}"

    def render_part(self, record: StoreRow) -> str:
        part = record.part
        return format_html(
            '<a href="{}">{}</a> <span class="quiet">{}</span>',
            part.get_absolute_url(),
            part.name,
            part.place,
        )

    def render_word(self, value: str, record: StoreRow) -> str:
        return marked(record.condition, value)

    def render_chance_short(self, value: float) -> str:
        return chance_words(value)

    def render_sentence(self, value: str, record: StoreRow) -> str:
        return format_html(
            "{}{}",
            value,
            format_html_join(
                "",
                ' <a href="{}">Nothing received yet of {}</a>.',
                ((one.get_absolute_url(), str(one)) for one in record.perhaps_coming),
            ),
        )


STORE_HEADINGS = (
    "part", "sensor model", "place", "in store", "on order", "to keep", "order now",
    "chance of running out before an order comes", "state", "lead time, days",
    "price of one", "worth", "why", "nothing received yet of",
)  # fmt: skip


def store_sheet(rows: Iterable[StoreRow]) -> Iterable[list[Any]]:
    """The store for a spreadsheet."""
    for row in rows:
        part = row.part
        yield [
            part.name,
            str(part.sensor_model or ""),
            part.place,
            row.count,
            row.on_order,
            row.minimum,
            row.order_now,
            row.chance_short,
            row.word,
            part.lead_time_days,
            part.unit_price,
            row.value,
            row.sentence,
            "; ".join(str(one) for one in row.perhaps_coming),
        ]


class PurchaseTable(Table):
    """One row a purchase, newest first."""

    caption = "Purchases"
    order_ref = tables.Column("Order or invoice")
    bought_on = tables.Column("Bought on", attrs=DATE)
    what = tables.Column("What")
    terms = tables.Column("Warranty", empty_values=(), orderable=False)
    n_sensors = tables.Column("Sensors", attrs=NUMBER)
    n_failed = tables.Column("Failed", attrs=NUMBER)
    unit_price = tables.Column("Price of one", attrs=NUMBER)

    class Meta(Table.Meta):
        empty_text = "No purchase matches."

    def render_order_ref(self, record: Purchase) -> str:
        return format_html(
            '<a href="{}">{}</a> <span class="quiet">{}</span>',
            record.get_absolute_url(),
            record.order_ref,
            record.supplier,
        )

    def render_bought_on(self, value: dt.date) -> str:
        return day(value)

    def render_terms(self, record: Purchase) -> str:
        return terms_words(record) or "none entered"

    def render_unit_price(self, value: Any) -> str:
        return format_number(float(value), 2)
