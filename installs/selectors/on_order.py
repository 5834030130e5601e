"""What was bought for the store and has not come yet."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, Sum

from installs.calc.upkeep.types import StockMove
from installs.models import Purchase, SparePart


@dataclass(frozen=True)
class OnOrder:
    """What was ordered of a part for the store and has not come yet."""

    number: int = 0
    expected_on: dt.date | None = None
    is_late: bool = False

    @property
    def sentence(self) -> str:
        """How many, and when they should come."""
        if self.expected_on is None:
            return f"{self.number} on order."
        late = ", which has passed: ask the supplier" if self.is_late else ""
        return f"{self.number} on order, expected {self.expected_on}{late}."


def on_order(parts: Iterable[int], today: dt.date) -> dict[int, OnOrder]:
    """What is on its way of each part: ordered less received, by purchase; one query.

    More received than was ordered counts as nothing on its way.
    """
    received = Sum(
        "stock_entries__quantity",
        filter=Q(stock_entries__move=StockMove.RECEIVED.value),
        default=0,
    )
    rows = (
        Purchase.objects.filter(spare_part__in=list(parts), quantity__isnull=False)
        .annotate(received=received)
        .values_list("spare_part_id", "quantity", "received", "expected_on")
    )
    numbers: dict[int, int] = defaultdict(int)
    days: dict[int, list[dt.date]] = defaultdict(list)
    for part, ordered, came, expected_on in rows:
        if part is None or ordered is None or ordered <= came:
            continue
        numbers[part] += ordered - came
        if expected_on is not None:
            days[part].append(expected_on)
    return {
        part: OnOrder(
            number,
            min(days[part], default=None),
            bool(days[part]) and min(days[part]) < today,
        )
        for part, number in numbers.items()
    }


def perhaps_coming(
    parts: Iterable[SparePart], today: dt.date
) -> dict[int, tuple[Purchase, ...]]:
    """Purchases of a part's model of which nothing was booked as received; one query.

    Those older than twice the lead time (at least a year) are left out.
    """
    by_model = {one.sensor_model_id: one for one in parts if one.sensor_model_id}
    found: dict[int, list[Purchase]] = defaultdict(list)
    bought = Purchase.objects.filter(
        sensor_model__in=by_model, stock_entries=None, sensors=None, quantity=None
    )
    for one in bought.order_by("bought_on"):
        part = by_model[one.sensor_model_id or 0]
        reach = max(dt.timedelta(days=2 * part.lead_time_days), dt.timedelta(days=365))
        if today - one.bought_on <= reach:
            found[part.pk].append(one)
    return {part: tuple(some) for part, some in found.items()}
