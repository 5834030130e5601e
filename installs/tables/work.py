"""Tables and sheets of the work list and of the preventive schedule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

import django_tables2 as tables
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from installs.selectors.work import WorkRow
from installs.selectors.work_schedule import ScheduleRow
from installs.tables.road import DATE, day
from wimprog.lib.marks import marked_word
from wimprog.lib.tables import Table
from wimprog.lib.units import format_number


def marked(word: Any, label: str) -> SafeString:
    """A word after the mark of its condition."""
    return mark_safe(marked_word(str(word), label))  # noqa: S308 (escaped there)


class WorkTable(Table):
    """One row a piece of work, most urgent first."""

    caption = "Work"
    urgency = tables.Column("How soon, and why", empty_values=(), orderable=False)
    reason = tables.Column("What", orderable=False)
    code = tables.Column("Where")
    source = tables.Column(accessor="item__source", orderable=False)
    since_on = tables.Column("Since", accessor="item__since_on", attrs=DATE)
    due_on = tables.Column(
        "Due", accessor="item__due_on", orderable=False, attrs=DATE, default="no day"
    )
    who = tables.Column("State, and who", empty_values=(), orderable=False)

    class Meta(Table.Meta):
        empty_text = "No work matches."

    def render_urgency(self, record: WorkRow) -> str:
        if record.urgency is None:
            return format_html(
                "{} <span>{}</span>", record.item.state, record.item.closing_note
            )
        return format_html(
            '{} <span class="quiet">{}</span>{}',
            marked(record.urgency.condition, str(record.urgency)),
            record.why,
            format_html(' <strong class="gone">no longer seen</strong>')
            if record.is_gone
            else "",
        )

    def render_reason(self, value: str, record: WorkRow) -> str:
        text = value if len(value) < 220 else f"{value[:217]}…"
        return format_html(
            '<a href="{}">{}</a>{}',
            record.item.get_absolute_url(),
            text,
            format_html_join(
                "",
                ' <a class="quiet" href="{}">and: {}</a>',
                ((i.get_absolute_url(), i.source) for i in record.also),
            ),
        )

    def render_code(self, record: WorkRow) -> str:
        item = record.item
        place = format_html(
            '<a href="{}">{}</a>', item.wim_site.get_absolute_url(), item.wim_site.code
        )
        if item.lane:
            place = format_html(
                '{} <a href="{}">{}</a>',
                place,
                item.lane.get_absolute_url(),
                item.lane.label,
            )
        if item.installation:
            place = format_html(
                '{} <a href="{}">{}</a>',
                place,
                item.installation.get_absolute_url(),
                item.installation.position,
            )
        return format_html("{} {}", place, item.part) if item.part else place

    def render_since_on(self, value: dt.date) -> str:
        return day(value)

    def render_due_on(self, value: dt.date) -> str:
        return day(value)

    def render_who(self, record: WorkRow) -> str:
        item = record.item
        who = item.assigned_to
        name = (who.get_full_name() or who.get_username()) if who else ""
        trip = (
            format_html(
                ', <a href="{}">{}</a>', item.trip.get_absolute_url(), str(item.trip)
            )
            if item.trip
            else ""
        )
        return format_html("{}{}{}", item.state, f": {name}" if name else "", trip)


WORK_HEADINGS = (
    "site", "lane", "position", "part", "urgency", "rule", "source", "cause", "reason",
    "evidence", "since", "due", "hours", "state", "who", "trip", "told by",
    "no longer seen", "done on", "verified on", "closing note",
)  # fmt: skip


def work_sheet(rows: Iterable[WorkRow]) -> Iterable[list[Any]]:
    """The work for a spreadsheet, one line an item."""
    for row in rows:
        for item in row.items:
            yield [
                item.wim_site.code,
                item.lane.label if item.lane else "",
                item.installation.position if item.installation else "",
                item.part,
                str(row.urgency or ""),
                row.why if row.urgency else "",
                item.source,
                item.cause,
                item.reason,
                "; ".join(one.get("text", "") for one in item.evidence),
                item.since_on,
                item.due_on,
                item.hours,
                item.state,
                str(item.assigned_to or ""),
                item.trip.starts_on if item.trip else None,
                item.reported_by,
                "yes" if row.is_gone else "",
                item.done_on,
                item.verified_on,
                item.closing_note,
            ]


class ScheduleTable(Table):
    """One row a rule at a site, the soonest first."""

    caption = "Preventive work by site"
    site = tables.Column(accessor="wim_site__code", attrs=DATE)
    rule = tables.Column("What", accessor="rule__name")
    state = tables.Column(accessor="finding__state", orderable=False)
    due = tables.Column(
        accessor="finding__due", orderable=False, attrs=DATE, default="no day"
    )
    last_done = tables.Column(
        "Last done", orderable=False, attrs=DATE, default="never noted"
    )
    sentence = tables.Column("By which rule", accessor="finding", orderable=False)

    class Meta(Table.Meta):
        empty_text = "No preventive work matches."

    def render_site(self, record: ScheduleRow) -> str:
        return format_html(
            '<a href="{}">{}</a>',
            record.wim_site.get_absolute_url(),
            record.wim_site.code,
        )

    def render_rule(self, record: ScheduleRow) -> str:
        rule = record.rule
        return format_html(
            '{} <span class="quiet">{}</span>', rule.name, rule.technology or rule.part
        )

    def render_state(self, value: Any, record: ScheduleRow) -> str:
        if record.is_reminder:
            return marked("no data", "look for it")
        return marked(value.condition, str(value))

    def render_due(self, value: dt.date) -> str:
        return day(value)

    def render_last_done(self, value: dt.date) -> str:
        return day(value)

    def render_sentence(self, record: ScheduleRow) -> str:
        hours = format_number(record.rule.hours, 2).rstrip("0").rstrip(".")
        return f"{record.finding.sentence} {hours} h on site."
