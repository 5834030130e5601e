"""Tables of the records' side."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.db.models import QuerySet
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from quality.models import LaneDay, LaneWeek, RecordFile
from wimprog.lib.tables import NumberColumn, Table
from wimprog.lib.units import Kind, UnitSystem, format_si


class RecordFileTable(Table):
    """Files taken in."""

    source_name = tables.Column("File", linkify=True)
    imported_at = tables.DateColumn(format="j M Y", verbose_name="Taken in")
    imported_by = tables.Column("By", default="command line")
    first_on = tables.DateColumn(format="j M Y", verbose_name="From")
    last_on = tables.DateColumn(format="j M Y", verbose_name="To")
    n_lanes = NumberColumn(digits=0, verbose_name="Lanes")
    n_read = NumberColumn(digits=0, verbose_name="Read")
    n_kept = NumberColumn(digits=0, verbose_name="Kept")
    n_refused = NumberColumn(digits=0, verbose_name="Refused")

    class Meta(Table.Meta):
        model = RecordFile
        fields = (
            "source_name", "imported_at", "imported_by", "first_on", "last_on",
            "n_lanes", "n_read", "n_kept", "n_refused",
        )  # fmt: skip


def hours_words(bits: int) -> str:
    """Hours seen of 24, and which are missing."""
    from quality.calc.daily import hours_of

    seen = hours_of(bits)
    missing = [str(hour) for hour in range(24) if hour not in seen]
    if not missing:
        return "24 of 24"
    shown = ", ".join(missing[:8]) + (" …" if len(missing) > 8 else "")
    return f"{len(seen)} of 24 (no vehicle: {shown})"


class LaneDayTable(Table):
    """The days behind a lane's counts."""

    date = tables.DateColumn(format="D j M Y")
    hours_seen = tables.Column("Hours with vehicles", orderable=False)
    n_vehicles = NumberColumn(digits=0, verbose_name="Vehicles")
    n_unclassified = NumberColumn(digits=0, verbose_name="Unclassified")
    findings = tables.Column("Findings", orderable=False, empty_values=())
    review = tables.Column("Decision", empty_values=(), orderable=False)
    record_file = tables.Column("File", linkify=True)

    class Meta(Table.Meta):
        model = LaneDay
        fields = (
            "date", "hours_seen", "n_vehicles", "n_unclassified", "findings", "review",
            "record_file",
        )  # fmt: skip

    def render_hours_seen(self, value: int) -> str:
        return hours_words(value)

    def render_findings(self, value: list[dict[str, Any]]) -> SafeString | str:
        if not value:
            return "none"
        return format_html_join("", "{} ", ((one["sentence"],) for one in value))

    def render_review(self, record: LaneDay) -> SafeString | str:
        review = record.review
        if review is None:
            return "not judged"
        return format_html(
            '{} <span class="quiet">{} ({}, {})</span>',
            review.decision,
            review.reason,
            review.decided_by,
            review.decided_at.date(),
        )


class LaneWeekTable(Table):
    """The weeks behind a lane's drift."""

    week_on = tables.DateColumn(format="j M Y", verbose_name="Week of")
    n_days = NumberColumn(digits=0, verbose_name="Days")
    n_vehicles = NumberColumn(digits=0, verbose_name="Class 9 vehicles")
    steering_mean_kg = tables.Column("Steering axle, mean")
    steering_sd_kg = tables.Column("Spread between trucks (sd)")
    gvw_mean_kg = tables.Column("Gross weight, mean")

    class Meta(Table.Meta):
        model = LaneWeek
        fields = (
            "week_on", "n_days", "n_vehicles", "steering_mean_kg", "steering_sd_kg",
            "gvw_mean_kg",
        )  # fmt: skip

    def __init__(
        self, data: QuerySet[LaneWeek], *, system: UnitSystem | str, **kwargs: Any
    ) -> None:
        self.system = UnitSystem(system)
        super().__init__(data, **kwargs)

    def _mass(self, value: float) -> str:
        return format_si(value, Kind.MASS, self.system)

    render_steering_mean_kg = render_steering_sd_kg = render_gvw_mean_kg = (
        lambda self, value: self._mass(value)
    )
