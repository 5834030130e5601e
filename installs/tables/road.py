"""Tables of sensors and visits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from installs.models import Installation, MaintenanceVisit, Sensor
from wimprog.lib.tables import NO_DATA, Table

NUMBER = {"td": {"class": "number"}, "th": {"class": "number"}}
DATE = {"td": {"class": "date"}}


def day(value: dt.date | None) -> str:
    """A day for people: "3 May 2031"."""
    return f"{value.day} {value:%b %Y}" if value else NO_DATA


def local_day(at: dt.datetime, zone: str) -> dt.date:
    """The day of an instant on the clock at the site."""
    return at.astimezone(ZoneInfo(zone)).date()


class SensorTable(Table):
    """One row a sensor, with where it is or last was."""

    caption = "Sensors"
    serial = tables.Column("Sensor", order_by=("model__maker", "serial"))
    technology = tables.Column(accessor="model__technology")
    state = tables.Column()
    place = tables.Column(accessor="places", order_by=("place_site", "pk"))
    installed_on = tables.Column("Installed", attrs=DATE)
    last_test_at = tables.Column("Last electrical test", attrs=DATE)

    class Meta(Table.Meta):
        empty_text = "No sensor matches."

    def render_serial(self, record: Sensor) -> str:
        return format_html(
            '<a href="{}">{}</a>', record.get_absolute_url(), str(record)
        )

    def render_place(self, value: list[Installation]) -> str:
        if not value:
            return NO_DATA
        place = value[0]
        word = "" if place.ended_on is None else "last "
        return format_html(
            '{}<a href="{}">{}</a> {}',
            word,
            place.lane.get_absolute_url(),
            str(place.lane),
            place.position,
        )

    def render_installed_on(self, value: dt.date) -> str:
        return day(value)

    def render_last_test_at(self, value: dt.datetime, record: Any) -> str:
        zone = record.places[0].lane.wim_site.time_zone if record.places else "UTC"
        return day(local_day(value, zone))


SENSOR_HEADINGS = (
    "maker", "model", "serial", "lot", "technology", "state", "site", "lane",
    "position", "installed on", "ended on", "why it ended", "last electrical test",
)  # fmt: skip


def sensor_sheet(rows: Iterable[Any]) -> Iterable[list[Any]]:
    """The rows of the sensor list for a spreadsheet."""
    for one in rows:
        place = one.places[0] if one.places else None
        yield [
            one.model.maker,
            one.model.name,
            one.serial,
            one.lot,
            one.model.technology,
            one.state,
            place.lane.wim_site.code if place else "",
            place.lane.label if place else "",
            place.position if place else "",
            place.installed_on if place else None,
            place.ended_on if place else None,
            place.end_reason if place else "",
            local_day(one.last_test_at, place.lane.wim_site.time_zone)
            if place and one.last_test_at
            else None,
        ]


class VisitTable(Table):
    """One row a visit, newest first."""

    caption = "Visits"
    arrived_at = tables.Column("Day", attrs=DATE)
    wim_site = tables.Column("Site", accessor="wim_site__code")
    lane = tables.Column(order_by=("lane__direction", "lane__number"))
    purpose = tables.Column()
    people = tables.Column()
    findings = tables.Column(orderable=False)
    n_tests = tables.Column("Electrical tests", attrs=NUMBER)

    class Meta(Table.Meta):
        empty_text = "No visit matches."

    def render_arrived_at(self, record: MaintenanceVisit) -> str:
        on = local_day(record.arrived_at, record.wim_site.time_zone)
        return format_html(
            '<a href="{}">{}</a>',
            reverse("installs:visit-detail", args=[record.pk]),
            day(on),
        )

    def render_lane(self, record: MaintenanceVisit) -> str:
        return record.lane.label if record.lane else "whole site"

    def render_findings(self, value: str) -> str:
        return value if len(value) < 120 else f"{value[:117]}…"
