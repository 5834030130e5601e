"""The table of makes and models."""

from __future__ import annotations

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html

from installs.models import SensorModel
from installs.tables.road import NUMBER
from wimprog.lib.tables import Table


class SensorModelTable(Table):
    """One row a make and model."""

    caption = "Makes and models"
    name = tables.Column("Make and model", order_by=("maker", "name"))
    technology = tables.Column()
    n_limits = tables.Column("Quantities with limits", attrs=NUMBER)
    n_sensors = tables.Column("Sensors", attrs=NUMBER)

    class Meta(Table.Meta):
        empty_text = "No make and model is known yet."

    def render_name(self, record: SensorModel) -> str:
        url = reverse("installs:sensor-model-detail", args=[record.pk])
        return format_html('<a href="{}">{}</a>', url, str(record))
