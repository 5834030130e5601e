"""Days, weeks and months of lanes."""

from __future__ import annotations

import calendar
import datetime as dt
from collections import defaultdict
from collections.abc import Sequence

from django.db.models import QuerySet

from quality.models import (
    DayDecision,
    LaneDay,
    LaneMonth,
    LaneWeek,
)
from sites.models import Lane


def months_accepted(
    lane_ids: Sequence[int],
    *,
    first_on: dt.date = dt.date.min,
    last_on: dt.date = dt.date.max,
) -> dict[int, list[tuple[dt.date, float | None]]]:
    """Accepted share of each recorded month, by lane; None where nothing was.

    ``first_on``, ``last_on``: months whose first day lies between them.
    """
    found: dict[int, list[tuple[dt.date, float | None]]] = defaultdict(list)
    rows = LaneMonth.objects.filter(
        lane_id__in=lane_ids, month__range=(first_on, last_on)
    ).order_by("month")
    for lane_id, month, n_days, accepted in rows.values_list(
        "lane_id", "month", "n_days", "n_accepted"
    ):
        length = calendar.monthrange(month.year, month.month)[1]
        found[lane_id].append((month, accepted / length if n_days else None))
    return dict(found)


def lane_days(lane: Lane, *, month: str = "", decision: str = "") -> QuerySet[LaneDay]:
    """The days behind a lane's counts, newest first.

    ``month`` is "2031-05"; ``decision`` a decision's word, or "open" for the days that
    nobody has judged. What does not read as either is left out of account.
    """
    days = (
        LaneDay.objects.filter(lane=lane)
        .select_related("record_file", "review__decided_by")
        .order_by("-date")
    )
    try:
        first = dt.datetime.strptime(month, "%Y-%m").date()  # noqa: DTZ007
    except ValueError:
        pass
    else:
        days = days.filter(date__year=first.year, date__month=first.month)
    if decision == "open":
        days = days.filter(review__isnull=True)
    elif decision in DayDecision.values:
        days = days.filter(review__decision=decision)
    return days


def lane_weeks(lane: Lane) -> QuerySet[LaneWeek]:
    """The weeks behind a lane's drift, newest first."""
    return LaneWeek.objects.filter(lane=lane).order_by("-week_on")


def steering_weeks(
    lane: Lane, *, most: int = 156
) -> list[tuple[dt.date, int, float, float | None]]:
    """The latest weeks of a lane in order of time: Monday, n, mean and spread [kg]."""
    rows = LaneWeek.objects.filter(lane=lane).order_by("-week_on")
    columns = ("week_on", "n_vehicles", "steering_mean_kg", "steering_sd_kg")
    return list(rows.values_list(*columns)[:most])[::-1]
