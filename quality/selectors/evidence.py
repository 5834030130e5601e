"""What a decision on a lane's days is made by: weeks, gross weights, hours."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING

from quality.models import DayReview, LaneDay, LaneWeek
from quality.selectors.drift_series import week_points
from quality.selectors.review import decisions_of
from quality.selectors.weeks import calibration_days, stored_figures
from sites.models import Lane

if TYPE_CHECKING:
    import numpy as np

WEEKS_AROUND = dt.timedelta(weeks=26)
REFERENCE_WEEKS = 8
MOST_DAYS = 62
"""Days of the hour map; more are not told apart on a page."""


@dataclass(frozen=True)
class DayRow:
    """A day with its hours: what was counted, found and decided."""

    date: dt.date
    hours: tuple[int, ...]
    n_vehicles: int
    sentences: tuple[str, ...]
    decision: str


@dataclass(frozen=True)
class Evidence:
    """Everything that a decision on days of a lane is made by.

    Attributes
    ----------
    weeks
        Weeks half a year about the days: Monday, trucks, mean and spread [kg].
    days
        The days, with those of two weeks before them.
    n_hidden
        Days of the period beyond those shown.
    counts, reference
        Class 9 trucks by gross weight in steps of the period's weeks, and of the first
        weeks after the last calibration; None where there are none.
    calibrated_on
        The calibration that the reference follows.
    decisions
        Every decision on days of the period.
    """

    lane: Lane
    from_on: dt.date
    to_on: dt.date
    weeks: list[tuple[dt.date, int, float, float | None]]
    days: list[DayRow]
    n_hidden: int
    counts: np.ndarray | None
    reference: np.ndarray | None
    calibrated_on: dt.date | None
    decisions: list[DayReview]

    @property
    def sentences(self) -> list[str]:
        """What the checks found on the days, each once."""
        inside = [day for day in self.days if self.from_on <= day.date <= self.to_on]
        return list(dict.fromkeys(s for day in inside for s in day.sentences))


def evidence_of(lane: Lane, from_on: dt.date, to_on: dt.date) -> Evidence:
    """The evidence for a decision, in a fixed number of queries."""
    start, end = _monday(from_on), _monday(to_on)
    calibrated = calibration_days([lane.pk], until=to_on).get(lane.pk, [])
    place = bisect_right(calibrated, from_on)
    last = calibrated[place - 1] if place else None
    rows = (
        LaneDay.objects.filter(
            lane=lane, date__range=(from_on - dt.timedelta(days=14), to_on)
        )
        .select_related("review")
        .order_by("date")
    )
    days = [_day(one) for one in rows[:MOST_DAYS]]
    reference = None
    if last is not None:
        after = LaneWeek.objects.filter(lane=lane, week_on__gte=last)
        reference = _counts(list(after.order_by("week_on")[:REFERENCE_WEEKS]))
    inside = LaneWeek.objects.filter(lane=lane, week_on__range=(start, end))
    return Evidence(
        lane=lane,
        from_on=from_on,
        to_on=to_on,
        weeks=list(
            week_points(
                lane.pk, first_on=start - WEEKS_AROUND, last_on=end + WEEKS_AROUND
            )
        ),
        days=days,
        n_hidden=max(rows.count() - len(days), 0),
        counts=_counts(list(inside)),
        reference=reference,
        calibrated_on=last,
        decisions=list(decisions_of(lane, from_on, to_on)),
    )


def _monday(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def _day(day: LaneDay) -> DayRow:
    import numpy as np

    counts = np.frombuffer(bytes(day.hourly), dtype="<u2")
    return DayRow(
        day.date,
        tuple(int(n) for n in counts) if counts.size == 24 else (),
        day.n_vehicles,
        tuple(str(one["sentence"]) for one in day.findings),
        day.review.decision if day.review else "",
    )


def _counts(weeks: list[LaneWeek]) -> np.ndarray | None:
    found = [figures.counts for week in weeks if (figures := stored_figures(week))]
    if not found:
        return None
    total: np.ndarray = sum(found[1:], found[0].copy())
    return total if total.sum() else None
