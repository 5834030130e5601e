"""Tables of sessions and test vehicles."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from calibration.models import CalibrationSession, TestVehicle
from wimprog.lib.marks import condition_mark_svg
from wimprog.lib.tables import NumberColumn, Table


def marked(word: str) -> SafeString:
    """A verdict's word with its mark before it."""
    return format_html(
        '<span class="condition condition-{}">{} {}</span>',
        word.replace(" ", "-"),
        mark_safe(condition_mark_svg(word)),  # noqa: S308 (drawn by us)
        word,
    )


class SessionTable(Table):
    """Calibration sessions with their last word."""

    held_on = tables.DateColumn(linkify=True, format="j M Y")
    lane = tables.Column(
        order_by=("lane__wim_site__code", "lane__direction", "lane__number"),
        linkify=lambda record: record.lane.get_absolute_url(),
    )
    purpose = tables.Column()
    state = tables.Column()
    n_runs = NumberColumn(digits=0, verbose_name="Runs")
    result_stage = tables.Column(verbose_name="Stage")
    mean_pct = NumberColumn(digits=2, verbose_name="Mean gross weight error, %")
    interval = tables.Column(
        empty_values=(), orderable=False, verbose_name="95 % interval of the mean"
    )
    verdict_word = tables.Column(verbose_name="Verdict")
    wanted_class = tables.Column(verbose_name="Class")
    factor_after = NumberColumn(digits=4, verbose_name="Factor left")

    class Meta(Table.Meta):
        model = CalibrationSession
        fields: tuple[str, ...] = ()
        sequence = (
            "held_on",
            "lane",
            "purpose",
            "state",
            "n_runs",
            "result_stage",
            "mean_pct",
            "interval",
            "verdict_word",
            "wanted_class",
            "factor_after",
        )
        empty_text = "No session fits the filter."

    def render_interval(self, record: Any) -> str:
        if record.low_pct is None:
            return "no data"
        low, high = (
            f"{v:+.2f}".replace("-", "−") for v in (record.low_pct, record.high_pct)
        )
        return f"{low} to {high} (n {record.result_n})"

    def render_verdict_word(self, value: str) -> SafeString:
        return marked(value)


class VehicleTable(Table):
    """Test vehicles."""

    name = tables.Column(
        linkify=lambda record: reverse("calibration:vehicle-detail", args=[record.pk])
    )
    origin = tables.Column(verbose_name="From")
    vehicle_class = tables.Column(verbose_name="Class")
    n_axles = tables.Column(orderable=False, verbose_name="Axles")
    n_weighings = tables.Column(verbose_name="Weighings")
    n_runs = tables.Column(verbose_name="Runs in use")
    last_weighed_at = tables.DateTimeColumn(
        format="j M Y H:i", verbose_name="Last, UTC"
    )
    weigh = tables.LinkColumn(
        "calibration:weighing-add",
        args=[tables.A("pk")],
        text="Add a weighing",
        orderable=False,
        verbose_name="",
        empty_values=(),
    )

    class Meta(Table.Meta):
        model = TestVehicle
        fields: tuple[str, ...] = ()
        sequence = ("name", "origin", "...")
        empty_text = "No test vehicle yet."
