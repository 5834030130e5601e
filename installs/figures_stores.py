"""The count of a part by time, drawn from the ledger."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from installs.selectors.stores import LedgerRow
from wimprog.lib.chart import Chart, Limit, Point, Series


def stock_chart(
    name: str, ledger: Sequence[LedgerRow], minimum: int | None, today: dt.date
) -> Chart:
    """Stock after the last entry of each day, level until the next."""
    by_day = {row.entry.moved_on: row for row in ledger}
    points = [
        Point(day, float(row.level), title=f"{row.entry.move} {row.entry.quantity}")
        for day, row in sorted(by_day.items())
    ]
    if max(by_day) < today:
        points.append(Point(today, points[-1].y))
    return Chart(
        title=f"{name}: count by time",
        y_label="In store",
        x_label="Day",
        series=(Series("in store", tuple(points), kind="steps"),),
        limits=()
        if minimum is None
        else (Limit(float(minimum), f"to keep, {minimum}"),),
        caption=f"n = {len(ledger)} entries; a count sets it, the rest add or take.",
    )
