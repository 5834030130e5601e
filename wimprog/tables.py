"""Tables of the pages that join all apps."""

from __future__ import annotations

import django_tables2 as tables

from wimprog.lib.tables import Table


class HealthTable(Table):
    """One row a lane; the page lays rows out itself and takes the order from here."""

    lane = tables.Column(accessor="name", order_by=("site_code", "label"))
    condition = tables.Column(
        accessor="condition__rank", order_by=("condition__rank", "site_code", "label")
    )
    drift = tables.Column(accessor="drift_pct")
    calibrated = tables.Column(accessor="evidence__last_calibrated_on")
    due = tables.Column(accessor="evidence__calibration_due_on")
    failing = tables.Column(accessor="p_fail_2y")

    class Meta(Table.Meta):
        order_by_field = "sort"
