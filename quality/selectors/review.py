"""Days that wait for a decision."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.db.models import QuerySet

from quality.models import DayReview, LaneDay, ReviewQuestion
from sites.models import Lane

RUN_GAP_DAYS = 3


@dataclass(frozen=True)
class ReviewRun:
    """A run of a lane's days that nobody has judged, with what is proposed."""

    lane: Lane
    from_on: dt.date
    to_on: dt.date
    n_days: int
    n_vehicles: int
    proposal: str
    reasons: tuple[str, ...]

    @property
    def reason(self) -> str:
        """The reason that is proposed with the decision."""
        if self.reasons:
            return " ".join(self.reasons[:2])[:300]
        return "No check found anything."


def _proposal(findings: Iterable[Mapping[str, Any]]) -> str:
    weights = {finding.get("weight") for finding in findings}
    if "set aside" in weights:
        return "set aside"
    return "look at" if weights else "accept"


def review_runs(*, lane_id: int | None = None, site_code: str = "") -> list[ReviewRun]:
    """Undecided days grouped into runs of one proposal each.

    Days of one proposal that follow each other within three days make a run, unless a
    decided day lies between them: a run never covers what somebody has decided. Those
    that need a look come first, then those to be set aside, then the plain ones.
    """
    days = LaneDay.objects.filter(review__isnull=True)
    if lane_id is not None:
        days = days.filter(lane_id=lane_id)
    if site_code:
        days = days.filter(lane__wim_site__code=site_code)
    columns = ("lane_id", "date", "n_vehicles", "findings")
    rows = list(days.order_by("lane_id", "date").values_list(*columns))
    lanes = Lane.objects.select_related("wim_site").in_bulk({row[0] for row in rows})
    groups: list[list[tuple[int, dt.date, int, list[dict[str, Any]]]]] = []
    decided = _decided_between(rows)
    for row in rows:
        before = groups[-1][-1] if groups else None
        follows = (
            before is not None
            and before[0] == row[0]
            and (row[1] - before[1]).days <= RUN_GAP_DAYS
            and _proposal(before[3]) == _proposal(row[3])
            and decided.isdisjoint(_dates_between(before, row))
        )
        if follows:
            groups[-1].append(row)
        else:
            groups.append([row])
    runs = [
        ReviewRun(
            lane=lanes[group[0][0]],
            from_on=group[0][1],
            to_on=group[-1][1],
            n_days=len(group),
            n_vehicles=sum(row[2] for row in group),
            proposal=_proposal(group[0][3]),
            reasons=tuple(
                dict.fromkeys(one["sentence"] for row in group for one in row[3])
            ),
        )
        for group in groups
    ]
    order = {"look at": 0, "set aside": 1, "accept": 2}
    runs.sort(key=lambda run: (order[run.proposal], str(run.lane), run.from_on))
    return runs


def _dates_between(
    before: tuple[Any, ...], after: tuple[Any, ...]
) -> list[tuple[int, dt.date]]:
    """The lane-days between two of one lane's rows that are a short gap apart."""
    gap = (after[1] - before[1]).days
    if before[0] != after[0] or not 1 < gap <= RUN_GAP_DAYS:
        return []
    return [(before[0], before[1] + dt.timedelta(days=n)) for n in range(1, gap)]


def _decided_between(rows: Sequence[tuple[Any, ...]]) -> set[tuple[int, dt.date]]:
    """Decided lane-days in the short gaps between undecided ones."""
    between = {one for pair in pairwise(rows) for one in _dates_between(*pair)}
    if not between:
        return set()
    found = LaneDay.objects.filter(
        review__isnull=False,
        lane_id__in={lane_id for lane_id, _ in between},
        date__in={date for _, date in between},
    )
    return set(found.values_list("lane_id", "date"))


@dataclass(frozen=True)
class PlainMonth:
    """Undecided days of a lane in a month on which no check found anything."""

    lane: Lane
    month: dt.date
    dates: tuple[dt.date, ...]
    n_vehicles: int

    @property
    def n_days(self) -> int:
        """How many there are."""
        return len(self.dates)

    @property
    def stretches(self) -> list[tuple[dt.date, dt.date]]:
        """The days as stretches on end, which hold no other day."""
        found: list[tuple[dt.date, dt.date]] = []
        for day in self.dates:
            if found and (day - found[-1][1]).days == 1:
                found[-1] = (found[-1][0], day)
            else:
                found.append((day, day))
        return found


def plain_months(*, site_code: str = "") -> list[PlainMonth]:
    """Days that nobody has judged and no check found anything on, by lane and month."""
    days = LaneDay.objects.filter(review__isnull=True, findings=[])
    if site_code:
        days = days.filter(lane__wim_site__code=site_code)
    rows = days.order_by("lane_id", "date").values_list("lane_id", "date", "n_vehicles")
    found: dict[tuple[int, dt.date], list[tuple[dt.date, int]]] = {}
    for lane_id, date, n in rows:
        found.setdefault((lane_id, date.replace(day=1)), []).append((date, n))
    lanes = Lane.objects.select_related("wim_site").in_bulk({key[0] for key in found})
    return [
        PlainMonth(
            lanes[lane_id],
            month,
            tuple(date for date, _ in own),
            sum(n for _, n in own),
        )
        for (lane_id, month), own in found.items()
    ]


def open_questions(*, site_code: str = "") -> QuerySet[ReviewQuestion]:
    """Decisions that later facts have put in question, the latest first."""
    rows = ReviewQuestion.objects.filter(settled_by=None, kept_as_is_at=None)
    if site_code:
        rows = rows.filter(lane__wim_site__code=site_code)
    return rows.select_related("lane__wim_site")


def decisions_of(lane: Lane, from_on: dt.date, to_on: dt.date) -> QuerySet[DayReview]:
    """Every decision on days of a period, taken back or not, the latest first."""
    return DayReview.objects.filter(
        lane=lane, from_on__lte=to_on, to_on__gte=from_on
    ).select_related("decided_by", "undone_by", "lane__wim_site")


def last_decision(user: Any) -> DayReview | None:
    """The latest decision of somebody that still holds: what an undo takes back."""
    return (
        DayReview.objects.filter(decided_by=user, undone_at=None)
        .select_related("lane__wim_site")
        .first()
    )
