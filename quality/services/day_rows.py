"""Rows of days: written from daily sums, kept as they are, and put back exactly."""

from __future__ import annotations

import base64
import datetime as dt
import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from django.db import connection

from quality.models import DailySummary, DayReview, LaneDay, RecordFile
from sites.models import Lane

if TYPE_CHECKING:
    from quality.calc.daily import Daily

MOST_IN_AN_HOUR = 65_535
DAY_ROW = (
    "lane_id", "date", "record_file_id", "hours_seen", "n_vehicles", "n_unclassified",
    "n_implausible", "hourly", "findings", "figures", "method_version",
)  # fmt: skip
CLASS_ROW = (
    "lane_id", "date", "vehicle_class", "n_vehicles", "gvw_sum_kg", "steering_sum_kg",
    "steering_sum_sq_kg2", "n_over_gross",
)  # fmt: skip


def days_store(lane: Lane, record_file: RecordFile, daily: Daily) -> None:
    """Write a lane's daily sums of a file."""
    import numpy as np

    from quality.calc.daily import METHOD_VERSION
    from quality.calc.days import HOUR_COLUMNS

    by_day: Any = daily.by_day
    by_class: Any = daily.by_class
    hourly = by_day[list(HOUR_COLUMNS)].to_numpy(dtype=np.int64)
    packed = np.minimum(hourly, MOST_IN_AN_HOUR).astype("<u2")
    _insert(
        LaneDay,
        DAY_ROW,
        [
            (lane.pk, day.date.date(), record_file.pk, int(day.hours_seen),
             int(day.n_vehicles), int(day.n_unclassified), int(day.n_implausible),
             packed[place].tobytes(), json.dumps([]),
             json.dumps(day.figures, separators=(",", ":")), METHOD_VERSION)
            for place, day in enumerate(by_day.itertuples(index=False))
        ],
    )  # fmt: skip
    _insert(
        DailySummary,
        CLASS_ROW,
        [
            (lane.pk, row.date.date(), int(row.vehicle_class), int(row.n_vehicles),
             float(row.gvw_sum_kg), float(row.steering_sum_kg),
             float(row.steering_sum_sq_kg2), int(row.n_over_gross))
            for row in by_class.itertuples(index=False)
        ],
    )  # fmt: skip


def days_taken_out(lane: Lane, dates: Iterable[dt.date]) -> dict[str, Any]:
    """Remove a lane's rows of some days; what they held, as JSON-ready values.

    Numbers are kept to the last bit: JSON writes a float as its shortest exact form.
    """
    dates = list(dates)
    days = LaneDay.objects.filter(lane=lane, date__in=dates)
    classes = DailySummary.objects.filter(lane=lane, date__in=dates)
    kept_days = [
        {
            **row,
            "date": row["date"].isoformat(),
            "hourly": base64.b64encode(bytes(row["hourly"])).decode(),
        }
        for row in days.order_by("date").values(*DAY_ROW, "review_id")
    ]
    kept_classes = [
        {**row, "date": row["date"].isoformat()}
        for row in classes.order_by("date", "vehicle_class").values(*CLASS_ROW)
    ]
    days.delete()
    classes.delete()
    return {"days": kept_days, "classes": kept_classes}


def days_put_back(kept: dict[str, Any]) -> None:
    """Write rows again as :func:`days_taken_out` kept them.

    A decision that was taken back meanwhile is not put back.
    """
    reviews = {row["review_id"] for row in kept["days"]}
    in_force = set(
        DayReview.objects.filter(pk__in=reviews - {None}, undone_at=None).values_list(
            "pk", flat=True
        )
    )
    LaneDay.objects.bulk_create(
        [
            LaneDay(
                **{
                    **row,
                    "date": dt.date.fromisoformat(row["date"]),
                    "hourly": base64.b64decode(row["hourly"]),
                    "review_id": row["review_id"]
                    if row["review_id"] in in_force
                    else None,
                }
            )
            for row in kept["days"]
        ],
        batch_size=500,
    )
    DailySummary.objects.bulk_create(
        [
            DailySummary(**{**row, "date": dt.date.fromisoformat(row["date"])})
            for row in kept["classes"]
        ],
        batch_size=500,
    )


def _insert(
    model: Any, columns: Sequence[str], rows: Sequence[tuple[Any, ...]]
) -> None:
    """Plain inserts of derived rows: a file has thousands, and none is a fact."""
    if not rows:
        return
    quote = connection.ops.quote_name
    names = ", ".join(quote(name) for name in columns)
    marks = ", ".join(["%s"] * len(columns))
    table = quote(model._meta.db_table)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {table} ({names}) VALUES ({marks})",  # noqa: S608
            rows,
        )
