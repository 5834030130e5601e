"""The table of installation records."""

from __future__ import annotations

import datetime as dt

import django_tables2 as tables
from django.utils.html import format_html

from installs.models import InstallationRecord
from installs.tables.road import DATE, day
from installs.templatetags.records import stage_mark
from wimprog.lib.tables import Table


class RecordTable(Table):
    """One row a record, the newest work first."""

    caption = "Installation records"
    work_on = tables.Column("Work on", attrs=DATE)
    wim_site = tables.Column("Site", accessor="lane__wim_site__code")
    lane = tables.Column(order_by=("lane__direction", "lane__number"))
    position = tables.Column()
    technology = tables.Column()
    state = tables.Column()
    installer = tables.Column()

    class Meta(Table.Meta):
        empty_text = "No record matches."

    def render_work_on(self, value: dt.date) -> str:
        return day(value)

    def render_position(self, record: InstallationRecord) -> str:
        return format_html(
            '<a href="{}">{}</a>', record.get_absolute_url(), record.position
        )

    def render_lane(self, record: InstallationRecord) -> str:
        return record.lane.label

    def render_state(self, value: str) -> str:
        return stage_mark(value)
