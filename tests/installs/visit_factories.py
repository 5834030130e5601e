"""What visits bring with them, for the tests of visits and cabinets. All invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

from installs.calc.upkeep.types import DowntimeCause, StockMove, WorkSource
from installs.models import (
    DownSpell,
    PreventiveRule,
    SparePart,
    StockEntry,
    WorkItem,
)

NOON = dt.datetime(2024, 6, 1, 12, 0, tzinfo=dt.UTC)  # the held clock's instant


def work(wim_site: Any, reason: str = "Look at the pull box.", **parts: Any) -> Any:
    """Work that somebody reported."""
    return WorkItem.objects.create(
        wim_site=wim_site,
        reason=reason,
        **{
            "source": WorkSource.REPORT.value,
            "since_on": dt.date(2024, 5, 1),
            **parts,
        },
    )


def spare(name: str = "Battery 12 V, 80 Ah", in_store: int = 3) -> SparePart:
    """A part in store, counted."""
    part = SparePart.objects.create(name=name, lead_time_days=30)
    StockEntry.objects.create(
        spare_part=part,
        move=StockMove.COUNTED.value,
        quantity=in_store,
        moved_on=dt.date(2024, 1, 5),
    )
    return part


def rule(name: str = "Load test of the battery", **parts: Any) -> PreventiveRule:
    """Preventive work on the battery every year."""
    return PreventiveRule.objects.create(
        name=name,
        interval_months=12,
        source="invented for the tests",
        **{"part": "battery", **parts},
    )


def down(lane: Any, **parts: Any) -> DownSpell:
    """A time down that is still open."""
    return DownSpell.objects.create(
        lane=lane,
        **{
            "began_at": dt.datetime(2024, 5, 20, 12, tzinfo=dt.UTC),
            "cause": DowntimeCause.POWER.value,
            **parts,
        },
    )
